"""Many rows at once. One of the two places with SQL of our own, and the same for both databases."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TypeVar

from django.apps import apps
from django.db import connection
from django.db.models import Model

M = TypeVar("M", bound=Model)

BATCH = 2000


def insert(model: type[M], rows: Sequence[M]) -> list[M]:
    """Insert the rows and give them their ids, in order."""
    if not rows:
        return []
    return model._default_manager.bulk_create(rows, batch_size=BATCH)


def update(model: type[M], rows: Sequence[M], fields: Sequence[str]) -> None:
    """Save only `fields` of rows that were read under lock.

    One prepared statement for all rows: Django's own way builds a CASE of a branch a row for each
    field, which took half of the time of a large load.
    """
    if not rows:
        return
    columns = [field for field in model._meta.concrete_fields if field.name in fields]
    quote = connection.ops.quote_name
    assigned = ", ".join(f"{quote(str(field.column))} = %s" for field in columns)
    table, where = quote(model._meta.db_table), quote(str(model._meta.pk.column))
    sql = f"UPDATE {table} SET {assigned} WHERE {where} = %s"  # noqa: S608 - names from the model
    values = [
        [
            *(field.get_db_prep_save(getattr(row, field.attname), connection) for field in columns),
            row.pk,
        ]
        for row in rows
    ]
    with connection.cursor() as cursor:
        cursor.executemany(sql, values)


def count_anew() -> None:
    """Let PostgreSQL count the rows of its tables again after a large load.

    It plans by what it last counted. Where that was "empty", a trace took 49 s that takes a tenth
    of a second after this.
    """
    if connection.vendor != "postgresql":
        return
    tables = ", ".join(
        connection.ops.quote_name(model._meta.db_table)
        for model in apps.get_models(include_auto_created=True)
        if model.__module__.startswith("nursery.")
    )
    with connection.cursor() as cursor:
        cursor.execute(f"ANALYZE {tables}")
