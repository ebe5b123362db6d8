"""Plain rows into tables, fast (COPY on PostgreSQL, many at once on SQLite); how big they are."""

from __future__ import annotations

import uuid
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from datetime import date, datetime
from typing import Any

from django.apps import apps
from django.db import connection
from django.db.models import Model
from django.db.models.fields import NOT_PROVIDED

AT_ONCE = 50_000
"""How many rows of a table are held back before they are sent."""


class Table:
    """A table that takes rows of some columns; every other column gets its field's default."""

    def __init__(self, model: type[Model], *columns: str) -> None:
        # Ids that are not given come from the sequence, or from SQLite's own count.
        fields = {
            field.column: field
            for field in model._meta.concrete_fields
            if field.column in columns or field is not model._meta.auto_field
        }
        for name in columns:
            fields.pop(name)
        self.name = model._meta.db_table
        self.columns = [*columns, *fields]
        self.tail = tuple(_default(field) for field in fields.values())
        self.held: list[tuple[Any, ...]] = []
        self.rows = 0

    def add(self, *row: Any) -> None:
        """Take one row; call `flush` at the end."""
        self.held.append(row + self.tail)
        if len(self.held) >= AT_ONCE:
            self.flush()

    def flush(self) -> None:
        """Send what is held."""
        if self.held:
            send(self.name, self.columns, self.held)
            self.rows += len(self.held)
            self.held = []


def _default(field: Any) -> Any:
    if getattr(field, "auto_now_add", False):
        return datetime(2024, 1, 1, tzinfo=None).astimezone()
    if field.default is not NOT_PROVIDED or field.null or field.empty_strings_allowed:
        return field.get_default()
    raise TypeError(f"{field} has no default")


def send(table: str, columns: Sequence[str], rows: Iterable[Sequence[Any]]) -> None:
    """Insert rows by COPY, or by one statement for many on SQLite."""
    names = ", ".join(f'"{name}"' for name in columns)
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            with cursor.copy(f'COPY "{table}" ({names}) FROM STDIN') as copy:
                for row in rows:
                    copy.write_row(row)
            return
        marks = ", ".join(["%s"] * len(columns))
        cursor.executemany(
            f'INSERT INTO "{table}" ({names}) VALUES ({marks})',  # noqa: S608 - names from the models
            (tuple(_lite(value) for value in row) for row in rows),
        )


def _lite(value: Any) -> Any:
    """A value as Django keeps it in SQLite."""
    match value:
        case datetime():
            return str(value.replace(tzinfo=None))
        case date():
            return value.isoformat()
        case uuid.UUID():
            return value.hex
        case list() | dict():
            return "[]" if isinstance(value, list) else "{}"
    return value


def ours() -> list[type[Model]]:
    """The models of the register."""
    return [
        model
        for model in apps.get_models(include_auto_created=True)
        if model.__module__.startswith("nursery.")
    ]


@contextmanager
def bare_tables(say: Callable[[str], None]) -> Iterator[None]:
    """On PostgreSQL: without foreign keys, unique constraints and indexes inside, and with all of
    them, made (and so checked) over all rows, afterwards. On SQLite without foreign keys: while one
    leads nowhere yet, every row that is put in is looked for in all tables that may name it."""
    if connection.vendor != "postgresql":
        with connection.cursor() as cursor:
            cursor.execute("PRAGMA foreign_keys=OFF")
            yield
            cursor.execute("PRAGMA foreign_keys=ON")
        return
    names = [model._meta.db_table for model in ours()]
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT conrelid::regclass::text, quote_ident(conname), pg_get_constraintdef(oid) "
            "FROM pg_constraint WHERE contype IN ('f', 'u') AND conrelid::regclass::text = ANY(%s) "
            "ORDER BY contype = 'f', conname",
            [names],
        )
        constraints = cursor.fetchall()
        for table, name, _ in reversed(constraints):
            cursor.execute(f"ALTER TABLE {table} DROP CONSTRAINT {name}")
        cursor.execute(
            "SELECT indexrelid::regclass::text, pg_get_indexdef(indexrelid) FROM pg_index "
            "WHERE NOT indisprimary AND indrelid::regclass::text = ANY(%s)",
            [names],
        )
        indexes = cursor.fetchall()
        for name, _ in indexes:
            cursor.execute(f"DROP INDEX {name}")
    yield
    say("indexes and constraints")
    with connection.cursor() as cursor:
        for _, made in indexes:
            cursor.execute(made)
        for table, name, made in constraints:
            cursor.execute(f"ALTER TABLE {table} ADD CONSTRAINT {name} {made}")


def after_filling() -> None:
    """Let ids go on after those given, and the planner count the rows."""
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            for model in ours():
                auto = model._meta.auto_field
                if auto is None:
                    continue
                table, column = f'"{model._meta.db_table}"', auto.column
                highest = f"SELECT greatest(max({column}), 1) FROM {table}"  # noqa: S608
                sequence = f"pg_get_serial_sequence('{table}', '{column}')"
                cursor.execute(f"SELECT setval({sequence}, ({highest}))")
            cursor.execute("VACUUM ANALYZE")
        else:
            cursor.execute("ANALYZE")


def sizes() -> list[tuple[str, int, int, int]]:
    """For each table of the register that holds anything: its name, rows, and bytes of the table
    and of its indexes (PostgreSQL)."""
    found = []
    with connection.cursor() as cursor:
        for model in ours():
            table = model._meta.db_table
            cursor.execute(
                f'SELECT (SELECT count(*) FROM "{table}"), pg_table_size(%s::text::regclass), '  # noqa: S608
                "pg_indexes_size(%s::text::regclass)",
                [table, table],
            )
            rows, heap, indexes = cursor.fetchone()
            if rows:
                found.append((table, rows, heap, indexes))
    return sorted(found, key=lambda row: -(row[2] + row[3]))
