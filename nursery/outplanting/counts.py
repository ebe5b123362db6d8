"""How many ramets of which genet stand, stood or were seen in a site's plots: grouped counts.

States: `planted` counts every ramet planted by the day, whatever became of it; `alive` those
planted by the day and not known dead, missing or lifted; `seen` those whose last look by the day
found them alive.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date
from enum import StrEnum
from typing import Any

from django.db.models import (
    BigIntegerField,
    Case,
    Count,
    F,
    Max,
    Min,
    QuerySet,
    Value,
    When,
)
from django.db.models.expressions import Combinable
from django.db.models.functions import Coalesce
from django.db.models.lookups import Exact

from nursery.core.dates import latest_today
from nursery.donors.models import Genet, Taxon
from nursery.lineage.living import INDIVIDUAL as _INDIVIDUAL
from nursery.lineage.models import Ramet, Step
from nursery.lineage.words import Life, Place
from nursery.outplanting.models import Condition, Observation, Outplant, Outplanting, Visit
from nursery.places.models import Site

_CONDITIONS = max(Condition) + 1


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

    `oldest` and `newest` are the days of the first and the last of those last looks; `never` were
    never looked for.
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
    has passed. At most four queries.
    """
    if _is_now(state, day):
        return _alive_now(site, taxon)
    kept = _standing(site, state, day, taxon)
    counts = Counter((row.plot, row.taxon, row.genet) for row in kept.values())
    return [GenetCount(plot, taxon_id, genet, n) for (plot, taxon_id, genet), n in counts.items()]


@dataclass(frozen=True, slots=True)
class DonorCount:
    """So many ramets that descend from one set of donor colonies (None: unknown) in one plot."""

    plot: str
    donor_set: int | None
    ramets: int


def donors_standing(
    site: Site, state: Stand, day: date | None, taxon: Taxon | None = None
) -> list[DonorCount]:
    """The same ramets as of `standing`, counted by plot and donor set. At most five queries."""
    if _is_now(state, day):
        plots = dict(site.plots.values_list("pk", "code"))
        rows = _living(plots, taxon).values_list("plot_id", "donor_set").annotate(n=Count("*"))
        return [DonorCount(plots[plot], donors, n) for plot, donors, n in rows if plot is not None]
    kept = _standing(site, state, day, taxon)
    plantings = _plantings(site, day)
    sets = dict(plantings.values_list("ramet_id", "ramet__donor_set_id"))
    counts = Counter((row.plot, sets[pk]) for pk, row in kept.items())
    return [DonorCount(plot, donor_set, n) for (plot, donor_set), n in counts.items()]


@dataclass(frozen=True, slots=True)
class CohortCount:
    """So many ramets of one genet that one outplanting planted (None: none on record)."""

    outplanting: int | None
    genet: int | None
    ramets: int


def cohorts_standing(
    site: Site, state: Stand, day: date | None, taxon: Taxon | None = None
) -> list[CohortCount]:
    """The same ramets as of `standing`, counted by their last planting at the site and by genet.
    At most four queries."""
    planted = _planted(site, day, taxon) if _is_now(state, day) else {}
    counts: Counter[tuple[int | None, int | None]] = Counter()
    if _is_now(state, day):
        living = _living(site.plots.values_list("pk", flat=True), taxon)
        rows = living.annotate(individual=_INDIVIDUAL).values_list("pk", "individual")
        for pk, genet in rows:
            counts[planted[pk].outplanting if pk in planted else None, genet] += 1
    else:
        for row in _standing(site, state, day, taxon).values():
            counts[row.outplanting, row.genet] += 1
    return [CohortCount(by, genet, n) for (by, genet), n in counts.items()]


def genets_living_by_site(taxon: Taxon | None = None) -> dict[int, Counter[int]]:
    """How many ramets of each genet live at each site now, by the site's id; those without a genet
    are left out. One query."""
    ramets = Ramet.objects.filter(life=Life.LIVING, place=Place.PLOT, genet__isnull=False)
    if taxon is not None:
        ramets = ramets.filter(taxon=taxon)
    rows = ramets.order_by().annotate(individual=_INDIVIDUAL)
    return _by_site(rows.values_list("plot__site_id", "individual").annotate(n=Count("pk")))


