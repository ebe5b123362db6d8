"""Reading the whole record a batch at a time, and as it stood at one instant."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from itertools import islice
from typing import Any, TypeVar

from django.db import connection
from django.db.models import Model, QuerySet

from nursery.core.models import Event, EventKind
from nursery.lineage.models import Ramet
from nursery.outplanting.verify.difference import Tell

BATCH = 5000
"""How many rows are held at a time."""

Row = tuple[Any, ...]
_T = TypeVar("_T")


@contextmanager
def one_view() -> Iterator[None]:
    """Everything is read as it stands at one instant, while others go on writing.

    Inside a transaction it is that one's view.
    """
    if connection.in_atomic_block:
        yield
        return
    # Not `atomic`: on SQLite that would keep all writers out for as long as this reads.
    repeatable = " ISOLATION LEVEL REPEATABLE READ READ ONLY"
    begin = "BEGIN" + (repeatable if connection.vendor == "postgresql" else "")
    with connection.cursor() as cursor:
        cursor.execute(begin)
    try:
        yield
    finally:
        with connection.cursor() as cursor:
            cursor.execute("ROLLBACK")


def by_id(
    rows: QuerySet[Any, Any], *fields: str, tell: Tell | None = None, things: str = ""
) -> Iterator[list[Row]]:
    """The rows in the order of their ids, a query a batch: the id first, then these fields."""
    last, number = 0, 0
    while True:
        after = rows.filter(pk__gt=last).order_by("pk")
        batch: list[Row] = list(after.values_list("pk", *fields)[:BATCH])
        if not batch:
            return
        yield batch
        last = batch[-1][0]
        number += len(batch)
        if tell is not None:
            tell(things, number)


def each(rows: QuerySet[Any, Any], *fields: str) -> Iterator[Row]:
    """The rows one by one, read by batches."""
    for batch in by_id(rows, *fields):
        yield from batch


def chunks(values: Iterable[_T], size: int | None = None) -> Iterator[list[_T]]:
    """The values, some at a time."""
    rest = iter(values)
    while part := list(islice(rest, size or BATCH)):
        yield part


def codes(model: type[Model], ids: Iterable[int | None]) -> dict[int | None, str]:
    """The codes of these rows of a register; that of none is `nothing`."""
    found: dict[int | None, str] = {None: "nothing"}
    for part in chunks(sorted({pk for pk in ids if pk is not None})):
        found |= dict(model._base_manager.filter(pk__in=part).values_list("pk", "code"))
    return found


def ramet_codes(ids: Iterable[int]) -> Mapping[int | None, str]:
    """The codes of ramets, those that have never been too."""
    return codes(Ramet, ids)


EVENT = ("kind", "earliest", "latest", "time", "uid")
"""The fields of an event by which it is named."""


def event_name(fields: Sequence[Any]) -> str:
    """An event by its kind, its date and its uid; `fields` as in EVENT."""
    kind, earliest, latest, time, uid = fields
    when = Event(earliest=earliest, latest=latest, time=time).when
    return f"{EventKind(kind).label} {when} {uid}"


def event_names(ids: Iterable[int]) -> dict[int, str]:
    """The events of these ids by their names."""
    found: dict[int, str] = {}
    for part in chunks(sorted(set(ids))):
        for pk, *fields in Event.objects.filter(pk__in=part).values_list("pk", *EVENT):
            found[pk] = event_name(fields)
    return found
