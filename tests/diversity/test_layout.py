"""Layouts of plots against trying every placing."""

from __future__ import annotations

import itertools
from collections import Counter

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from nursery.diversity.allocation.ground import Ground, Position, grid, scattered
from nursery.diversity.allocation.layout import Layout, Taxa, lay_out


def _units(ground: Ground, layout: Layout) -> list[str | None]:
    """The genet of each block, read from the positions."""
    return [layout.genets[block[0]] for block in ground.blocks]


def _like(ground: Ground, genets: list[str | None]) -> int:
    return sum(
        genets[one] is not None and genets[one] == genets[other] for one, other in ground.pairs
    )


@st.composite
def little(draw: st.DrawFn) -> tuple[Ground, dict[str, int]]:
    rows, columns = draw(st.sampled_from([(1, 5), (2, 3), (2, 2), (3, 2), (7, 1), (2, 4)]))
    ground = grid(rows, columns, 0.5, corners=draw(st.booleans()))
    counts: Counter[str] = Counter()
    for _ in range(rows * columns):
        counts[draw(st.sampled_from("abc"))] += 1
    return ground, dict(counts)


@settings(max_examples=100, deadline=None)
@given(little(), st.integers(0, 5))
def test_no_placing_is_below_the_bound_and_random_ones_come_to_what_is_expected(
    case: tuple[Ground, dict[str, int]], seed: int
) -> None:
    ground, counts = case
    layout = lay_out(ground, counts, seed=seed)
    plugs = [genet for genet, n in sorted(counts.items()) for _ in range(n)]
    # Every order of plugs, two of one genet told apart: what random placing means.
    likes = [_like(ground, list(way)) for way in itertools.islice(_orders(plugs), 100_000)]
    assert layout.bound <= min(likes) <= layout.like
    assert layout.like == _like(ground, _units(ground, layout))
    assert Counter(layout.genets) == Counter(plugs)
    assert layout.pairs == len(ground.pairs)
    assert layout.expected == pytest.approx(sum(likes) / len(likes))


def _orders(plugs: list[str]) -> list[tuple[str, ...]]:
    # All different orders are as likely as each other: each stands for as many permutations.
    return sorted(set(itertools.permutations(plugs)))


@settings(max_examples=40, deadline=None)
@given(little(), st.integers(0, 3))
def test_small_plots_are_laid_out_as_well_as_can_be(
    case: tuple[Ground, dict[str, int]], seed: int
) -> None:
    ground, counts = case
    plugs = [genet for genet, n in sorted(counts.items()) for _ in range(n)]
    least = min(_like(ground, list(way)) for way in _orders(plugs))
    assert lay_out(ground, counts, seed=seed).like == least


def test_two_genets_make_a_chequerboard() -> None:
    layout = lay_out(grid(10, 10, 0.5, corners=False), {"a": 50, "b": 50})
    assert (layout.like, layout.bound, layout.pairs) == (0, 0, 180)
    assert layout.share == 0.0
    # 2 · 50 · 49 of 100 · 99 pairs of plugs are of one genet.
    assert layout.expected / layout.pairs == pytest.approx(49 / 99)


def test_where_one_genet_is_too_many_the_bound_says_so() -> None:
    # 4 × 4 with corners has four squares of four: 12 of one genet are three in each at best.
    layout = lay_out(grid(4, 4, 1.0), {"a": 12, "b": 4})
    assert layout.bound >= 4 * 3
    assert layout.bound <= layout.like < layout.expected
    one = lay_out(grid(4, 4, 1.0), {"a": 16})
    assert one.like == one.pairs == one.bound == one.expected == 42


def test_the_same_seed_gives_the_same_layout_and_another_one_another() -> None:
    counts = {f"g{at}": 4 for at in range(9)}
    ground = grid(6, 6, 0.5)
    assert lay_out(ground, counts, seed=3) == lay_out(ground, counts, seed=3)
    assert lay_out(ground, counts, seed=3).genets != lay_out(ground, counts, seed=4).genets


def test_pieces_that_are_to_fuse_lie_side_by_side_and_their_units_are_kept_apart() -> None:
    ground = grid(8, 8, 0.3, unit=4)
    assert all(len(block) == 4 for block in ground.blocks)
    assert ground.blocks[0] == (0, 1, 8, 9)
    layout = lay_out(ground, {"a": 16, "b": 16, "c": 16, "d": 14})
    assert Counter(layout.genets) == {"a": 16, "b": 16, "c": 16, "d": 14, None: 2}
    for block in ground.blocks:
        assert len({layout.genets[at] for at in block} - {None}) == 1
    assert layout.like == 0


def test_taxa_are_parted_by_what_stays_empty() -> None:
    kinds = {"a": "Acropora", "b": "Acropora", "c": "Galaxea", "d": "Galaxea"}
    taxa = Taxa(kinds, {frozenset({"Acropora", "Galaxea"})})
    ground = grid(7, 6, 0.5)
    plugs = {"a": 9, "b": 9, "c": 9, "d": 9}
    layout = lay_out(ground, plugs, taxa=taxa)
    assert layout.clashing == 0
    assert Counter(layout.genets) == {**plugs, None: 6}
    # Without a row to spare they meet somewhere.
    full = lay_out(grid(6, 6, 0.5), plugs, taxa=taxa)
    assert full.clashing > 0


def test_scattered_positions_are_neighbours_within_reach() -> None:
    spots = [Position(0, 0), Position(0, 1), Position(0, 2.5), Position(3, 3), Position(-0.5, 0)]
    assert scattered(spots, 1.0).pairs == ((0, 1), (0, 4))
    assert scattered(spots, 1.5).pairs == ((0, 1), (0, 4), (1, 2), (1, 4))


def test_scattered_units_are_of_the_nearest_and_what_lies_alone_stays_empty() -> None:
    spots = [Position(0, 0), Position(9, 9), Position(1, 0), Position(0.5, 0), Position(2, 0)]
    ground = scattered(spots, 1.0, unit=2)
    assert ground.blocks == ((0, 3), (2, 4))
    assert ground.pairs == ((0, 1),)
    assert lay_out(ground, {"a": 2, "b": 2}).genets == ("a", None, "b", "a", "b") or lay_out(
        ground, {"a": 2, "b": 2}
    ).genets == ("b", None, "a", "b", "a")


def test_a_grid_is_the_same_as_its_positions_in_a_list() -> None:
    whole = grid(4, 5, 0.7)
    assert scattered(whole.positions, 0.7 * 2**0.5).pairs == whole.pairs


def test_what_finds_no_room_is_refused() -> None:
    with pytest.raises(ValueError, match="10 units do not find room on 9 blocks"):
        lay_out(grid(3, 3, 0.5), {"a": 10})
    with pytest.raises(ValueError, match="no rectangle"):
        grid(3, 3, 0.5, unit=5)
    with pytest.raises(ValueError, match="spacing"):
        grid(3, 3, 0.0)
    with pytest.raises(ValueError, match="reach"):
        scattered([], 0.0)


def test_an_empty_plot_has_no_neighbours() -> None:
    layout = lay_out(grid(2, 2, 1.0), {})
    assert (layout.genets, layout.share, layout.pairs) == ((None,) * 4, None, 0)
