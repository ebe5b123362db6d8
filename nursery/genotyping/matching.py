"""Which samples are of one individual: loci that differ, groups, and the chains in them. Pure.

The distance of two samples is the number of loci at which their genotypes differ, among those typed
in both. What is missing is never a match: it counts neither way, and two samples that share fewer
typed loci than a minimum are not compared at all. A threshold of one or two loci allows for errors
of scoring and for somatic mutation (from memory); which one fits a panel is a person's judgement,
for which `Matches.spread` says how many pairs differ at how many loci.

All pairs are compared by products of matrices: with one column for each genotype of each locus, 1
where a sample has it, the product of two rows is the number of loci at which they agree. It is done
block by block, so that memory does not grow with the number of pairs, in float32, whose whole
numbers are exact up to 16,777,216.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components, minimum_spanning_tree

from nursery.genotyping.calls import MISSING, Calls, Genotypes, genotypes

SAMPLES_A_BLOCK = 1024
COLUMNS_A_BLOCK = 8192
"""So a block and its partner take about 130 MB together, whatever the table's size."""

MOST_TOLD = 200
"""The most pairs of a group that are told one by one; beyond that, how many there are."""


@dataclass(frozen=True, slots=True)
class Pair:
    """Two samples by their numbers, at how many loci they differ, and how many both have."""

    first: int
    second: int
    mismatches: int
    shared: int


@dataclass(frozen=True, slots=True, eq=False)
class Matches:
    """The pairs within a threshold, as columns, the first sample before the second.

    `spread[n]` is the number of pairs that differ at n loci, among all that share enough.
    """

    first: NDArray[np.int32]
    second: NDArray[np.int32]
    mismatches: NDArray[np.int32]
    shared: NDArray[np.int32]
    spread: NDArray[np.int64]

    def __len__(self) -> int:
        return len(self.first)


@dataclass(frozen=True, slots=True)
class Group:
    """Samples that hang together by matches (single linkage), by their numbers in ascending order.

    `links` are the matches that hold it together, as few and as close as possible: one less than
    there are members. `apart` are the pairs in it that differ at more loci than the threshold,
    though others join them: a chain, which a person decides about. `untold` are those that share
    too few loci to be compared. Of both the first MOST_TOLD, the widest apart first, and how many.
    """

    members: tuple[int, ...]
    links: tuple[Pair, ...] = ()
    apart: tuple[Pair, ...] = ()
    apart_count: int = 0
    untold: tuple[Pair, ...] = ()
    untold_count: int = 0


def matches(calls: Calls, threshold: int, minimum: int) -> Matches:
    """All pairs that differ at `threshold` loci at most and share at least `minimum`.

    ValueError for a threshold below 0 or a minimum below 1.
    """
    _checked(threshold, minimum)
    spread = np.zeros(len(calls.loci) + 1, dtype=np.int64)
    found: list[tuple[NDArray[np.int32], ...]] = []
    for rows, columns, mismatches, shared in _blocks(genotypes(calls)):
        told = shared >= minimum
        if rows == columns:
            told &= _above(len(told))
        spread += np.bincount(mismatches[told], minlength=len(spread))
        first, second = np.nonzero(told & (mismatches <= threshold))
        found.append(
            (
                (first + rows).astype(np.int32),
                (second + columns).astype(np.int32),
                mismatches[first, second],
                shared[first, second],
            )
        )
    none = np.zeros(0, dtype=np.int32)
    all_of = [np.concatenate([none, *(part[at] for part in found)]) for at in range(4)]
    return Matches(all_of[0], all_of[1], all_of[2], all_of[3], spread)


def groups(calls: Calls, found: Matches, threshold: int, minimum: int) -> list[Group]:
    """What hangs together by these matches, each sample in one group, in the order of their first
    members; those that match nobody are groups of one."""
    _checked(threshold, minimum)
    size = len(calls.samples)
    # One more, for a graph has no edge of length 0.
    edges = coo_array((found.mismatches + 1, (found.first, found.second)), shape=(size, size))
    _, label = connected_components(edges, directed=False)
    tree = minimum_spanning_tree(edges.tocsr()).tocoo()
    shared = {
        (int(a), int(b)): int(n) for a, b, n in zip(*_edges(found, tree.row, tree.col), strict=True)
    }
    links: dict[int, list[Pair]] = {}
    for a, b, length in zip(tree.row, tree.col, tree.data, strict=True):
        pair = Pair(int(a), int(b), int(length) - 1, shared[int(a), int(b)])
        links.setdefault(int(label[a]), []).append(pair)
    members: dict[int, list[int]] = {}
    for number, group in enumerate(label):
        members.setdefault(int(group), []).append(number)
    return [
        _group(
            calls, tuple(rows), tuple(sorted(links.get(group, []), key=_ends)), threshold, minimum
        )
        for group, rows in members.items()
    ]


