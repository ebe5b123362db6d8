"""Genets that the programme had and has no more: when and how the last ramet of each ended."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from datetime import datetime

from django.db.models import Count, Q

from nursery.core.actor import Actor, require_read
from nursery.core.dates import When
from nursery.donors.models import Genet, Taxon
from nursery.lineage.living import INDIVIDUAL
from nursery.lineage.models import Ramet, Step
from nursery.lineage.words import Cause, Life


@dataclass(frozen=True, slots=True)
class Gone:
    """A genet of which `ramets` were in the record and none lives.

    `ended` is when the last of them ended, `how` and, where one was seen, by which `cause`.
    """

    genet: Genet
    ramets: int
    ended: When
    how: Life
    cause: Cause | None


@dataclass(frozen=True, slots=True)
class _End:
    """How one ramet ended, and at which moment."""

    moment: datetime
    when: When
    how: Life
    cause: Cause | None


def gone(actor: Actor, taxon: Taxon | None = None) -> list[Gone]:
    """The genets that had ramets and have none that lives, the latest loss first; of one taxon
    where one is given. Merged genets are one. Three queries. Raises NotAllowed (`no_role`).

    A ramet's end is the first step after which it lived no more: a look at what was long dead does
    not make its end later.
    """
    require_read(actor)
    ramets = Ramet.objects.filter(genet__isnull=False).order_by()
    if taxon is not None:
        ramets = ramets.filter(taxon=taxon)
    counted = (
        ramets.annotate(individual=INDIVIDUAL)
        .values_list("individual")
        .annotate(n=Count("pk"), left=Count("pk", filter=Q(life=Life.LIVING)))
    )
    had = {genet: n for genet, n, left in counted if not left}
    last = {pk: max(ends, key=lambda end: end.moment) for pk, ends in _ends(had).items()}
    genets = Genet.objects.filter(pk__in=last).select_related("taxon").order_by("code")
    rows = [
        Gone(genet, had[genet.pk], end.when, end.how, end.cause)
        for genet in genets
        for end in (last[genet.pk],)
    ]
    return sorted(rows, key=lambda row: last[row.genet.pk].moment, reverse=True)


def _ends(genets: dict[int, int]) -> dict[int, list[_End]]:
    """The end of each ramet of these genets, by the genet."""
    steps = (
        Step.objects.filter(live=True, life__isnull=False)
        .filter(Q(ramet__genet__in=genets) | Q(ramet__genet__canonical__in=genets))
        .order_by("ramet_id", "order")
        .values_list(
            "ramet_id",
            "ramet__genet__canonical_id",
            "ramet__genet_id",
            "event__moment",
            "event__earliest",
            "event__latest",
            "life",
            "cause",
        )
    )
    found: dict[int, _End] = {}
    of: dict[int, int] = {}
    for ramet, canonical, genet, moment, earliest, latest, life, cause in steps.iterator():
        of[ramet] = canonical or genet
        if life == Life.LIVING:
            found.pop(ramet, None)
        elif life is not None and ramet not in found:
            seen = Cause(cause) if cause is not None else None
            found[ramet] = _End(moment, When(earliest, latest), Life(life), seen)
    by_genet: dict[int, list[_End]] = defaultdict(list)
    for ramet, end in found.items():
        by_genet[of[ramet]].append(end)
    return dict(by_genet)
