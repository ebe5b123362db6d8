"""The geometry of a small map: places and the lines between them, with a graticule and a scale.

An equirectangular map about its middle, true to scale along its middle latitude: over the distances
of one programme it differs from a chart by less than a dot is wide. Pure.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from nursery.core.charts import apart, round_step, short
from nursery.core.geodesy import Point, distance_m

WIDTH = 340.0
_LEAST_HEIGHT, _MOST_HEIGHT = 150.0, 300.0
_ASIDE, _ABOVE, _BELOW = 46.0, 34.0, 46.0
"""Room beside, above and below the places."""
_LEAST_SPAN = 0.02
"""The least that a map spans, in degrees: about 2 km, so that neighbours do not fill it."""
_LABEL_GAP = 17.0
_ABOVE_MARK = 16.0
"""How far above its mark a word stands, so that lines that leave the mark do not run through it."""


@dataclass(frozen=True, slots=True)
class Place:
    """A place to be drawn, with the word beside it; `kind` says how its mark looks."""

    at: Point
    name: str
    kind: str


@dataclass(frozen=True, slots=True)
class Mark:
    """A place as it is drawn: its middle, its word and on which side that stands."""

    x: str
    y: str
    name: str
    kind: str
    label_x: str
    label_y: str
    anchor: str


@dataclass(frozen=True, slots=True)
class Rule:
    """A line of the graticule and what it is."""

    d: str
    text: str
    x: str
    y: str


@dataclass(frozen=True, slots=True)
class SmallMap:
    """All that a template needs to draw the map; `ways` are in the order of the lines given."""

    width: str
    height: str
    marks: Sequence[Mark]
    ways: Sequence[str]
    rules: Sequence[Rule]
    scale_d: str
    scale_text: str
    scale_x: str
    scale_y: str


def small_map(places: Sequence[Place], ways: Sequence[tuple[int, int]]) -> SmallMap:
    """A map of places, and of lines between them by their numbers from 0.

    ValueError without a place. A programme does not lie across the antimeridian: longitudes are
    taken as they are.
    """
    if not places:
        raise ValueError("A map needs a place.")
    north, south = _span([place.at.latitude for place in places])
    east, west = _span([place.at.longitude for place in places])
    squeeze = math.cos(math.radians((north + south) / 2)) or 1.0
    room = WIDTH - 2 * _ASIDE
    per_degree = min(
        room / ((east - west) * squeeze), (_MOST_HEIGHT - _ABOVE - _BELOW) / (north - south)
    )
    height = max((north - south) * per_degree + _ABOVE + _BELOW, _LEAST_HEIGHT)
    middle = Point((north + south) / 2, (east + west) / 2)

    def at(point: Point) -> tuple[float, float]:
        x = WIDTH / 2 + (point.longitude - middle.longitude) * squeeze * per_degree
        y = (height - _BELOW + _ABOVE) / 2 - (point.latitude - middle.latitude) * per_degree
        return x, y

    spots = [at(place.at) for place in places]
    scale_m, scale_width = _scale(middle, squeeze * per_degree)
    foot = height - 14
    return SmallMap(
        width=short(WIDTH),
        height=short(height),
        marks=_marks(places, spots, height),
        ways=[_way(spots[start], spots[end]) for start, end in ways],
        rules=_rules(middle, squeeze * per_degree, per_degree, height),
        scale_d=f"M{short(WIDTH - 12)} {short(foot - 5)}v5h{short(-scale_width)}v-5",
        scale_text=f"{scale_m / 1000:g}\u00a0km" if scale_m >= 1000 else f"{scale_m:g}\u00a0m",
        scale_x=short(WIDTH - 12 - scale_width / 2),
        scale_y=short(foot - 4),
    )


def _span(values: Sequence[float]) -> tuple[float, float]:
    """The largest and smallest value, at least so far apart that a map can be drawn."""
    high, low = max(values), min(values)
    more = max(0.0, _LEAST_SPAN - (high - low)) / 2
    return high + more, low - more


def _marks(
    places: Sequence[Place], spots: Sequence[tuple[float, float]], height: float
) -> list[Mark]:
    """Marks with their words turned to the middle, those of each side kept apart."""
    labels: dict[int, float] = {}
    for left in (True, False):
        side = [n for n, spot in enumerate(spots) if (spot[0] < WIDTH / 2) is left]
        wanted = [spots[n][1] - _ABOVE_MARK for n in side]
        labels |= dict(zip(side, apart(wanted, _LABEL_GAP, 14, height - _BELOW), strict=True))
    found = []
    for n, (place, (x, y)) in enumerate(zip(places, spots, strict=True)):
        left = x < WIDTH / 2
        found.append(
            Mark(
                x=short(x),
                y=short(y),
                name=place.name,
                kind=place.kind,
                label_x=short(x + (-6 if left else 6)),
                label_y=short(labels[n]),
                anchor="start" if left else "end",
            )
        )
    return found


def _way(start: tuple[float, float], end: tuple[float, float]) -> str:
    """A slightly bent line, so that the way there and the way back do not lie on each other."""
    bend = 0.12
    x = (start[0] + end[0]) / 2 - (end[1] - start[1]) * bend
    y = (start[1] + end[1]) / 2 + (end[0] - start[0]) * bend
    return (
        f"M{short(start[0])} {short(start[1])}"
        f"Q{short(x)} {short(y)} {short(end[0])} {short(end[1])}"
    )


def _scale(middle: Point, per_degree_east: float) -> tuple[float, float]:
    """A round distance of at most a third of the map, in metres, and how wide it is drawn."""
    third = WIDTH / 3 / per_degree_east / 2
    span = distance_m(
        Point(middle.latitude, middle.longitude - third),
        Point(middle.latitude, middle.longitude + third),
    )
    metres = round_step(span, 2)
    metres = metres if metres <= span else metres / 2
    return metres, WIDTH / 3 * metres / span


def _rules(middle: Point, east: float, north: float, height: float) -> list[Rule]:
    """Round parallels and meridians, at most four of each, named at the left and the top."""
    centre = (height - _BELOW + _ABOVE) / 2
    found = []
    half = WIDTH / 2 / east
    step = round_step(2 * half * 60, 4) / 60
    for n in range(
        math.ceil((middle.longitude - half) / step), _last(middle.longitude + half, step)
    ):
        x = WIDTH / 2 + (n * step - middle.longitude) * east
        found.append(
            Rule(f"M{short(x)} 0V{short(height)}", _angle(n * step, "E", "W"), short(x), "11")
        )
    top = middle.latitude + centre / north
    bottom = middle.latitude - (height - centre) / north
    for n in range(math.ceil(bottom / step), _last(top, step)):
        y = centre - (n * step - middle.latitude) * north
        found.append(
            Rule(f"M0 {short(y)}H{short(WIDTH)}", _angle(n * step, "N", "S"), "2", short(y))
        )
    return found


def _last(end: float, step: float) -> int:
    return math.floor(end / step) + 1


def _angle(value: float, positive: str, negative: str) -> str:
    """Degrees and minutes: 10°55′ S."""
    minutes = round(abs(value) * 60, 1)
    whole, rest = divmod(minutes, 60)
    side = "" if minutes == 0 else f"\u00a0{positive if value > 0 else negative}"
    return f"{whole:g}°" + (f"{rest:g}′" if rest else "") + side
