"""What is put on the map: sites with their plots, nurseries and reefs, each at its public place.

No donor colony is on it: where they stand is for few (nursery.donors.positions). Reads only, in a
number of queries that does not grow.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from django.db.models import Count

from nursery.core.actor import Actor, require_read
from nursery.core.geodesy import Point
from nursery.diversity.indices import hill
from nursery.diversity.values import Value
from nursery.lineage.living import INDIVIDUAL, living, living_by
from nursery.lineage.words import Place
from nursery.places.models import Nursery, Plot, Reef, Site


@dataclass(frozen=True, slots=True)
class PlotHere:
    """A plot of a site and how many ramets live in it."""

    plot: Plot
    living: int


@dataclass(frozen=True, slots=True)
class SiteHere:
    """A site: where it is (None where the record does not say), and what lives there.

    `genets` counts known ones; `effective` is their Hill number of order 1. `outline` has rings of
    latitude and longitude.
    """

    site: Site
    at: Point | None
    outline: Sequence[Sequence[tuple[float, float]]]
    living: int
    genets: int
    effective: Value
    plots: Sequence[PlotHere]


@dataclass(frozen=True, slots=True)
class NurseryHere:
    """A nursery, where it is, and how many ramets live in it."""

    nursery: Nursery
    at: Point | None
    living: int


@dataclass(frozen=True, slots=True)
class ReefHere:
    """A reef at its place on a chart."""

    reef: Reef
    at: Point


@dataclass(frozen=True, slots=True)
class Places:
    """Everything that is put on the map, each kind by code. `living` and `genets` are of all
    sites."""

    sites: Sequence[SiteHere]
    nurseries: Sequence[NurseryHere]
    reefs: Sequence[ReefHere]
    living: int
    genets: int


def places(actor: Actor) -> Places:
    """Open sites, nurseries and reefs, with what lives there. Six queries."""
    require_read(actor)
    rows = (
        living()
        .filter(place=Place.PLOT)
        .annotate(individual=INDIVIDUAL)
        .values_list("plot__site", "plot", "individual")
        .annotate(n=Count("pk"))
    )
    genets: dict[int, Counter[int]] = defaultdict(Counter)
    in_plot: Counter[int] = Counter()
    in_site: Counter[int] = Counter()
    for site, plot, genet, n in rows:
        in_site[site] += n
        in_plot[plot] += n
        if genet is not None:
            genets[site][genet] += n
    plots: dict[int, list[PlotHere]] = defaultdict(list)
    for row in Plot.objects.filter(site__closed_on__isnull=True).order_by("code"):
        plots[row.site_id].append(PlotHere(row, in_plot[row.pk]))
    sites = Site.objects.filter(closed_on__isnull=True).select_related("reef").order_by("code")
    nurseries = list(Nursery.objects.filter(closed_on__isnull=True).order_by("code"))
    kept = living_by("structure__nursery", [row.pk for row in nurseries])
    reefs = Reef.objects.filter(closed_on__isnull=True).order_by("code")
    return Places(
        sites=[_site(row, in_site, genets, plots[row.pk]) for row in sites],
        nurseries=[NurseryHere(row, _point(row), kept.get(row.pk, 0)) for row in nurseries],
        reefs=[ReefHere(row, at) for row in reefs if (at := _point(row)) is not None],
        living=in_site.total(),
        genets=len({genet for found in genets.values() for genet in found}),
    )


def _site(
    row: Site,
    in_site: Mapping[int, int],
    genets: Mapping[int, Counter[int]],
    plots: Sequence[PlotHere],
) -> SiteHere:
    counts = genets.get(row.pk, Counter())
    outline = rings(row.outline)
    at = _point(row)
    return SiteHere(
        site=row,
        at=at if at is not None else middle(outline),
        outline=outline,
        living=in_site.get(row.pk, 0),
        genets=len(counts),
        effective=hill(counts.values(), 1),
        plots=plots,
    )


def _point(row: Site | Nursery | Reef) -> Point | None:
    if row.latitude is None or row.longitude is None:
        return None
    return Point(float(row.latitude), float(row.longitude))


def rings(outline: Any) -> list[list[tuple[float, float]]]:
    """The rings of a GeoJSON polygon with latitude first; none where there is no outline."""
    if not outline:
        return []
    return [
        [(float(position[1]), float(position[0])) for position in ring]
        for ring in outline["coordinates"]
    ]


def middle(outline: Sequence[Iterable[tuple[float, float]]]) -> Point | None:
    """The middle of what an outline spans; None for none."""
    spots = [spot for ring in outline for spot in ring]
    if not spots:
        return None
    north, east = [spot[0] for spot in spots], [spot[1] for spot in spots]
    return Point((min(north) + max(north)) / 2, (min(east) + max(east)) / 2)
