"""The arrays of an allocation: G genets, P places (sites, or the plots of one), R reefs. Pure."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from nursery.diversity.allocation.asked import Limits
from nursery.diversity.allocation.program import Whole

Flags = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Field:
    """Where plugs are spread.

    `supply` (G) plugs there are; `standing` (G, P) stand there; `need` (P) are planted; `room`
    (G, P) may still be planted of a genet; `new_genets` and `new_reefs` (P) are how many that do
    not stand there yet have to come; `open_reefs` (P, R) do not stand there; `reef_of` (G, R).
    `inner` are the plots of a place whose own rules have to be kept in the same solution.
    """

    supply: Whole
    standing: Whole
    need: Whole
    room: Whole
    new_genets: Whole
    new_reefs: Whole
    open_reefs: Flags
    reef_of: Flags
    inner: Mapping[int, Field] = field(default_factory=dict)

    @property
    def total(self) -> Whole:
        """How many stand on each place in the end."""
        return np.asarray(self.standing.sum(axis=0) + self.need)

    @property
    def wide(self) -> Whole:
        """The most of a genet that can come to a place, (G, P)."""
        return np.minimum(np.minimum(self.room, self.supply[:, None]), self.need[None, :])

    def of_genets(self, kept: Flags, supply: Whole) -> Field:
        """The same with these genets alone, and so many plugs of each."""
        return replace(
            self,
            supply=supply[kept],
            standing=self.standing[kept],
            room=self.room[kept],
            reef_of=self.reef_of[kept],
        )


def laid_out(
    supply: Whole,
    standing: Whole,
    need: Whole,
    limits: Sequence[Limits],
    reef_of: Flags,
) -> Field:
    """A field from what stands and what each place has to keep."""
    total = standing.sum(axis=0) + need
    most = np.array(
        [
            n if one.largest_share is None else math.floor(one.largest_share * n + 1e-9)
            for one, n in zip(limits, total.tolist(), strict=True)
        ],
        np.int64,
    )
    there = standing > 0
    open_reefs = ~((there.T.astype(np.int64) @ reef_of.astype(np.int64)) > 0)
    genets = np.array([one.fewest_genets for one in limits], np.int64)
    reefs = np.array([one.fewest_reefs for one in limits], np.int64)
    return Field(
        supply=supply,
        standing=standing,
        need=need,
        room=np.maximum(0, most[None, :] - standing),
        new_genets=np.maximum(0, genets - there.sum(axis=0)),
        new_reefs=np.maximum(0, reefs - (~open_reefs).sum(axis=1)),
        open_reefs=open_reefs,
        reef_of=reef_of,
    )