def genets_planted_by_site(taxon: Taxon | None = None) -> dict[int, Counter[int]]:
    """The same of all that were ever planted, each ramet once at a site. One query."""
    plants = Outplant.objects.filter(outplanting__event__live=True, ramet__genet__isnull=False)
    if taxon is not None:
        plants = plants.filter(ramet__taxon=taxon)
    rows = plants.order_by().annotate(
        individual=Coalesce("ramet__genet__canonical_id", "ramet__genet_id")
    )
    return _by_site(
        rows.values_list("outplanting__plot__site_id", "individual").annotate(
            n=Count("ramet", distinct=True)
        )
    )


def _by_site(rows: Iterable[tuple[Any, ...]]) -> dict[int, Counter[int]]:
    found: dict[int, Counter[int]] = defaultdict(Counter)
    for site, genet, n in rows:
        found[site][genet] += n
    return dict(found)


def _is_now(state: Stand, day: date | None) -> bool:
    return state is Stand.ALIVE and (day is None or day >= latest_today())


def _standing(
    site: Site, state: Stand, day: date | None, taxon: Taxon | None
) -> dict[int, _Planting]:
    """The ramets of a site in a state on a day by their ids, each with its last planting."""
    planted = _planted(site, day, taxon)
    if state is Stand.ALIVE:
        plots = _alive_then(site, day)
        return {pk: replace(row, plot=plots[pk]) for pk, row in planted.items() if pk in plots}
    if state is Stand.SEEN:
        looks = _last_looks(site, day)
        return {pk: row for pk, row in planted.items() if looks.get(pk) == Condition.ALIVE}
    return planted


def look(site: Site, day: date | None, taxon: Taxon | None, alive: int) -> Look:
    """What the last look at each ramet planted by the day found; `alive` is how many are alive by
    `standing`. Four queries; the counting is done by the database."""
    plantings = _plantings(site, day)
    if taxon is not None:
        plantings = plantings.filter(ramet__taxon=taxon)
    planted: int = plantings.aggregate(n=Count("ramet", distinct=True))["n"]
    visits = _visits(site, day)
    if not visits:
        return Look(planted, alive, 0, 0, 0, planted, None, None)
    # What was seen at a site had been planted there: only some plantings need be told apart.
    some = plantings if taxon is not None or day is not None else None
    seen = _count_last_looks(list(visits), some)
    return Look(
        planted=planted,
        alive=alive,
        seen_alive=seen.alive,
        seen_dead=seen.dead,
        seen_missing=seen.missing,
        never=planted - (seen.alive + seen.dead + seen.missing),
        oldest=visits[seen.first] if seen.first is not None else None,
        newest=visits[seen.last] if seen.last is not None else None,
    )


@dataclass(frozen=True, slots=True)
class _Planting:
    """Where a ramet was planted last, and what it is."""

    plot: str
    taxon: int
    genet: int | None
    outplanting: int


def _alive_now(site: Site, taxon: Taxon | None) -> list[GenetCount]:
    """By the caches of the ramets, in one grouped query over their rows alone: the names of plots
    and the merged genets are few, and looked up beside."""
    plots = dict(site.plots.values_list("pk", "code"))
    merged = dict(Genet.objects.filter(canonical__isnull=False).values_list("pk", "canonical_id"))
    ramets = _living(plots, taxon)
    rows = ramets.values_list("plot_id", "taxon_id", "genet_id").annotate(n=Count("*"))
    counts: Counter[tuple[int, int, int | None]] = Counter()
    for plot, taxon_id, genet, n in rows:
        if plot is not None:
            counts[plot, taxon_id, merged.get(genet, genet)] += n
    return [
        GenetCount(plots[plot], taxon_id, genet, n) for (plot, taxon_id, genet), n in counts.items()
    ]


