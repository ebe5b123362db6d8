"""How many ramets of which genet stand, stood or were seen in a site's plots: grouped counts.

States: `planted` counts every ramet planted by the day, whatever became of it; `alive` those
planted by the day and not known dead, missing or lifted; `seen` those whose last look by the day
found them alive.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, replace
from datetime import date
from enum import StrEnum

from django.db.models import Count, QuerySet
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


def standing(
    site: Site, state: Stand, day: date | None, taxon: Taxon | None = None
) -> list[GenetCount]:
    """Ramets of a site in a state on a day (None: now), counted by plot, taxon and genet.

    A ramet planted twice at the site counts in the plot of its last planting. Merged genets are
    counted as the one they turned out to be. An event of a vague date counts once its whole range
    has passed. At most two queries.
    """
    if state is Stand.ALIVE and (day is None or day >= latest_today()):
        return _alive_now(site, taxon)
    planted = _planted(site, day, taxon)
    if state is Stand.ALIVE:
        plots = _alive_then(site, day)
        kept = {pk: replace(row, plot=plots[pk]) for pk, row in planted.items() if pk in plots}
    elif state is Stand.SEEN:
        looks = _last_looks(site, day)
        kept = {
            pk: row
            for pk, row in planted.items()
            if pk in looks and looks[pk].condition == Condition.ALIVE
        }
    else:
        kept = planted
    counts = Counter((row.plot, row.taxon, row.genet) for row in kept.values())
    return [GenetCount(plot, taxon_id, genet, n) for (plot, taxon_id, genet), n in counts.items()]


def look(site: Site, day: date | None, taxon: Taxon | None = None) -> Look:
    """What the last look at each ramet planted by the day found. At most four queries."""
    planted = _planted(site, day, taxon)
    looks = [row for pk, row in _last_looks(site, day).items() if pk in planted]
    found = Counter(row.condition for row in looks)
    return Look(
        planted=len(planted),
        alive=sum(row.ramets for row in standing(site, Stand.ALIVE, day, taxon)),
        seen_alive=found[Condition.ALIVE],
        seen_dead=found[Condition.DEAD],
        seen_missing=found[Condition.MISSING],
        never=len(planted) - len(looks),
        oldest=min((row.day for row in looks), default=None),
        newest=max((row.day for row in looks), default=None),
    )


@dataclass(frozen=True, slots=True)
class _Planting:
    """Where a ramet was planted last, and what it is."""

    plot: str
    taxon: int
    genet: int | None


@dataclass(frozen=True, slots=True)
class _LastLook:
    condition: int
    day: date


def _alive_now(site: Site, taxon: Taxon | None) -> list[GenetCount]:
    """By the caches of the ramets, in one grouped query."""
    ramets = Ramet.objects.filter(plot__site=site, life=Life.LIVING, place=Place.PLOT)
    if taxon is not None:
        ramets = ramets.filter(taxon=taxon)
    rows = (
        ramets.order_by()
        .annotate(individual=Coalesce("genet__canonical_id", "genet_id"))
        .values_list("plot__code", "taxon_id", "individual")
        .annotate(n=Count("pk"))
    )
    return [GenetCount(plot, taxon_id, genet, n) for plot, taxon_id, genet, n in rows if plot]


def _plantings(site: Site, day: date | None) -> QuerySet[Outplant]:
    rows = Outplant.objects.filter(outplanting__plot__site=site, outplanting__event__live=True)
    return rows if day is None else rows.filter(outplanting__event__latest__lte=day)


def _planted(site: Site, day: date | None, taxon: Taxon | None) -> dict[int, _Planting]:
    """The last planting at the site of each ramet planted there by the day, by the ramet's id.

    Read as plain rows and folded here: asked of the database as "the last one of each", this took
    minutes where it takes tenths of a second.
    """
    rows = _plantings(site, day)
    if taxon is not None:
        rows = rows.filter(ramet__taxon=taxon)
    found = (
        rows.annotate(individual=Coalesce("ramet__genet__canonical_id", "ramet__genet_id"))
        .order_by("pk")
        .values_list("ramet_id", "outplanting__plot__code", "ramet__taxon_id", "individual")
    )
    return {pk: _Planting(plot, taxon_id, genet) for pk, plot, taxon_id, genet in found}


def _last_looks(site: Site, day: date | None) -> dict[int, _LastLook]:
    """The last look at the site at each ramet, by the day, by the ramet's id."""
    rows = Observation.objects.filter(
        visit__site=site, visit__event__live=True, ramet__isnull=False
    )
    if day is not None:
        rows = rows.filter(visit__event__latest__lte=day)
    # In the order of entry, which is that of the steps: an entry that lies before a later one on
    # every reading is refused, and of "June" and "10 June" the one entered last decides.
    found = rows.order_by("pk").values_list("ramet_id", "condition", "visit__event__latest")
    return {pk: _LastLook(condition, seen) for pk, condition, seen in found}


def _alive_then(site: Site, day: date | None) -> dict[int, str]:
    """The plot of the site in which each ramet was living on the day: by its last live steps by
    then, as it happened, as known today."""
    steps = Step.objects.filter(ramet__in=_plantings(site, day).values("ramet"), live=True)
    if day is not None:
        steps = steps.filter(event__latest__lte=day)
    lives: dict[int, int] = {}
    plots: dict[int, str | None] = {}
    rows = steps.order_by("ramet_id", "order").values_list(
        "ramet_id", "life", "place", "plot__code", "plot__site_id"
    )
    for pk, life, place, plot, site_id in rows:
        if life is not None:
            lives[pk] = life
        if place is not None:
            plots[pk] = plot if site_id == site.pk else None
    return {pk: plot for pk, plot in plots.items() if plot and lives.get(pk) == Life.LIVING}
