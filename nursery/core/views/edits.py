"""Who changed what in a register's row, before and after, newest first."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.utils.translation import gettext as _

from nursery.core.field_names import within
from nursery.core.models import Change, Register

MOST_EDITS = 20


@dataclass(frozen=True, slots=True)
class Edit:
    """One edit: the fields that it changed, each by name, before and after. `fresh`: the row was
    entered by it, so that there was nothing before."""

    by: str
    at: datetime
    fresh: bool
    fields: Sequence[tuple[str, str, str]]


def edits_of(row: Register) -> list[Edit]:
    """The last edits of a row. One query."""
    changes = Change.objects.filter(register=row._meta.label_lower, row_id=row.pk)
    found = changes.select_related("by").order_by("-pk")[:MOST_EDITS]
    return [
        Edit(str(change.by), change.at, change.before is None, _fields(change)) for change in found
    ]


def _fields(change: Change) -> list[tuple[str, str, str]]:
    before = change.before or {}
    return [
        (within(name), text_of(before.get(name)), text_of(value))
        for name, value in sorted(change.after.items())
    ]


def text_of(value: Any, between: str = "; ") -> str:
    """A value of history as it stands in a form."""
    if value is None or value is False:
        return ""
    if value is True:
        return _("on")
    if isinstance(value, list):
        return between.join(str(item) for item in value)
    return str(value)