def _checked(threshold: int, minimum: int) -> None:
    if threshold < 0:
        raise ValueError("a threshold is 0 or more loci")
    if minimum < 1:
        raise ValueError("two samples are compared by one shared locus at least")


def _above(size: int) -> NDArray[np.bool_]:
    """Each pair once, and none of a sample with itself: what is above the diagonal."""
    return np.triu(np.ones((size, size), dtype=np.bool_), k=1)


def _edges(
    found: Matches, rows: NDArray[np.int32], columns: NDArray[np.int32]
) -> tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.int32]]:
    """How many loci the pairs of these links share, which all are among the matches."""
    key = found.first.astype(np.int64) << 32 | found.second
    order = np.argsort(key)
    wanted = rows.astype(np.int64) << 32 | columns
    at = order[np.searchsorted(key, wanted, sorter=order)]
    return rows.astype(np.int64), columns.astype(np.int64), found.shared[at]


def _ends(pair: Pair) -> tuple[int, int]:
    return pair.first, pair.second


def _group(
    calls: Calls, rows: tuple[int, ...], links: tuple[Pair, ...], threshold: int, minimum: int
) -> Group:
    if len(rows) <= 2:
        return Group(rows, links)
    apart: list[Pair] = []
    untold: list[Pair] = []
    counts = [0, 0]
    for top, left, mismatches, shared in _blocks(genotypes(calls.of(list(rows)))):
        upper = np.ones(mismatches.shape, dtype=np.bool_)
        if top == left:
            upper = _above(len(mismatches))
        told = shared >= minimum
        for kept, number, which in (
            (apart, 0, upper & told & (mismatches > threshold)),
            (untold, 1, upper & ~told),
        ):
            first, second = np.nonzero(which)
            counts[number] += len(first)
            widest = np.argsort(-mismatches[first, second], kind="stable")[:MOST_TOLD]
            kept += [
                Pair(
                    rows[first[at] + top],
                    rows[second[at] + left],
                    int(mismatches[first[at], second[at]]),
                    int(shared[first[at], second[at]]),
                )
                for at in widest
            ]
    return Group(
        rows,
        links,
        tuple(sorted(apart, key=_widest)[:MOST_TOLD]),
        counts[0],
        tuple(sorted(untold, key=_widest)[:MOST_TOLD]),
        counts[1],
    )


def _widest(pair: Pair) -> tuple[int, int, int]:
    return -pair.mismatches, pair.first, pair.second


def _blocks(
    of: Genotypes,
) -> Iterator[tuple[int, int, NDArray[np.int32], NDArray[np.int32]]]:
    """Each block of pairs, those below the diagonal left out: its first row and column, and for
    each pair at how many loci the two differ and how many both have."""
    # By their kinds, so that the loci that have a genotype of some number stand together.
    order = np.argsort(-of.kinds, kind="stable")
    numbers, kinds = of.numbers[:, order], of.kinds[order]
    chunks = list(_chunks(kinds))
    starts = range(0, len(numbers), SAMPLES_A_BLOCK)
    for top in starts:
        rows = numbers[top : top + SAMPLES_A_BLOCK]
        for left in starts[top // SAMPLES_A_BLOCK :]:
            columns = numbers[left : left + SAMPLES_A_BLOCK]
            agreed = np.zeros((len(rows), len(columns)), dtype=np.float32)
            shared = np.zeros_like(agreed)
            for low, high in chunks:
                mine, typed = _columns(rows[:, low:high], kinds[low:high])
                other, also_typed = mine, typed
                if left != top:
                    other, also_typed = _columns(columns[:, low:high], kinds[low:high])
                agreed += mine @ other.T
                shared += typed @ also_typed.T
            both = shared.astype(np.int32)
            yield top, left, both - agreed.astype(np.int32), both


def _chunks(kinds: NDArray[np.int64]) -> Iterator[tuple[int, int]]:
    """Runs of loci that together have no more columns than a block (one locus alone may)."""
    low, width = 0, 0
    for locus, more in enumerate(kinds):
        if width and width + more > COLUMNS_A_BLOCK:
            yield low, locus
            low, width = locus, 0
        width += int(more)
    if low < len(kinds):
        yield low, len(kinds)


def _columns(
    numbers: NDArray[np.int32], kinds: NDArray[np.int64]
) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """One column for each genotype of each locus, 1 where a sample has it; and one for each locus,
    1 where a sample was typed. The loci come by their kinds, the most first."""
    found = np.empty((len(numbers), int(kinds.sum())), dtype=np.float32)
    begin = 0
    for number in range(int(kinds.max(initial=0))):
        wide = int(np.count_nonzero(kinds > number))
        np.equal(numbers[:, :wide], number, out=found[:, begin : begin + wide], casting="unsafe")
        begin += wide
    return found, (numbers != MISSING).astype(np.float32)
