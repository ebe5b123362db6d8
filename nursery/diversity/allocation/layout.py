"""Who stands where in a plot, so that neighbours are of different genets.

A unit is one plug, or several of one genet side by side that are to fuse; units are kept apart, not
the plugs within one. Units are put one by one where they disturb least, then pairs of them change
places while that helps, or by chance a little harms (simulated annealing: Kirkpatrick, Gelatt &
Vecchi 1983, Science 220:671). The same seed gives the same layout. Pure.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations
from random import Random

from nursery.diversity.allocation.ground import Ground

_TAXA = 4
"""So many like neighbours weigh as much as one pair of taxa that are to be kept apart."""
_CHANGES = 150
"""How many changes are tried for each unit."""
_WARM, _COLD = 0.6, 0.02
"""From and to which temperature, in like neighbours."""


@dataclass(frozen=True, slots=True)
class Layout:
    """A genet, or None, for each position.

    Of `pairs` neighbouring units, `like` are of one genet. Placed at random it would be `expected`
    of them, and no placing has fewer than `bound`. `clashing` pairs are of taxa to be kept apart.
    """

    genets: tuple[str | None, ...]
    pairs: int
    like: int
    expected: float
    bound: int
    clashing: int

    @property
    def share(self) -> float | None:
        """The share of like neighbours; None without neighbours."""
        return self.like / self.pairs if self.pairs else None


@dataclass(frozen=True, slots=True)
class Taxa:
    """The taxon of each genet, and pairs of taxa that are not to be neighbours."""

    of: Mapping[str, str]
    apart: Collection[frozenset[str]]

    def clash(self, one: str, other: str) -> bool:
        return frozenset((self.of.get(one, ""), self.of.get(other, ""))) in self.apart


NO_TAXA = Taxa({}, ())


def lay_out(
    ground: Ground,
    plugs: Mapping[str, int],
    *,
    alike: Mapping[str, str] | None = None,
    taxa: Taxa = NO_TAXA,
    seed: int = 0,
) -> Layout:
    """Put plugs of genets on the ground's blocks, in their order; what is over stays empty, or lies
    between taxa that are to be kept apart.

    A genet whose plugs do not fill its last unit has one that is smaller. Genets that are `alike`
    to the same are kept apart as if they were one: those of one donor reef, say. ValueError where
    units do not find room.
    """
    size = len(ground.blocks[0]) if ground.blocks else 1
    units = {genet: -(-n // size) for genet, n in sorted(plugs.items()) if n > 0}
    total = sum(units.values())
    if total > len(ground.blocks):
        raise ValueError(f"{total} units do not find room on {len(ground.blocks)} blocks.")
    parted = any(taxa.clash(one, other) for one, other in combinations(units, 2))
    wide = len(ground.blocks) if parted else total
    random = Random(seed)  # noqa: S311 - a layout is no secret
    kin = {genet: (alike or {}).get(genet, genet) for genet in units}
    of_kin: Counter[str] = Counter()
    for name, number in units.items():
        of_kin[kin[name]] += number
    numbers = list(of_kin.values())
    placing = _Placing(_near(ground.pairs, range(wide)), units, kin, taxa, random)
    placing.improve(0 if parted else bound(placing.near, numbers))
    genets: list[str | None] = [None] * len(ground.positions)
    left = dict(plugs)
    for block, genet in zip(ground.blocks, placing.genets, strict=False):
        if genet is not None:
            for at in block[: left[genet]]:
                genets[at] = genet
            left[genet] -= min(size, left[genet])
    near = _near(ground.pairs, [at for at, one in enumerate(placing.genets) if one is not None])
    pairs = sum(map(len, near)) // 2
    return Layout(
        genets=tuple(genets),
        pairs=pairs,
        like=placing.like,
        expected=expected(numbers, pairs),
        bound=bound(near, numbers),
        clashing=placing.clashing,
    )


def _near(pairs: Collection[tuple[int, int]], blocks: Sequence[int]) -> list[list[int]]:
    """The neighbours of each of these blocks, numbered anew in their order."""
    number = {block: at for at, block in enumerate(blocks)}
    near: list[list[int]] = [[] for _ in blocks]
    for one, other in pairs:
        if one in number and other in number:
            near[number[one]].append(number[other])
            near[number[other]].append(number[one])
    return near


def expected(units: Collection[int], pairs: int) -> float:
    """How many of so many neighbouring pairs are of one genet where units are placed at random.

    Each pair is one with the chance Σ u (u − 1) / (U (U − 1)), u units of a genet of U in all.
    """
    total = sum(units)
    if total < 2:
        return 0.0
    return pairs * sum(u * (u - 1) for u in units) / (total * (total - 1))


def bound(near: Sequence[Sequence[int]], units: Sequence[int]) -> int:
    """Fewer like neighbours than this has no placing of so many units of each genet.

    The larger of two. Blocks that are all neighbours of each other: what a genet has more of than
    there are such groups must meet itself in them. Pairs without a common block: a genet that has
    more units than there are pairs and single blocks fills some of the pairs; such pairings that
    share no pair of neighbours add up.
    """
    groups = sorted((len(group) for group in _groups(near)), reverse=True)
    together = 0
    for n in units:
        depth = 0
        while n > 0:
            # The next unit in a group of `depth` or more meets as many as stand there.
            wide = sum(size > depth for size in groups)
            together += depth * min(n, wide)
            n -= wide
            depth += 1
    paired = sum(max(0, n - (len(near) - pairs)) for pairs in _pairings(near) for n in units)
    return max(together, paired)


def _groups(near: Sequence[Sequence[int]]) -> list[list[int]]:
    """Blocks parted into groups of which all are neighbours of each other."""
    taken: set[int] = set()
    groups = []
    for start in range(len(near)):
        if start in taken:
            continue
        group = [start]
        for other in near[start]:
            if other not in taken and all(other in near[inside] for inside in group):
                group.append(other)
        taken.update(group)
        groups.append(group)
    return groups


def _pairings(near: Sequence[Sequence[int]]) -> list[int]:
    """All neighbouring pairs parted into pairings in which no block comes twice: their sizes."""
    used: list[set[int]] = [set() for _ in near]
    sizes: Counter[int] = Counter()
    for one, others in enumerate(near):
        for other in others:
            if one < other:
                number = 0
                while number in used[one] or number in used[other]:
                    number += 1
                used[one].add(number)
                used[other].add(number)
                sizes[number] += 1
    return list(sizes.values())


class _Placing:
    """Units on blocks, and how they disturb each other."""

    def __init__(
        self,
        near: Sequence[Sequence[int]],
        units: Mapping[str, int],
        kin: Mapping[str, str],
        taxa: Taxa,
        random: Random,
    ) -> None:
        self.near, self.random = near, random
        self.names: list[str | None] = [*units]
        self.weights = [
            [1 if kin[one] == kin[other] else _TAXA * taxa.clash(one, other) for other in units]
            + [0]
            for one in units
        ]
        # The last is nobody: an empty block disturbs no other.
        self.names.append(None)
        self.weights.append([0] * len(self.names))
        empty = len(near) - sum(units.values())
        self.at = self._first([taxa.of.get(name, "") for name in units], [*units.values(), empty])

    def _first(self, taxa: Sequence[str], units: list[int]) -> list[int]:
        """One block after another gets what disturbs least of those placed before; of these the
        same taxon as the last, then what most is left of. A block stays empty rather than part
        taxa that clash, while there are blocks to spare."""
        at: list[int] = []
        nobody = len(taxa)
        tie = list(range(nobody))
        self.random.shuffle(tie)
        last = ""
        for block, near in enumerate(self.near):
            before = [at[other] for other in near if other < block]
            able = [
                (
                    sum(self.weights[one][other] for other in before),
                    taxa[one] != last,
                    -units[one],
                    tie[one],
                    one,
                )
                for one in range(nobody)
                if units[one]
            ]
            genet = min(able)[-1] if able else nobody
            if units[nobody] and any(self.weights[genet][other] == _TAXA for other in before):
                genet = nobody
            units[genet] -= 1
            last = last if genet == nobody else taxa[genet]
            at.append(genet)
        return at

    @property
    def genets(self) -> list[str | None]:
        return [self.names[genet] for genet in self.at]

    def _count(self, weight: int) -> int:
        return sum(
            self.weights[self.at[one]][self.at[other]] == weight
            for one, others in enumerate(self.near)
            for other in others
            if one < other
        )

    @property
    def like(self) -> int:
        return self._count(1)

    @property
    def clashing(self) -> int:
        return self._count(_TAXA)

    def improve(self, least: int) -> None:
        """Change places until nothing more can be gained, or as often as is worth it."""
        at, near, weights, random = self.at, self.near, self.weights, self.random
        energy = self.like + _TAXA * self.clashing
        best, kept = energy, list(at)
        tries = _CHANGES * len(at)
        for step in range(tries):
            if best <= least:
                break
            one, other = random.randrange(len(at)), random.randrange(len(at))
            mine, theirs = at[one], at[other]
            if mine == theirs:
                continue
            change = 0
            for block in near[one]:
                if block != other:
                    change += weights[theirs][at[block]] - weights[mine][at[block]]
            for block in near[other]:
                if block != one:
                    change += weights[mine][at[block]] - weights[theirs][at[block]]
            heat = _WARM * (_COLD / _WARM) ** (step / tries)
            if change <= 0 or random.random() < math.exp(-change / heat):
                at[one], at[other] = theirs, mine
                energy += change
                if energy < best:
                    best, kept = energy, list(at)
        self.at = kept
