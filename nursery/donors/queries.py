"""What can be asked of donor registers."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable

from django.db.models import Sum

from nursery.core.errors import Problem, Unknown
from nursery.donors.models import Collection, DonorColony, EventPermit, Genet, Permit, Taxon
from nursery.donors.permits import Flag, Use, flags


def permits_of(event_ids: Iterable[int]) -> dict[int, tuple[str, ...]]:
    """The codes of the permits of each event that has any."""
    found: dict[int, list[str]] = defaultdict(list)
    links = EventPermit.objects.filter(event__in=set(event_ids)).order_by("permit__code")
    for event_id, code in links.values_list("event_id", "permit__code"):
        found[event_id].append(code)
    return {event_id: tuple(codes) for event_id, codes in found.items()}


def colony(code: str) -> DonorColony:
    """The donor colony with this code, in any case; raises Unknown (`unknown_donorcolony`)."""
    row = (
        DonorColony.objects.select_related("taxon", "genet__canonical", "reef")
        .filter(code=code.strip().upper()[:60])
        .first()
    )
    if row is None:
        raise Unknown(Problem("unknown_donorcolony", f"There is no donor colony {code!r}."))
    return row


def genet(code: str) -> Genet:
    """The genet with this code or staff name; raises Unknown (`unknown_genet`)."""
    clean = code.strip()[:120]
    row = Genet.objects.filter(code=clean.upper()).first()
    if row is None:
        row = Genet.objects.filter(name__iexact=clean).order_by("pk").first() if clean else None
    if row is None:
        raise Unknown(Problem("unknown_genet", f"There is no genet {code!r}."))
    return row


def taxon(text: str) -> Taxon:
    """The taxon with this code or name, in any case; raises Unknown (`unknown_taxon`)."""
    clean = text.strip()[:120]
    row = Taxon.objects.filter(code=clean.upper()).first()
    if row is None:
        row = Taxon.objects.filter(name__iexact=clean).order_by("pk").first() if clean else None
    if row is None:
        raise Unknown(Problem("unknown_taxon", f"There is no taxon {text!r}."))
    return row


def flags_of_collection(collection: Collection) -> list[Flag]:
    """What is irregular about a collection: its permits against what was taken, where and when.

    The number of pieces is judged together with all earlier collections under the same permit.
    """
    permits = list(
        Permit.objects.filter(event_links__event=collection.event_id).prefetch_related(
            "taxa", "reefs", "sites"
        )
    )
    taken = None
    if any(permit.pieces is not None for permit in permits):
        under = Collection.objects.filter(
            event__permit_links__permit__in=permits, event__live=True, pk__lte=collection.pk
        ).distinct()
        taken = Collection.objects.filter(pk__in=under.values("pk")).aggregate(n=Sum("pieces"))["n"]
    return flags(
        permits,
        Use(
            when=collection.event.when,
            taxa=frozenset({collection.taxon_id}),
            reef=collection.reef_id,
            pieces=taken,
        ),
    )
