"""Many rows at once, in a constant number of statements a batch."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TypeVar

from django.db.models import Model

M = TypeVar("M", bound=Model)

BATCH = 2000


def insert(model: type[M], rows: Sequence[M]) -> list[M]:
    """Insert the rows and give them their ids, in order."""
    if not rows:
        return []
    return model._default_manager.bulk_create(rows, batch_size=BATCH)


def update(model: type[M], rows: Sequence[M], fields: Sequence[str]) -> None:
    """Save only `fields` of rows that were read under lock."""
    if rows:
        model._default_manager.bulk_update(rows, fields, batch_size=500)
