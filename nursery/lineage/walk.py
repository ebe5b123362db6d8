"""The recursive walk through cuttings, written once for both databases.

It follows fragmentation → sources, so that a pooled cutting keeps all its mothers; by ids alone
and with UNION, so that a ramet reached by several ways is taken once and no loop can run for ever.
"""

from __future__ import annotations

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
