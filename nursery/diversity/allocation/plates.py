"""From which plates: as few touched as can be.

A plate is touched once, however many plugs are taken from it and wherever they go. Pure.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from nursery.diversity.allocation.evenness import Master, Spread, spread, unevenness_of
from nursery.diversity.allocation.field import Field, Flags
from nursery.diversity.allocation.program import Program, Unsolved, Whole

_MOST_COLUMNS = 40_000
"""Above so many columns, numbers and plates are not chosen together."""


@dataclass(frozen=True, slots=True)
class Touched:
    """Which plates are used (T), and a number of plates that no choice is below."""

    plates: Flags
    bound: int

    @property
    def count(self) -> int:
        return int(self.plates.sum())


def fewest(held: Whole, wanted: Whole, seconds: float) -> Touched:
    """The fewest plates that hold `wanted` (G) plugs; `held` (G, T) are those on each plate.

    Better than what the time allows is never claimed: `bound` is what was proven.
    """
    useful = np.minimum(held, wanted[:, None])
    program = Program()
    columns = program.columns(held.shape[1], 1.0, 1.0)
    rows = program.rows(len(wanted), low=wanted)
    genets, plates = np.nonzero(useful)
    program.put(rows[genets], columns[plates], useful[genets, plates])
    turn = _in_turn(useful, wanted)
    try:
        found = program.solve_whole(seconds)
    except Unsolved:
        found = None
    if found is None:
        return Touched(turn, int(turn.any()))
    chosen = found.values[columns] > 0.5
    least = math.ceil(found.bound - 1e-6)
    return Touched(chosen if chosen.sum() <= turn.sum() else turn, least)


def _in_turn(useful: Whole, wanted: Whole) -> Flags:
    """Plates that hold most of what is still wanted, one after another."""
    left = wanted.copy()
    taken = np.zeros(useful.shape[1], bool)
    while left.any():
        plate = int((np.minimum(useful, left[:, None]).sum(axis=0) * ~taken).argmax())
        taken[plate] = True
        left -= np.minimum(useful[:, plate], left)
    return taken


def together(
    field: Field, held: Whole, best: Spread, tolerance: float, seconds: float
) -> tuple[Spread, Touched] | None:
    """Numbers and plates chosen together: the fewest plates of all ways that are at most
    (1 + `tolerance`) times as uneven as the best; on these plates, the most even way.

    None if that is too much to be searched for, or nothing was found in the time.
    """
    master = Master(field, field.wide)
    program = master.program
    if program.width > _MOST_COLUMNS:
        return None
    program.cost_nothing()
    touched = program.columns(held.shape[1], 1.0, 1.0)
    rows = program.rows(len(field.supply), high=0.0)
    program.put(rows[master.flow.genets], master.flow.columns)
    genets, plates = np.nonzero(held)
    program.put(rows[genets], touched[plates], -held[genets, plates])
    before = unevenness_of(field, np.zeros_like(best.plugs))
    most = (best.cost * (1 + tolerance) - before) * master.scale
    row = program.rows(1, high=most + 1e-7 * max(1.0, abs(most)))
    program.put(row, master.unit, master.costs * master.scale)
    try:
        found = program.solve_whole(seconds)
        if found is None:
            return None
        chosen = found.values[touched] > 0.5
        supply = np.asarray(held[:, chosen].sum(axis=1), np.int64)
        again = spread(replace(field, supply=supply), seconds)
    except Unsolved:
        return None
    if again is None:
        return None
    return (
        Spread(again.plugs, again.cost, best.bound),
        Touched(chosen, math.ceil(found.bound - 1e-6)),
    )


def taken(
    held: Mapping[tuple[str, str], int], wanted: Mapping[tuple[str, str], int]
) -> dict[tuple[str, str, str], int]:
    """From which plates the plugs of each plot are taken: (plot, genet, plate) to plugs.

    `held` is by (genet, plate), `wanted` by (plot, genet). The largest lots of a genet go to the
    plots that want most of it, each used up before the next: one fewer portions at most than there
    are lots and plots. ValueError if more of a genet is wanted than held.
    """
    lots: dict[str, list[tuple[int, str]]] = defaultdict(list)
    for (genet, plate), plugs in held.items():
        if plugs:
            lots[genet].append((plugs, plate))
    wishes: dict[str, list[tuple[int, str]]] = defaultdict(list)
    for (plot, genet), plugs in wanted.items():
        if plugs:
            wishes[genet].append((plugs, plot))
    found: dict[tuple[str, str, str], int] = {}
    for genet, asked in wishes.items():
        stock = sorted(lots[genet], key=_largest)
        for plugs, plot in sorted(asked, key=_largest):
            left = plugs
            while left:
                if not stock:
                    raise ValueError(f"More of {genet} is wanted than there is.")
                there, plate = stock[0]
                portion = min(left, there)
                found[plot, genet, plate] = portion
                left -= portion
                stock[0] = (there - portion, plate)
                if there == portion:
                    del stock[0]
    return found


def _largest(lot: tuple[int, str]) -> tuple[int, str]:
    return (-lot[0], lot[1])
