"""How many ramets of which genet stand, stood or were seen in a site's plots: grouped counts.

States: `planted` counts every ramet planted by the day, whatever became of it; `alive` those
planted by the day and not known dead, missing or lifted; `seen` those whose last look by the day
found them alive.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from enum import StrEnum

from django.db.models import Count, F, Max, Min, OuterRef, Q, QuerySet, Subquery
from django.db.models.functions import Coalesce

from nursery.core.dates import latest_today
from nursery.donors.models import Taxon
from nursery.lineage.models import Ramet, Step
from nursery.lineage.words import Life, Place
from nursery.outplanting.models import Condition, Observation, Outplant
from nursery.places.models import Site


class Stand(StrEnum):
    """Which ramets of a site are counted."""

    PLANTED = "planted"
    ALIVE = "alive"
    SEEN = "seen"


@dataclass(frozen=True, slots=True)
class GenetCount:
    """So many ramets of one genet (None: without a genet) and taxon in one plot."""

    plot: str
    taxon: int
    genet: int | None
    ramets: int


@dataclass(frozen=True, slots=True)
class Look:
    """What stands behind "alive": of all planted by the day, what the last look at each found.

    `oldest` and `newest` are the days of those last looks; `never` were never looked for.
    """

    planted: int
    alive: int
    seen_alive: int
    seen_dead: int
    seen_missing: int
    never: int
    oldest: date | None
    newest: date | None


def planted_by(site: Site, day: date | None, taxon: Taxon | None = None) -> QuerySet[Ramet]:
    """Ramets planted at the site by the day (None: by now), each with `planted_in`, the plot of its
    last planting there.

    An event of a vague date counts once its whole range has passed.
    """
    plantings = Outplant.objects.filter(outplanting__plot__site=site, outplanting__event__live=True)
    if day is not None:
        plantings = plantings.filter(outplanting__event__latest__lte=day)
    last = plantings.filter(ramet=OuterRef("pk")).order_by("-pk")
    ramets = Ramet.objects.filter(pk__in=plantings.values("ramet"))
    if taxon is not None:
        ramets = ramets.filter(taxon=taxon)
    return ramets.annotate(planted_in=Subquery(last.values("outplanting__plot__code")[:1]))


def standing(
    site: Site, state: Stand, day: date | None, taxon: Taxon | None = None
) -> list[GenetCount]:
    """Ramets of a site in a state on a day (None: now), counted by plot, taxon and genet.

    Merged genets are counted as the one they turned out to be. One query.
    """
    past = day is not None and day < latest_today()
    if state is Stand.ALIVE and not past:
        ramets = Ramet.objects.filter(plot__site=site, life=Life.LIVING, place=Place.PLOT)
        if taxon is not None:
            ramets = ramets.filter(taxon=taxon)
        return list(_grouped(ramets.annotate(planted_in=F("plot__code"))))
    ramets = planted_by(site, day, taxon)
    if state is Stand.ALIVE:
        ramets = _as_of(ramets, day).filter(Q(then_life=Life.LIVING), Q(then_site=site.pk))
        ramets = ramets.annotate(stood_in=F("then_plot"))
        return list(_grouped(ramets, "stood_in"))
    if state is Stand.SEEN:
        ramets = _last_looked(ramets, site, day).filter(Q(last_condition=Condition.ALIVE))
    return list(_grouped(ramets))


def look(site: Site, day: date | None, taxon: Taxon | None = None) -> Look:
    """What the last look at each ramet planted by the day found. Two queries."""
    ramets = _last_looked(planted_by(site, day, taxon), site, day)
    counts = ramets.aggregate(
        planted=Count("pk"),
        seen_alive=Count("pk", filter=Q(last_condition=Condition.ALIVE)),
        seen_dead=Count("pk", filter=Q(last_condition=Condition.DEAD)),
        seen_missing=Count("pk", filter=Q(last_condition=Condition.MISSING)),
        oldest=Min("last_day"),
        newest=Max("last_day"),
    )
    seen = counts["seen_alive"] + counts["seen_dead"] + counts["seen_missing"]
    alive = sum(row.ramets for row in standing(site, Stand.ALIVE, day, taxon))
    return Look(**counts, alive=alive, never=counts["planted"] - seen)


def _grouped(ramets: QuerySet[Ramet], plot: str = "planted_in") -> Iterator[GenetCount]:
    rows = (
        ramets.order_by()
        .annotate(individual=Coalesce("genet__canonical_id", "genet_id"))
        .values_list(plot, "taxon_id", "individual")
        .annotate(n=Count("pk"))
    )
    for plot_code, taxon_id, genet_id, n in rows:
        yield GenetCount(plot_code, taxon_id, genet_id, n)


def _as_of(ramets: QuerySet[Ramet], day: date | None) -> QuerySet[Ramet]:
    """Life and place by the last live step of each by the day: as it happened, as known today."""
    steps = Step.objects.filter(ramet=OuterRef("pk"), live=True).order_by("-order")
    if day is not None:
        steps = steps.filter(event__latest__lte=day)
    life = steps.filter(life__isnull=False)
    place = steps.filter(place__isnull=False)
    return ramets.annotate(
        then_life=Subquery(life.values("life")[:1]),
        then_site=Subquery(place.values("plot__site_id")[:1]),
        then_plot=Subquery(place.values("plot__code")[:1]),
    )


def _last_looked(ramets: QuerySet[Ramet], site: Site, day: date | None) -> QuerySet[Ramet]:
    looks = Observation.objects.filter(
        ramet=OuterRef("pk"), visit__site=site, visit__event__live=True
    ).order_by("-visit__event__earliest", "-pk")
    if day is not None:
        looks = looks.filter(visit__event__latest__lte=day)
    return ramets.annotate(
        last_condition=Subquery(looks.values("condition")[:1]),
        last_day=Subquery(looks.values("visit__event__latest")[:1]),
    )
