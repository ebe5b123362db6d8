"""The positions of a plot, which of them are neighbours, and blocks of them side by side. Pure."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass

_NEAR = 1e-9
"""Rounding that a distance is forgiven, as a share."""


@dataclass(frozen=True, slots=True)
class Position:
    """Metres from a corner of the plot: `x` across, `y` down."""

    x: float
    y: float


@dataclass(frozen=True, slots=True)
class Ground:
    """Positions, those that lie side by side in blocks, and pairs of blocks that are neighbours.

    A block holds one unit. `blocks` are positions by their number, `pairs` blocks by theirs, the
    smaller first. Positions that no whole block is left for are in none.
    """

    positions: tuple[Position, ...]
    blocks: tuple[tuple[int, ...], ...]
    pairs: tuple[tuple[int, int], ...]


def grid(rows: int, columns: int, spacing: float, *, unit: int = 1, corners: bool = True) -> Ground:
    """Rows and columns that are `spacing` metres apart, in the order of reading.

    Units of more than one lie in rectangles as square as they come. `corners`: positions that
    touch only at a corner are neighbours too.
    """
    if min(rows, columns, unit) < 1 or not spacing > 0:
        raise ValueError("Rows, columns and units are 1 or more, and the spacing is above 0.")
    high, wide = _rectangle(unit, rows, columns)
    positions = tuple(
        Position(column * spacing, row * spacing)
        for row in range(rows)
        for column in range(columns)
    )
    blocks = tuple(
        tuple(
            row * columns + column
            for row in range(top, top + high)
            for column in range(left, left + wide)
        )
        for top in range(0, rows - high + 1, high)
        for left in range(0, columns - wide + 1, wide)
    )
    reach = spacing * (math.sqrt(2) if corners else 1)
    return Ground(positions, blocks, _pairs(positions, blocks, reach))


def scattered(positions: Sequence[Position], reach: float, *, unit: int = 1) -> Ground:
    """Positions anywhere: neighbours are those at most `reach` metres apart.

    A block is the first position that is left with the nearest that are left, of those that are
    neighbours of one in it; where there are not enough, the position stays empty.
    """
    if unit < 1 or not reach > 0:
        raise ValueError("Units are 1 or more, and the reach is above 0.")
    near = defaultdict[int, list[int]](list)
    for one, other in _pairs(positions, [(at,) for at in range(len(positions))], reach):
        near[one].append(other)
        near[other].append(one)
    free = set(range(len(positions)))
    blocks = []
    for start in range(len(positions)):
        if start not in free:
            continue
        block = [start]
        while len(block) < unit:
            beside = {at for inside in block for at in near[inside]} & free - set(block)
            if not beside:
                break
            first = positions[start]
            block.append(min(beside, key=lambda at: (_distance(first, positions[at]), at)))
        free.discard(start)
        if len(block) == unit:
            free -= set(block)
            blocks.append(tuple(block))
    return Ground(tuple(positions), tuple(blocks), _pairs(positions, blocks, reach))


def _rectangle(unit: int, rows: int, columns: int) -> tuple[int, int]:
    """The most square rectangle of `unit` positions that goes into the grid: its height, width."""
    sides = [high for high in range(1, unit + 1) if unit % high == 0]
    sides = [high for high in sides if high <= rows and unit // high <= columns]
    if not sides:
        raise ValueError(f"{unit} side by side make no rectangle in {rows} × {columns}.")
    high = min(sides, key=lambda side: (abs(side - unit // side), side))
    return high, unit // high


def _distance(one: Position, other: Position) -> float:
    return math.hypot(one.x - other.x, one.y - other.y)


def _pairs(
    positions: Sequence[Position], blocks: Sequence[Sequence[int]], reach: float
) -> tuple[tuple[int, int], ...]:
    """Blocks of which two positions are at most `reach` apart, looked for by squares that wide."""
    reach *= 1 + _NEAR
    squares = defaultdict[tuple[int, int], list[tuple[int, Position]]](list)
    for block, inside in enumerate(blocks):
        for at in inside:
            spot = positions[at]
            squares[_square(spot, reach)].append((block, spot))
    found = set()
    for (across, down), here in squares.items():
        near = [
            item
            for right in (-1, 0, 1)
            for below in (-1, 0, 1)
            for item in squares.get((across + right, down + below), ())
        ]
        for block, spot in here:
            for other, there in near:
                if block < other and _distance(spot, there) <= reach:
                    found.add((block, other))
    return tuple(sorted(found))


def _square(spot: Position, side: float) -> tuple[int, int]:
    return math.floor(spot.x / side), math.floor(spot.y / side)
