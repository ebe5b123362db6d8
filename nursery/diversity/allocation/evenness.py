"""Plugs over places as evenly as can be: the smallest sum over places of Σ (n/N)².

n are the ramets of a genet on a place in the end, N all of them, which is fixed; so for one place
it is the largest Hill number of order 2, N² / Σ n² (Hill 1973, Ecology 54:427).

The k-th plug of a genet where S stand costs ((S + k)² − (S + k − 1)²) / N² = (2 (S + k) − 1) / N²,
more than the one before: a sum that is convex and separable, so that a column for each plug makes
it linear (Dantzig 1963, Linear Programming and Extensions, chapter 24; from memory). Genets to
places is a network; so are least numbers of genets, and of reefs where a genet is of one: its
vertices are whole. Only what is no network is searched for in whole numbers.

Only columns that can matter are written down: priced by the duals, the others come in while any is
worth its cost (column generation). The bound is that of weak duality over all columns, reckoned
here and not taken from the solver. Pure.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

import numpy as np

from nursery.diversity.allocation.field import Field
from nursery.diversity.allocation.program import Program, Real, Whole
from nursery.diversity.allocation.rows import Flow, in_two, links, needs, rules, supplies

_WORTH = 1e-6
"""A column that saves less than this, of the least cost, is not worth having."""
_ALL_STEPS = 250_000
"""So many columns at most are all written down when whole numbers are searched for."""


@dataclass(frozen=True, slots=True)
class Spread:
    """`plugs` (G, P) to plant, what they come to, and what nothing can be below."""

    plugs: Whole
    cost: float
    bound: float

    @property
    def gap(self) -> float:
        """How much better an unknown plan could be at most, as a share of the cost."""
        return max(0.0, (self.cost - self.bound) / self.cost) if self.cost else 0.0


def unevenness(counts: Whole) -> float:
    """Σ over places of Σ (n/N)² of counts (G, P), summed exactly. A place without any adds 0."""
    total = Fraction(0)
    for square, n in zip(
        (counts * counts).sum(axis=0).tolist(), counts.sum(axis=0).tolist(), strict=True
    ):
        total += Fraction(square, n * n) if n else 0
    return float(total)


def spread(field: Field, seconds: float) -> Spread | None:
    """The most even way, or None where the rules leave no way. Unsolved if the time ends before
    one is found in whole numbers."""
    steps = _first_steps(field)
    while True:
        master = Master(field, steps)
        solved = master.program.solve(scale=master.scale)
        if solved is None or solved.duals is None:
            return None
        over = master.over(solved.values)
        missing, lost = master.missing(solved.duals)
        if not over.any() and not missing.any():
            break
        steps = np.minimum(field.wide, np.maximum(steps + missing, steps + over + (over > 0)))
    bound = master.bound(solved.duals) + lost
    plugs = master.plugs(solved.values)
    if not solved.whole:
        every = field.wide
        complete = int(every.sum()) <= _ALL_STEPS
        master = Master(field, every if complete else np.minimum(every, steps + 2))
        found = master.program.solve_whole(seconds, scale=master.scale)
        if found is None:
            return None
        plugs = master.plugs(found.values)
        if complete:
            bound = max(bound, found.bound)
    base = unevenness_of(field, np.zeros_like(plugs))
    cost = unevenness_of(field, plugs)
    return Spread(plugs, cost, min(cost, base + bound))


def unevenness_of(field: Field, plugs: Whole) -> float:
    """Σ over places of Σ (n/N)² with so many plugs, N being what it is in the end."""
    squares = ((field.standing + plugs) ** 2).sum(axis=0).tolist()
    totals = field.total.tolist()
    return float(
        sum((Fraction(s, n * n) for s, n in zip(squares, totals, strict=True) if n), Fraction(0))
    )


def _first_steps(field: Field) -> Whole:
    """How many columns each genet and place begin with: up to one above the level to which the
    place would fill if it were alone."""
    wide = field.wide
    steps = np.zeros_like(wide)
    for place, need in enumerate(field.need.tolist()):
        low, high = 0, int(field.standing[:, place].max(initial=0) + need + 1)
        while low < high:
            level = (low + high) // 2
            filled = np.clip(level - field.standing[:, place], 0, wide[:, place]).sum()
            low, high = (low, level) if filled >= need else (level + 1, high)
        steps[:, place] = np.clip(low + 1 - field.standing[:, place], 0, wide[:, place])
    # The first plug of a genet that does not stand there has rows of its own.
    return np.where((field.standing == 0) & (wide > 0), np.maximum(steps, 1), steps)


class Master:
    """The program of evenness over the first `steps` (G, P) plugs of each genet at each place.

    What is beyond them is one column at the cost of its last plug, never too cheap: with it there
    is a solution whenever there is one.
    """

    def __init__(self, field: Field, steps: Whole) -> None:
        self.field, self.steps = field, steps
        self.program = program = Program()
        n = field.total.astype(float)
        self.weight = np.divide(1.0, n * n, out=np.zeros_like(n), where=n > 0)
        self.scale = 1.0 / float(self.weight[field.need > 0].min(initial=1.0))
        at, place = np.nonzero(steps)
        count = steps[at, place]
        genets, places = np.repeat(at, count), np.repeat(place, count)
        begin = np.repeat(np.cumsum(count) - count, count)
        self.number = np.arange(len(genets)) - begin
        self.costs = self._cost(genets, places, self.number)
        self.unit = program.columns(len(genets), self.costs, 1.0)
        rest_at, rest_place = np.nonzero(field.wide > steps)
        last = field.wide[rest_at, rest_place]
        self.rest = program.columns(
            len(rest_at),
            self._cost(rest_at, rest_place, last - 1),
            last - steps[rest_at, rest_place],
        )
        self.flow = Flow(
            np.concatenate([genets, rest_at]),
            np.concatenate([places, rest_place]),
            np.concatenate([self.unit, self.rest]),
        )
        self.supply_rows = supplies(program, field, self.flow)
        self.need_rows = needs(program, field, self.flow)
        self.link_rows: dict[int, Whole] = {}
        first = (self.number == 0) & (field.standing[genets, places] == 0)
        rules(program, field, Flow(genets[first], places[first], self.unit[first]))
        for where, plots in field.inner.items():
            here = self.flow.places == where
            part = Flow(self.flow.genets[here], self.flow.places[here], self.flow.columns[here])
            inner = in_two(program, plots, within=where)
            self.link_rows[where] = links(program, len(field.supply), part, inner)

    def _cost(self, genets: Whole, places: Whole, number: Whole) -> Real:
        stand = self.field.standing[genets, places] + number
        return np.asarray((2 * stand + 1) * self.weight[places])

    def plugs(self, values: Real) -> Whole:
        """What a solution plants, (G, P)."""
        found = np.zeros(self.field.standing.shape)
        np.add.at(found, (self.flow.genets, self.flow.places), values[self.flow.columns])
        return np.rint(found).astype(np.int64)

    def over(self, values: Real) -> Whole:
        """What a solution plants beyond the steps, (G, P)."""
        found = np.zeros(self.field.standing.shape)
        part = slice(len(self.unit), None)
        used = values[self.rest]
        np.add.at(found, (self.flow.genets[part], self.flow.places[part]), used)
        return np.ceil(found - 1e-6).astype(np.int64)

    def missing(self, duals: Real) -> tuple[Whole, float]:
        """How many columns beyond the steps are worth their cost, (G, P), and what all columns
        beyond the steps could save at most (0 or below)."""
        field = self.field
        reward = duals[self.supply_rows][:, None] + duals[self.need_rows][None, :]
        for where, rows in self.link_rows.items():
            reward[:, where] -= duals[rows]
        weight = np.where(self.weight > 0, self.weight, 1.0)[None, :]
        begin = field.standing + self.steps
        left = field.wide - self.steps
        # The k-th beyond the steps (from 0) costs (2 (begin + k) + 1) · weight.
        count = np.clip(np.ceil((reward / weight - 1) / 2 - begin), 0, left)
        saved = count * ((2 * begin + count) * weight - reward)
        next_saves = reward - (2 * begin + 1) * weight > _WORTH / self.scale
        worth = np.where((left > 0) & next_saves, count, 0).astype(np.int64)
        return worth, float(np.minimum(0.0, saved).sum())

    def bound(self, duals: Real) -> float:
        """What no choice of the columns written down can be below, whatever the duals."""
        return self.program.bound(duals, leave=self.rest)
