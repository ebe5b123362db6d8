"""Whether permits would cover a collection, said while it is being filled in.

The same rules flag it once it is entered (nursery.donors.flagged): it is never refused for them.
"""

from __future__ import annotations

from collections.abc import Sequence

from django.db.models import Sum

from nursery.core.dates import When
from nursery.donors.models import EventPermit, Permit, Taxon
from nursery.donors.permits import Flag, Use, flags
from nursery.places.models import Reef


def would_flag(
    codes: Sequence[str], when: When, taxon: Taxon | None, reef: Reef | None, pieces: int
) -> list[Flag]:
    """What would be irregular about taking so many pieces now under these permits.

    Raises nothing for a permit that is not known: it is flagged as `unknown_permit`.
    """
    wanted = list(dict.fromkeys(code.strip().upper() for code in codes if code.strip()))
    rows = Permit.objects.filter(code__in=wanted).prefetch_related("taxa", "reefs", "sites")
    known = {row.code: row for row in rows}
    missing = [code for code in wanted if code not in known]
    if missing:
        return [Flag("unknown_permit", f"There is no permit {', '.join(missing)}.")]
    permits = [known[code] for code in wanted]
    taken = _taken([row.pk for row in permits if row.pieces])
    use = Use(
        when=when,
        taxa=frozenset({taxon.pk}) if taxon else frozenset(),
        reef=reef.pk if reef else None,
        pieces={row.pk: taken.get(row.pk, 0) + pieces for row in permits},
    )
    return flags(permits, use)


def _taken(permits: Sequence[int]) -> dict[int, int]:
    """Pieces taken so far under each of these permits."""
    if not permits:
        return {}
    links = EventPermit.objects.filter(
        permit__in=permits, event__collection__isnull=False, event__live=True
    )
    sums = links.values_list("permit_id").annotate(taken=Sum("event__collection__pieces"))
    return {pk: int(taken or 0) for pk, taken in sums.order_by("permit_id")}
