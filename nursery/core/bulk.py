"""Many rows at once. One of the two places with SQL of our own, and the same for both databases."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from typing import Any, TypeAlias, TypeVar

from django.apps import apps
from django.db import DEFAULT_DB_ALIAS, connection, connections
from django.db.models import (
    AutoField,
    BigAutoField,
    BigIntegerField,
    CharField,
    Field,
    ForeignKey,
    IntegerField,
    JSONField,
    Model,
    PositiveBigIntegerField,
    PositiveIntegerField,
    PositiveSmallIntegerField,
    SmallIntegerField,
    TextField,
)
from django.db.models.base import ModelState
from psycopg import abc
from psycopg.adapt import PyFormat, Transformer

M = TypeVar("M", bound=Model)
AnyField: TypeAlias = "Field[Any, Any]"

BATCH = 2000
_WHOLE = (
    *(AutoField, BigAutoField, IntegerField, BigIntegerField, SmallIntegerField),
    *(PositiveIntegerField, PositiveBigIntegerField, PositiveSmallIntegerField),
)


def insert(model: type[M], rows: Sequence[M]) -> list[M]:
    """Insert the rows and give them their ids, in order.

    Rows that have their primary key already keep it. No signals are sent, and a value is a value:
    never an expression.
    """
    if not rows:
        return []
    if connection.vendor != "postgresql":
        return model._default_manager.bulk_create(rows, batch_size=BATCH)
    return _copy(model, list(rows))


def copies(row: M, count: int) -> list[M]:
    """So many new rows that say the same as one that is not saved, to be told apart afterwards.

    A tenth of the time of making each from its fields.
    """
    made = []
    for _ in range(count):
        new = row.__class__.__new__(row.__class__)
        new.__dict__.update(row.__dict__)
        new._state = ModelState()
        new._state.fields_cache = {**row._state.fields_cache}
        made.append(new)
    return made


def insert_values(model: type[Model], names: Sequence[str], rows: Sequence[Sequence[Any]]) -> None:
    """Insert plain rows of these fields (`event_id` for a key), where nobody needs their ids.

    Every other field gets its default, one for all rows. Made into objects of the model, the steps
    of a large entry took as long again as their insertion.
    """
    if not rows:
        return
    by_name = {field.attname: field for field in model._meta.concrete_fields}
    given = [by_name.pop(name) for name in names]
    left = [field for field in by_name.values() if field is not model._meta.auto_field]
    blank = model()
    fields = [*given, *left]
    columns = list(map(_prepared, given, zip(*rows, strict=True)))
    columns += [
        [_prepared(field, [field.pre_save(blank, add=True)])[0]] * len(rows) for field in left
    ]
    if connection.vendor == "postgresql":
        _send(model, fields, columns)
        return
    quote = connection.ops.quote_name
    into = ", ".join(quote(str(field.column)) for field in fields)
    marks = ", ".join(["%s"] * len(fields))
    sql = f"INSERT INTO {quote(model._meta.db_table)} ({into}) VALUES ({marks})"  # noqa: S608 - names from the model
    with connection.cursor() as cursor:
        cursor.executemany(sql, list(zip(*columns, strict=True)))


def update(model: type[M], rows: Sequence[M], fields: Sequence[str]) -> None:
    """Save only `fields` of rows that were read under lock.

    One prepared statement for all rows: Django's own way builds a CASE of a branch a row for each
    field, which took half of the time of a large load. Every row is reached, those too that the
    model's own manager leaves out.
    """
    if not rows:
        return
    columns = [field for field in model._meta.concrete_fields if field.name in fields]
    if connection.vendor == "postgresql":
        _update_from_arrays(model, rows, columns)
        return
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


def _copy(model: type[M], rows: list[M]) -> list[M]:
    """Insert by COPY, which takes two fifths of the time of an INSERT with as many parameters.

    The ids are drawn first, so that which row has which is not left to the order of an answer.
    """
    columns = list(model._meta.concrete_fields)
    for field in columns:
        _take_related(field, rows)
    keys = _keys(model, [row.pk for row in rows])
    _send(
        model,
        columns,
        [_prepared(f, keys if f.primary_key else _to_save(f, rows)) for f in columns],
    )
    for row, key in zip(rows, keys, strict=True):
        row.pk = key
        row._state.adding = False
        row._state.db = connection.alias
    return rows


def _send(model: type[Model], fields: Sequence[AnyField], columns: Sequence[Sequence[Any]]) -> None:
    """COPY prepared values, column by column, into a table."""
    quote = connection.ops.quote_name
    names = ", ".join(quote(str(field.column)) for field in fields)
    sql = f"COPY {quote(model._meta.db_table)} ({names}) FROM STDIN"
    with (
        connection.wrap_database_errors,
        connection.cursor() as cursor,
        cursor.copy(sql) as sent,
    ):
        for line in zip(*columns, strict=True):
            sent.write_row(line)


def _keys(model: type[Model], given: list[Any]) -> list[Any]:
    """The primary keys of rows: those given, and ids of the table's own sequence for the others."""
    auto = model._meta.auto_field
    missing = given.count(None)
    if auto is None or not missing:
        return given
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT nextval((SELECT pg_get_serial_sequence(%s, %s))::regclass) "
            "FROM generate_series(1, %s)",
            [connection.ops.quote_name(model._meta.db_table), auto.column, missing],
        )
        # In ascending order whatever the answer's: rows that follow one another have ids that do.
        fresh = iter(sorted(pk for (pk,) in cursor.fetchall()))
    return [next(fresh) if key is None else key for key in given]


