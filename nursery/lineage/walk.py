"""The recursive walk through cuttings, written once for both databases.

It follows fragmentation → sources, so that a pooled cutting keeps all its mothers; by ids alone
and with UNION, so that a ramet reached by several ways is taken once and no loop can run for ever.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from decimal import Decimal
from typing import Any

from django.db import connection
from django.db.backends.base.base import BaseDatabaseWrapper
from django.db.models import BooleanField, F, Func, QuerySet, Subquery
from django.db.models.expressions import RawSQL
from django.db.models.functions import JSONArray
from django.db.models.sql.compiler import SQLCompiler

from nursery.lineage.words import Life

STEM = """
WITH RECURSIVE asked(id) AS (
    SELECT id FROM lineage_ramet WHERE {asked}
),
stem(id) AS (
    SELECT id FROM asked
    UNION
    SELECT source.ramet_id
    FROM stem
    JOIN lineage_ramet AS ramet ON ramet.id = stem.id
    JOIN lineage_source AS source ON source.fragmentation_id = ramet.fragmentation_id
)
"""
"""The way back of the ramets `asked` for: themselves and all that they were cut from."""

_WAY = (
    STEM.format(asked=f"code = %s AND life <> {Life.NEVER:d}")  # noqa: S608
    + """,
way AS (
    SELECT id, born_id, collection_id, fragmentation_id,
        CASE WHEN fragmentation_id IS NULL THEN donor_set_id END AS foot_id
    FROM lineage_ramet
    WHERE {on_the_stem}
),
event(id) AS (SELECT born_id FROM way UNION {events})
{rows}
"""
)
_ON_THE_STEM = {"postgresql": "id = ANY(ARRAY(SELECT id FROM stem))"}
"""See Among."""

ASKED = RawSQL("SELECT id FROM asked", ())
"""The id of the ramet asked for, for querysets of an Account."""
ON_THE_WAY = RawSQL("SELECT id FROM way", ())
"""The ids of the ramet asked for and of all it was cut from."""
COLLECTIONS = RawSQL("SELECT collection_id FROM way", ())
CUTTINGS = RawSQL("SELECT fragmentation_id FROM way", ())
FEET = RawSQL("SELECT foot_id FROM way", ())
"""The donor sets of those that were not cut from another."""
EVENTS = RawSQL("SELECT id FROM event", ())
"""The ids of the events that are told of."""


_DESCENDANTS = """
WITH RECURSIVE grown(id) AS (
    SELECT id FROM lineage_ramet WHERE id = %s
    UNION
    SELECT ramet.id
    FROM grown
    JOIN lineage_source AS source ON source.ramet_id = grown.id
    JOIN lineage_ramet AS ramet ON ramet.fragmentation_id = source.fragmentation_id
)
SELECT id FROM grown
"""


_DESCENDANTS_OF = _DESCENDANTS.replace("id = %s", "id IN ({marks})")
_AT_ONCE = 500
"""The most ids in one statement: a list of them is planned anew for each length."""


_read_json = json.JSONDecoder(parse_float=Decimal).decode


class Among(Func):
    """Whether a column's value is among the few of a subquery.

    PostgreSQL makes an array of them first, and so plans for few. Of a subquery it cannot know
    that, and reads whole tables for one way.
    """

    output_field = BooleanField()
    template = "%(expressions)s"
    arg_joiner = " IN "

    def __init__(self, column: str, few: RawSQL | QuerySet[Any, Any]) -> None:
        super().__init__(F(column), Subquery(few) if isinstance(few, QuerySet) else few)

    def as_postgresql(
        self, compiler: SQLCompiler, connection: BaseDatabaseWrapper
    ) -> tuple[str, Sequence[Any]]:
        return self.as_sql(
            compiler, connection, template="%(expressions)s)", arg_joiner=" = ANY(ARRAY"
        )


class Account:
    """All that is told of a ramet and of its way back, by one statement for any ramet.

    `rows` are querysets, and what is told of each of their rows; `events` are querysets of the ids
    of the events that are told of, beside the births. They are narrowed by Among and the subqueries
    above. They become SQL when the account is made, which takes several times as long as asking:
    make it once.
    """

    def __init__(
        self,
        rows: Mapping[str, tuple[QuerySet[Any], JSONArray]],
        events: Sequence[QuerySet[Any, Any]],
    ) -> None:
        self._names = list(rows)
        named, first = _united(events, " UNION ")
        told, second = _united(
            [
                queryset.values_list(RawSQL(str(number), ()), told)  # noqa: S611 - a number
                for number, (queryset, told) in enumerate(rows.values())
            ],
            " UNION ALL ",
        )
        self._sql = _WAY.format(
            on_the_stem=_ON_THE_STEM.get(connection.vendor, "id IN (SELECT id FROM stem)"),
            events=named,
            rows=told,
        )
        self._params = (*first, *second)

    def of(self, code: str) -> dict[str, list[list[Any]]]:
        """The rows about the ramet with this code, in no order; none at all if there is none."""
        found: list[list[list[Any]]] = [[] for _ in self._names]
        with connection.cursor() as cursor:
            cursor.execute(self._sql, (code, *self._params))
            for number, row in cursor.fetchall():
                found[number].append(_read_json(row))
        return dict(zip(self._names, found, strict=True))


def _united(querysets: Iterable[QuerySet[Any, Any]], by: str) -> tuple[str, list[Any]]:
    """The SQL of several querysets as one, and its parameters."""
    parts = [queryset.order_by().query.sql_with_params() for queryset in querysets]
    return by.join(sql for sql, _ in parts), [value for _, values in parts for value in values]


def descendants(ramet_id: int) -> RawSQL:
    """The ids of a ramet and of all that was cut from it, as a subquery for `pk__in`."""
    return RawSQL(_DESCENDANTS, (ramet_id,))  # noqa: S611 - the text is ours, the id a parameter


def all_descendants(ramet_ids: Iterable[int]) -> list[int]:
    """The ids of these ramets and of all that was cut from any of them, in ascending order."""
    ids = sorted(set(ramet_ids))
    found: set[int] = set()
    with connection.cursor() as cursor:
        for start in range(0, len(ids), _AT_ONCE):
            part = ids[start : start + _AT_ONCE]
            marks = ", ".join(["%s"] * len(part))
            cursor.execute(_DESCENDANTS_OF.format(marks=marks), part)
            found |= {row[0] for row in cursor.fetchall()}
    return sorted(found)
