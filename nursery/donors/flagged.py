"""What is irregular about collections, for many at once.

The same rule as `queries.flags_of_collection`, in a number of queries that does not grow.
"""

from __future__ import annotations

from bisect import bisect_right
from collections import defaultdict
from collections.abc import Iterable, Sequence
from itertools import accumulate

from nursery.donors.models import Collection, EventPermit, Permit
from nursery.donors.permits import Flag, Use, flags


def flags_of_collections(collections: Iterable[Collection]) -> dict[int, list[Flag]]:
    """The flags of each collection (with `event` at hand) that has any, by its key."""
    rows = list(collections)
    permits = _permits_of([row.pk for row in rows])
    counted = {
        key: frozenset(permit.pk for permit in held)
        for key, held in permits.items()
        if any(permit.pieces is not None for permit in held)
    }
    taken = _Taken(counted.values())
    found = {}
    for row in rows:
        use = Use(
            when=row.event.when,
            taxa=frozenset({row.taxon_id}),
            reef=row.reef_id,
            pieces=taken.by(row.pk, counted[row.pk]) if row.pk in counted else None,
        )
        faults = flags(permits.get(row.pk, []), use)
        if faults:
            found[row.pk] = faults
    return found


def _permits_of(event_ids: Sequence[int]) -> dict[int, list[Permit]]:
    """The permits of each event, with what they name."""
    links = list(EventPermit.objects.filter(event__in=event_ids).order_by("pk"))
    rows = Permit.objects.filter(pk__in={link.permit_id for link in links})
    known = {row.pk: row for row in rows.prefetch_related("taxa", "reefs", "sites")}
    found: dict[int, list[Permit]] = defaultdict(list)
    for link in links:
        found[link.event_id].append(known[link.permit_id])
    return found


class _Taken:
    """How many pieces were taken under some permits, up to one collection."""

    def __init__(self, together: Iterable[frozenset[int]]) -> None:
        groups = set(together)
        events: dict[int, set[int]] = defaultdict(set)
        links = EventPermit.objects.filter(
            permit__in=frozenset().union(*groups),
            event__collection__isnull=False,
            event__live=True,
        )
        for event_id, permit_id in links.values_list("event_id", "permit_id"):
            events[permit_id].add(event_id)
        ids = {event for found in events.values() for event in found}
        pieces = dict(Collection.objects.filter(pk__in=ids).values_list("pk", "pieces"))
        self.keys: dict[frozenset[int], list[int]] = {}
        self.sums: dict[frozenset[int], list[int]] = {}
        for group in groups:
            keys = sorted({event for permit in group for event in events[permit]})
            self.keys[group] = keys
            self.sums[group] = [0, *accumulate(pieces[key] for key in keys)]

    def by(self, collection: int, permits: frozenset[int]) -> int:
        """Pieces of all collections, entered by then, under any of these permits."""
        return self.sums[permits][bisect_right(self.keys[permits], collection)]
