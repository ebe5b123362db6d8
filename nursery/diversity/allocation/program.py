"""A linear program written down piece by piece and solved by HiGHS.

Columns are what is chosen, rows what has to hold. Indices are arrays of whole numbers; a program is
always minimised. Pure. HiGHS: Huangfu & Hall 2018, Mathematical Programming Computation 10:119.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.optimize import Bounds, LinearConstraint, linprog, milp
from scipy.sparse import coo_array, csr_array, vstack

Whole = NDArray[np.int64]
Real = NDArray[np.float64]

_NOT_WHOLE = 1e-6
"""A number that is farther than this from a whole one is not whole."""


@dataclass(frozen=True, slots=True)
class Solved:
    """A solution: a value for each column, their cost, and a cost that no solution is below.

    `duals` has, for each row, how the cost changes with the row's limit; only a program that was
    solved without whole numbers has it.
    """

    values: Real
    cost: float
    bound: float
    duals: Real | None = None

    @property
    def whole(self) -> bool:
        return bool(np.all(np.abs(self.values - np.rint(self.values)) <= _NOT_WHOLE))


class Unsolved(Exception):
    """Nothing was found in the time that was given, though it may exist."""


class Program:
    """Columns, rows and what stands between them."""

    def __init__(self) -> None:
        self._costs: list[Real] = []
        self._uppers: list[Real] = []
        self._wholes: list[NDArray[np.bool_]] = []
        self._lows: list[Real] = []
        self._highs: list[Real] = []
        self._entries: list[tuple[Whole, Whole, Real]] = []
        self.width = 0
        self.height = 0

    def columns(
        self, count: int, cost: ArrayLike = 0.0, upper: ArrayLike = math.inf, whole: bool = True
    ) -> Whole:
        """New columns, from 0 to `upper`; `whole` ones are whole numbers where that is asked."""
        self._costs.append(np.broadcast_to(np.asarray(cost, float), count))
        self._uppers.append(np.broadcast_to(np.asarray(upper, float), count))
        self._wholes.append(np.full(count, whole))
        self.width += count
        return np.arange(self.width - count, self.width)

    def rows(self, count: int, low: ArrayLike = -math.inf, high: ArrayLike = math.inf) -> Whole:
        """New rows, each from `low` to `high`; the two may be equal."""
        self._lows.append(np.broadcast_to(np.asarray(low, float), count))
        self._highs.append(np.broadcast_to(np.asarray(high, float), count))
        self.height += count
        return np.arange(self.height - count, self.height)

    def put(self, rows: ArrayLike, columns: ArrayLike, values: ArrayLike = 1.0) -> None:
        """What a column adds to a row; the three are broadcast against each other."""
        at, of, value = np.broadcast_arrays(
            np.asarray(rows, np.int64), np.asarray(columns, np.int64), np.asarray(values, float)
        )
        self._entries.append((at.ravel(), of.ravel(), value.ravel()))

    def cost_nothing(self) -> None:
        """Let all columns so far cost nothing, so that others can be weighed."""
        self._costs = [np.zeros(len(part)) for part in self._costs]

    def _matrix(self) -> csr_array:
        at, of, value = (
            (np.concatenate(part) for part in zip(*self._entries, strict=True))
            if self._entries
            else (np.zeros(0, np.int64), np.zeros(0, np.int64), np.zeros(0))
        )
        return csr_array(coo_array((value, (at, of)), shape=(self.height, self.width)))

    def solve(self, *, scale: float = 1.0) -> Solved | None:
        """The best solution, fractions allowed, or None where there is none.

        It is a vertex, so that a program of a network comes out in whole numbers. Costs are
        multiplied by `scale` on the way, for the tolerances of the solver are absolute.
        """
        matrix, low, high = self._matrix(), _joined(self._lows), _joined(self._highs)
        if not self.width:
            nothing = Solved(np.zeros(0), 0.0, 0.0, np.zeros(self.height))
            return nothing if np.all((low <= 0) & (high >= 0)) else None
        same = low == high
        below, above = np.isfinite(high) & ~same, np.isfinite(low) & ~same
        found = linprog(
            _joined(self._costs) * scale,
            A_ub=vstack([matrix[below], -matrix[above]]),
            b_ub=np.concatenate([high[below], -low[above]]),
            A_eq=matrix[same],
            b_eq=low[same],
            bounds=np.column_stack([np.zeros(self.width), _joined(self._uppers)]),
            method="highs-ds",
        )
        if found.status == 2:
            return None
        if found.status:
            raise Unsolved(found.message)
        duals = np.zeros(self.height)
        edge = int(below.sum())
        duals[below] = found.ineqlin.marginals[:edge]
        duals[above] -= found.ineqlin.marginals[edge:]
        duals[same] = found.eqlin.marginals
        cost = float(found.fun) / scale
        return Solved(found.x, cost, cost, duals / scale)

    def bound(self, duals: Real, leave: Whole) -> float:
        """A cost that no solution is below that does without the columns `leave`, by weak duality:
        true for any duals, a row without a limit on their side taken as 0."""
        low, high = _joined(self._lows), _joined(self._highs)
        limit = np.where(duals > 0, low, high)
        held = np.where(np.isfinite(limit), duals, 0.0)
        left = _joined(self._costs) - self._matrix().T @ held
        left[leave] = 0.0
        negative = left < 0
        return float(
            (held * np.where(held == 0, 0.0, limit)).sum()
            + (left[negative] * _joined(self._uppers)[negative]).sum()
        )

    def solve_whole(self, seconds: float, *, scale: float = 1.0) -> Solved | None:
        """The best solution in whole numbers that is found in the time, with the best bound; None
        where there is none. Unsolved if the time ended before either was known."""
        if not self.width:
            return self.solve()
        found = milp(
            _joined(self._costs) * scale,
            integrality=np.concatenate(self._wholes).astype(int),
            bounds=Bounds(np.zeros(self.width), _joined(self._uppers)),
            constraints=LinearConstraint(self._matrix(), _joined(self._lows), _joined(self._highs)),
            options={"time_limit": seconds, "mip_rel_gap": 0.0},
        )
        if found.x is None:
            if found.status == 2:
                return None
            raise Unsolved(found.message)
        values = np.where(np.concatenate(self._wholes), np.rint(found.x), found.x)
        bound = found.mip_dual_bound
        cost = float(found.fun)
        return Solved(values, cost / scale, (cost if bound is None else float(bound)) / scale)


def _joined(parts: list[Real]) -> Real:
    return np.concatenate(parts) if parts else np.zeros(0)
