"""What is irregular about collections: their permits against what was taken, where and when."""

from __future__ import annotations

from bisect import bisect_right
from collections import defaultdict
from collections.abc import Iterable, Sequence
from itertools import accumulate

from nursery.donors.clones import flag_of
from nursery.donors.models import Collection, EventPermit, Permit
from nursery.donors.permits import Flag, Use, flags


def flags_of_collection(collection: Collection) -> list[Flag]:
    """The flags of one collection; see `flags_of_collections`."""
    return flags_of_collections([collection]).get(collection.pk, [])


def flags_of_collections(collections: Iterable[Collection]) -> dict[int, list[Flag]]:
    """The flags of each collection (with `event` at hand) that has any, by its key.

    A permit that sets a number is judged by all that was taken under it by then. The number of
    queries does not grow with the collections.
    """
    rows = list(collections)
    permits = _permits_of([row.pk for row in rows])
    taken = _Taken({permit.pk for held in permits.values() for permit in held if permit.pieces})
    found = {}
    for row in rows:
        held = permits.get(row.pk, [])
        use = Use(
            when=row.event.when,
            taxa=frozenset({row.taxon_id}),
            reef=row.reef_id,
            pieces={permit.pk: taken.under(permit.pk, row.pk) for permit in held},
        )
        faults = flags(held, use)
        clone = flag_of(row.perhaps_same)
        if clone is not None:
            faults.append(Flag(*clone))
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
    """How many pieces were taken under each of some permits, collection after collection."""

    def __init__(self, permits: set[int]) -> None:
        links = EventPermit.objects.filter(
            permit__in=permits, event__collection__isnull=False, event__live=True
        ).order_by("event_id")
        self.keys: dict[int, list[int]] = defaultdict(list)
        pieces: dict[int, list[int]] = defaultdict(list)
        for permit, event, n in links.values_list(
            "permit_id", "event_id", "event__collection__pieces"
        ):
            self.keys[permit].append(event)
            pieces[permit].append(n)
        self.sums = {permit: [0, *accumulate(found)] for permit, found in pieces.items()}

    def under(self, permit: int, collection: int) -> int:
        """Pieces of all collections under the permit that were entered by then."""
        if permit not in self.sums:
            return 0
        return self.sums[permit][bisect_right(self.keys[permit], collection)]
