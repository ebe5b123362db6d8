"""Matching: distances counted one by one, groups, and the chains in them."""

from __future__ import annotations

import itertools

import networkx as nx
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from nursery.genotyping import matching
from nursery.genotyping.calls import Calls
from nursery.genotyping.matching import Group, Pair, groups, matches
from tests.genotyping.invented import Call, calls_of, random_calls


def one_by_one(calls: Calls) -> dict[tuple[int, int], tuple[int, int]]:
    """Mismatches and shared loci of each pair, by plain loops."""
    found = {}
    for a, b in itertools.combinations(range(len(calls.samples)), 2):
        mine, other = calls.alleles[a].tolist(), calls.alleles[b].tolist()
        both = [(x, y) for x, y in zip(mine, other, strict=True) if x[0] >= 0 and y[0] >= 0]
        found[a, b] = sum(x != y for x, y in both), len(both)
    return found


def within(calls: Calls, threshold: int, minimum: int) -> dict[tuple[int, int], tuple[int, int]]:
    found = matches(calls, threshold, minimum)
    columns = (found.first, found.second, found.mismatches, found.shared)
    rows = zip(*(column.tolist() for column in columns), strict=True)
    return {(a, b): (mismatches, shared) for a, b, mismatches, shared in rows}


def grouped(calls: Calls, threshold: int, minimum: int = 1) -> list[Group]:
    return groups(calls, matches(calls, threshold, minimum), threshold, minimum)


CALL = st.none() | st.tuples(st.integers(0, 3), st.integers(0, 3))


@given(
    rows=st.integers(0, 6).flatmap(
        lambda loci: st.lists(st.lists(CALL, min_size=loci, max_size=loci), max_size=9)
    ),
    threshold=st.integers(0, 4),
    minimum=st.integers(1, 4),
)
def test_pairs_are_those_that_loops_find(
    rows: list[list[Call]], threshold: int, minimum: int
) -> None:
    calls = calls_of(rows)
    right = one_by_one(calls)
    assert within(calls, threshold, minimum) == {
        pair: (mismatches, shared)
        for pair, (mismatches, shared) in right.items()
        if mismatches <= threshold and shared >= minimum
    }


@pytest.mark.parametrize("alleles", [2, 40])
def test_blocks_make_no_difference(monkeypatch: pytest.MonkeyPatch, alleles: int) -> None:
    calls = random_calls(41, 30, alleles)
    right = one_by_one(calls)
    monkeypatch.setattr(matching, "SAMPLES_A_BLOCK", 7)
    monkeypatch.setattr(matching, "COLUMNS_A_BLOCK", 11)
    assert within(calls, 30, 1) == right
    spread = np.bincount([mismatches for mismatches, _ in right.values()], minlength=31)
    assert matches(calls, 0, 1).spread.tolist() == spread.tolist()


def test_missing_is_never_a_match() -> None:
    calls = calls_of([[(1, 1), None], [None, (2, 2)], [None, None], [(1, 1), None]])
    assert within(calls, 0, 1) == {(0, 3): (0, 1)}


def test_an_order_of_alleles_is_no_difference() -> None:
    assert within(calls_of([[(1, 2)], [(2, 1)]]), 0, 1) == {(0, 1): (0, 1)}


def test_too_few_shared_loci_are_not_compared() -> None:
    calls = calls_of([[(1, 1), (1, 1), None], [(1, 1), (1, 1), (3, 3)]])
    assert within(calls, 0, 2) == {(0, 1): (0, 2)}
    assert within(calls, 0, 3) == {}
    assert matches(calls, 0, 3).spread.sum() == 0


@pytest.mark.parametrize(("threshold", "minimum"), [(-1, 1), (0, 0)])
def test_a_threshold_or_minimum_without_sense_is_an_error(threshold: int, minimum: int) -> None:
    with pytest.raises(ValueError, match="loc"):
        matches(random_calls(2, 2, 2), threshold, minimum)


def chain() -> Calls:
    """A differs from B at one locus, B from C at one, A from C at two; D is another."""
    a: list[Call] = [(1, 1)] * 4
    b: list[Call] = [(1, 2), *a[1:]]
    c: list[Call] = [(1, 2), (1, 2), *a[2:]]
    return calls_of([a, b, c, [(9, 9)] * 4])


def test_a_chain_is_one_group_that_says_who_does_not_match() -> None:
    first, other = grouped(chain(), 1)
    assert (first.members, other.members) == ((0, 1, 2), (3,))
    assert first.links == (Pair(0, 1, 1, 4), Pair(1, 2, 1, 4))
    assert first.apart == (Pair(0, 2, 2, 4),)
    assert (first.apart_count, first.untold_count) == (1, 0)
    assert other.apart_count == 0


def test_members_that_share_too_few_loci_are_told_apart_from_a_chain() -> None:
    whole: list[Call] = [(1, 1)] * 4
    calls = calls_of([[*whole[:2], None, None], whole, [None, None, *whole[2:]]])
    (group,) = grouped(calls, 0, 2)
    assert group.members == (0, 1, 2)
    assert (group.apart, group.untold) == ((), (Pair(0, 2, 0, 0),))
    assert (group.apart_count, group.untold_count) == (0, 1)


@given(
    st.lists(st.lists(CALL, min_size=4, max_size=4), min_size=1, max_size=12),
    st.integers(0, 2),
    st.integers(1, 3),
)
def test_groups_and_chains_are_those_of_a_graph(
    rows: list[list[Call]], threshold: int, minimum: int
) -> None:
    calls = calls_of(rows)
    right = one_by_one(calls)
    graph: nx.Graph[int] = nx.Graph()
    graph.add_nodes_from(range(len(rows)))
    graph.add_edges_from(
        (a, b, {"weight": m}) for (a, b), (m, n) in right.items() if m <= threshold and n >= minimum
    )
    found = grouped(calls, threshold, minimum)
    assert {group.members for group in found} == {
        tuple(sorted(part)) for part in nx.connected_components(graph)
    }
    for group in found:
        inside = {pair: right[pair] for pair in itertools.combinations(group.members, 2)}
        apart = {pair for pair, (m, n) in inside.items() if n >= minimum and m > threshold}
        untold = {pair for pair, (_, n) in inside.items() if n < minimum}
        assert {(pair.first, pair.second) for pair in group.apart} == apart
        assert {(pair.first, pair.second) for pair in group.untold} == untold
        assert (group.apart_count, group.untold_count) == (len(apart), len(untold))
        tree = nx.minimum_spanning_tree(graph.subgraph(group.members))
        assert sum(pair.mismatches for pair in group.links) == tree.size(weight="weight")
        assert len(group.links) == len(group.members) - 1
        assert all(
            right[pair.first, pair.second] == (pair.mismatches, pair.shared) for pair in group.links
        )


def test_of_many_pairs_apart_the_widest_are_told(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(matching, "MOST_TOLD", 2)
    steps: list[list[Call]] = [[(1, 1 + (n > at)) for at in range(6)] for n in range(6)]
    (group,) = grouped(calls_of(steps), 1)
    assert group.apart == (Pair(0, 5, 5, 6), Pair(0, 4, 4, 6))
    assert group.apart_count == 10
