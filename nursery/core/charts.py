"""Geometry of charts: scales, round ticks, paths and labels that do not lie on each other.

Plain numbers in, text for the attributes of a drawing out, so that no language's decimal comma gets
into them. Lengths are units of the drawing, from its upper left corner. Pure.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise

Spot = tuple[float, float]

WIDTH = 360.0
HEIGHT = 232.0
_LEFT, _RIGHT, _TOP, _BOTTOM = 40.0, 84.0, 12.0, 42.0
LABEL_GAP = 15.0
"""How far apart the labels at the ends of lines stand at least."""


@dataclass(frozen=True, slots=True)
class Scale:
    """Values from `low` to `high` on a stretch of the drawing from `start` to `end`."""

    low: float
    high: float
    start: float
    end: float

    def at(self, value: float) -> float:
        """Where a value stands; the middle where all values are one."""
        if self.high == self.low:
            return (self.start + self.end) / 2
        return self.start + (value - self.low) / (self.high - self.low) * (self.end - self.start)


def short(value: float) -> str:
    """A number as attributes carry it: at most two decimals, a point, no thousands."""
    text = f"{value:.2f}".rstrip("0").rstrip(".")
    return "0" if text in ("-0", "") else text


def round_step(span: float, most: int) -> float:
    """The smallest of 1, 2, 5, 10, … (or a power of ten times these) that parts a span into at most
    `most` parts. ValueError for a span that is not above 0."""
    if not span > 0 or not math.isfinite(span):
        raise ValueError(f"A span is a finite number above 0: {span}.")
    tens = 10.0 ** math.floor(math.log10(span / most))
    for factor in (1, 2, 5, 10):
        if span / (tens * factor) <= most * (1 + 1e-9):
            return tens * factor
    return tens * 20


def ticks(low: float, high: float, most: int = 5) -> list[float]:
    """Round numbers between two values, both ends included where they are round themselves."""
    step = round_step(high - low, most)
    first = math.ceil(low / step - 1e-9)
    last = math.floor(high / step + 1e-9)
    return [n * step for n in range(first, last + 1)]


def ceiling(high: float, most: int = 5) -> float:
    """The round number at which an axis from 0 ends that has to hold `high`; 1 for nothing."""
    if high <= 0:
        return 1.0
    step = round_step(high, most)
    return math.ceil(high / step - 1e-9) * step


def tick_text(value: float) -> str:
    """A tick's number: `0.5`, `20`, `1,500`."""
    return f"{round(value, 10):,g}" if abs(value) < 1e6 else f"{value:,.0f}"


def path(points: Iterable[Spot]) -> str:
    """The `d` of a line through points."""
    found = " ".join(f"{short(x)},{short(y)}" for x, y in points)
    return f"M{found}" if found else ""


def apart(wanted: Sequence[float], least: float, low: float, high: float) -> list[float]:
    """Places as near as may be to those wanted, `least` apart, between `low` and `high`.

    Where they do not all fit they stand evenly over the whole stretch.
    """
    if not wanted:
        return []
    if least * (len(wanted) - 1) > high - low:
        least = (high - low) / (len(wanted) - 1)
    ranked = sorted(range(len(wanted)), key=lambda n: (wanted[n], n))
    found = [min(max(value, low), high) for value in wanted]
    for before, after in pairwise(ranked):
        found[after] = max(found[after], found[before] + least)
    over = found[ranked[-1]] - high
    if over > 0:
        found[ranked[-1]] = high
        for after, before in pairwise(ranked[::-1]):
            found[before] = min(found[before], found[after] - least)
    return found


@dataclass(frozen=True, slots=True)
class Line:
    """A line of a chart: its name, its values from left to right, and where a dot stands on it."""

    name: str
    points: Sequence[Spot]
    dots: Sequence[Spot] = ()


@dataclass(frozen=True, slots=True)
class Tick:
    """A tick: where it stands on its axis, and its number."""

    at: str
    text: str


@dataclass(frozen=True, slots=True)
class DrawnLine:
    """A line as it is drawn; `number` says how (0 is the full one), `end` where its name leads."""

    name: str
    number: int
    d: str
    dots: Sequence[tuple[str, str]]
    end_x: str
    end_y: str
    label_x: str
    label_y: str


@dataclass(frozen=True, slots=True)
class LineChart:
    """Lines on two axes that begin at 0 (or at `low` across), each named at its end."""

    title: str
    across: str
    up: str
    width: str
    height: str
    left: str
    right: str
    top: str
    bottom: str
    ticks_across: Sequence[Tick]
    ticks_up: Sequence[Tick]
    lines: Sequence[DrawnLine]


def line_chart(
    title: str,
    across: str,
    up: str,
    lines: Sequence[Line],
    ends_at: float | None = None,
) -> LineChart:
    """A chart of lines on axes from 0: `across` and `up` name the axes with their units; `ends_at`
    is where the axis across ends (None: at the last value). Lines without points are left out."""
    kept = [(n, line) for n, line in enumerate(lines) if line.points]
    largest = max((x for _, line in kept for x, _ in line.points), default=0.0)
    highest = ceiling(max((y for _, line in kept for _, y in line.points), default=0.0))
    x = Scale(0, ends_at or largest or 1.0, _LEFT, WIDTH - _RIGHT)
    y = Scale(0, highest, HEIGHT - _BOTTOM, _TOP)
    ends = [y.at(line.points[-1][1]) for _, line in kept]
    places = apart(ends, LABEL_GAP, _TOP, HEIGHT - _BOTTOM)
    return LineChart(
        title=title,
        across=across,
        up=up,
        width=short(WIDTH),
        height=short(HEIGHT),
        left=short(_LEFT),
        right=short(WIDTH - _RIGHT),
        top=short(_TOP),
        bottom=short(HEIGHT - _BOTTOM),
        ticks_across=[Tick(short(x.at(value)), tick_text(value)) for value in ticks(0, x.high)],
        ticks_up=[Tick(short(y.at(value)), tick_text(value)) for value in ticks(0, highest)],
        lines=[
            DrawnLine(
                name=line.name,
                number=n,
                d=path((x.at(a), y.at(b)) for a, b in line.points),
                dots=[(short(x.at(a)), short(y.at(b))) for a, b in line.dots],
                end_x=short(x.at(line.points[-1][0])),
                end_y=short(end),
                label_x=short(WIDTH - _RIGHT + 12),
                label_y=short(place),
            )
            for (n, line), end, place in zip(kept, ends, places, strict=True)
        ],
    )