def _take_related(field: AnyField, rows: Sequence[Model]) -> None:
    """Take over the key of an object that was given before it was saved; ValueError if it is not
    saved yet."""
    if not isinstance(field, ForeignKey):
        return
    for row in rows:
        if row.__dict__[field.attname] is None and field.is_cached(row):
            row._prepare_related_fields_for_save(operation_name="insert")  # type: ignore[attr-defined]


def _to_save(field: AnyField, rows: Sequence[Model]) -> list[Any]:
    """A column's values, those with which the database is to begin (such as now) among them."""
    if type(field).pre_save is Field.pre_save:
        # Past the descriptors of foreign keys: a new row has all its values.
        return [row.__dict__[field.attname] for row in rows]
    return [field.pre_save(row, add=True) for row in rows]


def _prepared(
    field: AnyField, values: Sequence[Any], finish: Callable[[Any], Any] | None = None
) -> list[Any]:
    """The values as the database takes them. In most columns they are few: each is made once."""
    database = connections[DEFAULT_DB_ALIAS]
    plain = _plain_type(field)

    def prepare(value: Any) -> Any:
        ready = value if type(value) is plain else field.get_db_prep_save(value, database)
        return ready if finish is None else finish(ready)

    # In JSON, 1 and true are equal here and different there; and dicts cannot be keys.
    if isinstance(field, JSONField):
        return [prepare(value) for value in values]
    made = {value: prepare(value) for value in set(values)}
    return [made[value] for value in values]


def _plain_type(field: AnyField) -> type | None:
    """The type whose values a field hands on as they are: whole numbers and texts, most of all."""
    while isinstance(field, ForeignKey):
        field = field.target_field
    if type(field) in _WHOLE:
        return int
    return str if type(field) in (CharField, TextField) else None


def _update_from_arrays(
    model: type[Model], rows: Sequence[Model], columns: Sequence[AnyField]
) -> None:
    """One UPDATE of all rows, joined to arrays of their keys and new values.

    The arrays are sent as texts and cast: the statement is then the same for any number of rows
    and any values, and prepared once.
    """
    meta = model._meta
    quote = connection.ops.quote_name
    with connection.cursor() as cursor:
        text = _ArrayTexts(Transformer(cursor.connection))
        arrays = [_array([row.pk for row in rows], meta.pk, text)]
        arrays += [
            _array([getattr(row, field.attname) for row in rows], field, text) for field in columns
        ]
        names = [quote(str(field.column)) for field in columns]
        assigned = ", ".join(f"{name} = new.{name}" for name in names)
        casts = ", ".join(f"%s::{_element_type(field)}[]" for field in (meta.pk, *columns))
        key = quote("key_of_row")
        cursor.execute(
            f"UPDATE {quote(meta.db_table)} AS kept SET {assigned} "  # noqa: S608 - names from the model
            f"FROM unnest({casts}) AS new({', '.join([key, *names])}) "
            f"WHERE kept.{quote(str(meta.pk.column))} = new.{key}",
            arrays,
        )


class _ArrayTexts:
    """Writes values as elements of an array's text, escaped; NULL for None."""

    def __init__(self, transformer: abc.Transformer) -> None:
        self.transformer = transformer

    def __call__(self, value: Any) -> str:
        if value is None:
            return "NULL"
        dumped = self.transformer.get_dumper(value, PyFormat.TEXT).dump(value)
        if dumped is None:
            return "NULL"
        text = bytes(dumped).decode()
        return '"' + text.replace("\\", "\\\\").replace('"', '\\"') + '"'


def _array(values: Sequence[Any], field: AnyField, text: _ArrayTexts) -> str:
    return "{" + ",".join(_prepared(field, values, text)) + "}"


def _element_type(field: AnyField) -> str:
    """The column's type without its length: a cast to that would cut a long text short."""
    return re.sub(r"\(.*?\)", "", field.db_type(connection) or "text")


def count_anew(rows: int) -> None:
    """Let PostgreSQL count the rows of its tables again, within a load of so many rows and after
    it; where it knows already of a table with more, it need not.

    It plans by what it last counted. Where that was "empty", a trace took 49 s that takes a tenth
    of a second after this. The count lasts as long as the transaction: whoever counts a table at
    the same moment is not waited for, lest two loads wait for each other.
    """
    if connection.vendor != "postgresql":
        return
    names = [
        model._meta.db_table
        for model in apps.get_models(include_auto_created=True)
        if model.__module__.startswith("nursery.")
    ]
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT max(reltuples) FROM pg_class WHERE relkind = 'r' AND relname = ANY(%s)",
            [names],
        )
        if cursor.fetchone()[0] > rows:
            return
        tables = ", ".join(connection.ops.quote_name(name) for name in names)
        cursor.execute(f"ANALYZE (SKIP_LOCKED) {tables}")
