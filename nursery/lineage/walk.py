"""The recursive walk through cuttings, written once for both databases.

It follows fragmentation → sources, so that a pooled cutting keeps all its mothers; by ids alone
and with UNION, so that a ramet reached by several ways is taken once and no loop can run for ever.
"""

from __future__ import annotations

from collections.abc import Iterable

from django.db import connection
from django.db.models.expressions import RawSQL

_ANCESTORS = """
WITH RECURSIVE stem(id) AS (
    SELECT id FROM lineage_ramet WHERE id = %s
    UNION
    SELECT source.ramet_id
    FROM stem
    JOIN lineage_ramet AS ramet ON ramet.id = stem.id
    JOIN lineage_source AS source ON source.fragmentation_id = ramet.fragmentation_id
)
SELECT id FROM stem
"""

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


def ancestors(ramet_id: int) -> list[int]:
    """The ids of a ramet and of all it was cut from. One query.

    The ids come back at once, for there are few: as a subquery they would hide their number from
    the planner, which then reads the whole table.
    """
    with connection.cursor() as cursor:
        cursor.execute(_ANCESTORS, [ramet_id])
        return [row[0] for row in cursor.fetchall()]


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
