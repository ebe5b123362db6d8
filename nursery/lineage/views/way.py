"""The way of a ramet as a small map beside its trace: colony, nurseries, site."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from django.utils.safestring import SafeString
from django.utils.translation import gettext as _

from nursery.core.geodesy import Point
from nursery.core.phrases import in_words, joined, link, listed, number
from nursery.core.small_maps import Place, SmallMap, small_map
from nursery.core.views.tables import Column, Table, table
from nursery.donors import positions
from nursery.donors.models import DonorColony
from nursery.lineage.queries import Trace
from nursery.lineage.way import Leg, Stop, StopKind, legs, numbered, stops
from nursery.places.models import Nursery, Reef, Site


@dataclass(frozen=True, slots=True)
class Spot:
    """A stop with its name and where it is drawn, if that is known."""

    stop: Stop
    name: str
    at: Point | None


@dataclass(frozen=True, slots=True)
class Way:
    """The map of a way, its legs as a table, and what is to be said beside it.

    `lines` are the ways that were recorded, `gaps` those that were not.
    """

    drawn: SmallMap
    title: str
    lines: Sequence[str]
    gaps: Sequence[str]
    table: Table
    missing: str
    rounded: bool


def way_of(trace: Trace) -> Way | None:
    """The way of a trace; None where it leads nowhere, or its places are not known. Three queries,
    and one more where loose pieces were collected."""
    found = legs(trace)
    places = _spots(stops(found))
    known = [stop for stop, spot in places.items() if spot.at is not None]
    if len(known) < 2:
        return None
    shown = numbered(known)
    ways = [leg for leg in found if leg.start in shown and leg.end in shown]
    drawn = small_map(
        [_place(places[stop], n) for stop, n in shown.items()],
        [(shown[leg.start] - 1, shown[leg.end] - 1) for leg in ways],
    )
    missing = [spot.name for spot in places.values() if spot.at is None]
    pairs = list(zip(ways, drawn.ways, strict=True))
    return Way(
        drawn=drawn,
        title=_("The way of %(ramet)s: %(places)s")
        % {"ramet": trace.ramet, "places": listed(places[stop].name for stop in known)},
        lines=[d for leg, d in pairs if not leg.gap],
        gaps=[d for leg, d in pairs if leg.gap],
        table=_table(found, places, shown),
        missing=listed(missing),
        rounded=any(stop.kind in (StopKind.COLONY, StopKind.REEF) for stop in known),
    )


def _place(spot: Spot, n: int) -> Place:
    if spot.at is None:
        raise ValueError(f"{spot.name} has no position.")
    return Place(spot.at, f"{n} {spot.name}", spot.stop.kind.value)


def _spots(found: Sequence[Stop]) -> dict[Stop, Spot]:
    """Names and positions of stops. Of a colony the rounded position alone is read, whoever asks:
    a map is printed, photographed and handed on."""

    def codes(kind: StopKind) -> list[str]:
        return [stop.code for stop in found if stop.kind is kind]

    names: dict[Stop, Spot] = {}
    if colonies := codes(StopKind.COLONY):
        for row in DonorColony.objects.filter(code__in=colonies).select_related("reef"):
            seen = positions.rounded(row.rounded_latitude, row.rounded_longitude, row.uncertainty_m)
            stop = Stop(StopKind.COLONY, row.code)
            names[stop] = Spot(stop, row.code, seen.point if seen else _point(row.reef))
    for kind, model in (
        (StopKind.REEF, Reef),
        (StopKind.NURSERY, Nursery),
        (StopKind.SITE, Site),
    ):
        if wanted := codes(kind):
            for place in model._default_manager.filter(code__in=wanted):
                stop = Stop(kind, place.code)
                names[stop] = Spot(stop, place.name, _point(place))
    return {stop: names[stop] for stop in found}


def _point(row: Reef | Nursery | Site) -> Point | None:
    if row.latitude is None or row.longitude is None:
        return None
    return Point(float(row.latitude), float(row.longitude))


def _table(found: Sequence[Leg], places: Mapping[Stop, Spot], shown: Mapping[Stop, int]) -> Table:
    return table(
        [
            Column(_("From"), lambda leg: _linked(places[leg.start], shown)),
            Column(_("To"), lambda leg: _linked(places[leg.end], shown)),
            Column(_("Arrived"), lambda leg: in_words(leg.when)),
            Column(_("Recorded"), lambda leg: _("no: a gap") if leg.gap else _("yes")),
        ],
        found,
        _("The legs of the way"),
        compact=True,
    )


def _linked(spot: Spot, shown: Mapping[Stop, int]) -> SafeString:
    n = shown.get(spot.stop)
    before = [f"{number(n)} "] if n is not None else []
    return joined([*before, link(spot.name, spot.stop.kind.value, spot.stop.code)], "")