def _living(plots: Iterable[int], taxon: Taxon | None) -> QuerySet[Ramet]:
    """The ramets that live in some plots now."""
    ramets = Ramet.objects.filter(plot__in=list(plots), life=Life.LIVING, place=Place.PLOT)
    if taxon is not None:
        ramets = ramets.filter(taxon=taxon)
    return ramets.order_by()


def _plantings(site: Site, day: date | None) -> QuerySet[Outplant]:
    """What was planted at the site by the day. The outplantings are looked up first, for they are
    few: where the database is not told so, it reads each plant by itself."""
    events = Outplanting.objects.filter(plot__site=site, event__live=True)
    if day is not None:
        events = events.filter(event__latest__lte=day)
    return Outplant.objects.filter(outplanting__in=list(events.values_list("pk", flat=True)))


def _visits(site: Site, day: date | None) -> dict[int, date]:
    """The visits to the site by the day, in the order they happened in, and their days."""
    events = Visit.objects.filter(site=site, event__live=True).order_by("event__moment", "pk")
    if day is not None:
        events = events.filter(event__latest__lte=day)
    return dict(events.values_list("pk", "event__latest"))


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
        .order_by("outplanting__event__moment", "outplanting")
        .values_list(
            "ramet_id", "outplanting__plot__code", "ramet__taxon_id", "individual", "outplanting_id"
        )
    )
    return {pk: _Planting(*told) for pk, *told in found}


def _last_looks(site: Site, day: date | None) -> dict[int, int]:
    """What the last look at the site at each ramet found, by the day, by the ramet's id."""
    found = Observation.objects.filter(
        visit__in=list(_visits(site, day)), ramet__isnull=False
    ).order_by("visit__event__moment", "visit")
    return dict(found.values_list("ramet_id", "condition"))


@dataclass(frozen=True, slots=True)
class _LastLooks:
    """What last looks found, and the ids of the first and the last visit of which one was."""

    alive: int
    dead: int
    missing: int
    first: int | None
    last: int | None


def _count_last_looks(visits: Sequence[int], plantings: QuerySet[Outplant] | None) -> _LastLooks:
    """The last looks on these visits, which are in their order, at ramets so planted (None: all).

    A look's number is made of the place of its visit among the visits and of what was found, so
    that the largest number of a ramet is that of its last look.
    """
    places = _places(visits)
    late = [When(visit=pk, then=Value(n)) for pk, n in places.items() if n % len(places)]
    place: Combinable = F("visit_id") * len(places)
    if late:
        place = Case(*late, default=place, output_field=BigIntegerField())
    rows = Observation.objects.filter(visit__in=visits, ramet__isnull=False)
    if plantings is not None:
        rows = rows.filter(ramet__in=plantings.values("ramet"))
    number = Max(place * _CONDITIONS + F("condition"))
    looks = rows.order_by().values("ramet").annotate(number=number)
    found = F("number") % _CONDITIONS
    counts = looks.aggregate(
        alive=Count("number", filter=Exact(found, Condition.ALIVE)),
        dead=Count("number", filter=Exact(found, Condition.DEAD)),
        missing=Count("number", filter=Exact(found, Condition.MISSING)),
        first=Min("number"),
        last=Max("number"),
    )
    at = {n: pk for pk, n in places.items()}
    for name in ("first", "last"):
        number = counts[name]
        counts[name] = None if number is None else at[number // _CONDITIONS]
    return _LastLooks(**counts)


def _places(events: Sequence[int]) -> dict[int, int]:
    """Numbers that ascend as the events do, whose ids are given in the order they happened in.

    An event's number is its id times how many there are; one that was entered late, after an event
    that followed it, gets a number right before that one's.
    """
    found: dict[int, int] = {}
    following: int | None = None
    for pk in reversed(events):
        number = pk * len(events)
        if following is not None and number >= following:
            number = following - 1
        found[pk] = following = number
    return found


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
