"""How a trace is drawn: the order of its nodes and the stems between them."""

import itertools

import pytest
from hypothesis import given
from hypothesis import strategies as st

from nursery.lineage.stem import MOST_STEMS, Rung, Strand, order, rungs

Graph = dict[str, list[str]]


def ranked(graph: Graph) -> dict[str, tuple[int, int, str]]:
    return {name: (0, 0, name) for name in graph}


def drawn(graph: Graph) -> list[Rung]:
    return rungs(order(graph, ranked(graph)), graph)


def test_a_line_of_cuttings_is_one_stem() -> None:
    rows = drawn({"a": ["b"], "b": ["c"], "c": []})
    assert [row.name for row in rows] == ["a", "b", "c"]
    assert [row.strands for row in rows] == [
        (Strand(down=True, node=True),),
        (Strand(up=True, down=True, node=True),),
        (Strand(up=True, node=True),),
    ]


def test_pooled_mothers_join_by_a_side_stem() -> None:
    top, first, second = drawn({"a": ["b", "c"], "b": [], "c": []})
    assert top.strands == (Strand(down=True, right=True, node=True), Strand(down=True, left=True))
    assert first.strands == (Strand(up=True, node=True), Strand(up=True, down=True))
    assert (second.name, second.stem) == ("c", 1)


def test_two_mothers_of_one_mother_come_together_again() -> None:
    rows = drawn({"a": ["b", "c"], "b": ["d"], "c": ["d"], "d": []})
    last = rows[-1]
    assert last.name == "d"
    assert last.strands == (Strand(up=True, right=True, node=True), Strand(up=True, left=True))


def test_a_mother_that_is_also_a_grandmother_stands_below_both() -> None:
    graph = {"a": ["b", "m"], "b": ["m"], "m": []}
    assert [row.name for row in drawn(graph)] == ["a", "b", "m"]


def test_a_stem_that_ends_is_not_drawn_as_the_one_that_begins() -> None:
    # Below m its second stem from above ends, and the one to y begins: they are two.
    graph = {"a": ["b", "m"], "b": ["m"], "m": ["x", "y"], "x": [], "y": []}
    row = next(row for row in drawn(graph) if row.name == "m")
    assert [(strand.up, strand.down) for strand in row.strands] == [
        (True, True),
        (True, False),
        (False, True),
    ]


def test_very_many_mothers_are_drawn_on_few_stems() -> None:
    mothers = [f"m{n}" for n in range(40)]
    rows = drawn({"a": mothers, **{name: [] for name in mothers}})
    assert max(len(row.strands) for row in rows) == MOST_STEMS
    assert all(sum(strand.node for strand in row.strands) == 1 for row in rows)


def test_a_descent_that_goes_round_in_a_ring_is_refused() -> None:
    with pytest.raises(ValueError, match="ring"):
        order({"a": ["b"], "b": ["c"], "c": ["b"]}, ranked({"a": [], "b": [], "c": []}))


@st.composite
def descents(draw: st.DrawFn) -> Graph:
    """Random descents: each node is cut from some of the later ones, all from the first."""
    size = draw(st.integers(1, 12))
    graph: Graph = {}
    for n in range(size):
        later = list(range(n + 1, size))
        chosen = draw(st.lists(st.sampled_from(later), unique=True, max_size=4)) if later else []
        graph[f"n{n:02}"] = [f"n{k:02}" for k in chosen]
    return graph


@given(descents())
def test_every_node_stands_above_all_its_sources(graph: Graph) -> None:
    names = order(graph, ranked(graph))
    assert sorted(names) == sorted(graph)
    at = {name: place for place, name in enumerate(names)}
    assert all(at[name] < at[source] for name, below in graph.items() for source in below)


@given(descents())
def test_lines_go_on_from_one_row_to_the_next(graph: Graph) -> None:
    rows = drawn(graph)
    for above, below in itertools.pairwise(rows):
        leaving = {stem for stem, strand in enumerate(above.strands) if strand.down}
        coming = {stem for stem, strand in enumerate(below.strands) if strand.up}
        assert leaving == coming
    assert not any(strand.up for strand in rows[0].strands)
    assert not any(strand.down for strand in rows[-1].strands)
