"""Indices of clonal diversity against published figures and a general library."""

import math
from collections.abc import Callable
from random import Random

import pytest
import skbio.diversity.alpha as library
from hypothesis import assume, given
from hypothesis import strategies as st

from nursery.diversity.clonality import evenness_e5, evenness_ed, pareto_beta
from nursery.diversity.indices import (
    clonal_richness,
    genets,
    hill,
    hill_profile,
    largest_share,
    pielou,
    ramets,
    shannon,
    simpson_biased,
    simpson_unbiased,
)
from nursery.diversity.summary import summary
from nursery.diversity.unseen import chao1, coverage
from nursery.diversity.values import NO_RAMETS, ONE_GENET, ONE_RAMET, Value

# Aphanomyces euteiches, field "Athena": Grünwald & Hoheisel 2006, as distributed with a public
# population-genetics R package. Genet sizes.
ATHENA = [9, 5] + [3] * 2 + [2] * 11 + [1] * 55
# Spider community "Girdled": Sackett et al. 2011, as used by Chao et al. 2014. Species counts.
GIRDLED = [46, 22, 17, 15, 15, 9, 8, 6, 6, 4] + [2] * 4 + [1] * 12

several = st.lists(st.integers(1, 5000), min_size=2, max_size=60)
some = st.lists(st.integers(0, 5000), max_size=60)


def _number(value: Value) -> float:
    assert value.value is not None
    assert value.reason == ""
    return value.value


# --- published figures ---------------------------------------------------------------------------


def test_the_published_numbers_of_the_athena_field() -> None:
    # N, G, H, 1/Σp², 1−Σp²: Grünwald & Hoheisel 2006, digits reproduced with two libraries.
    assert (ramets(ATHENA), genets(ATHENA)) == (97, 70)
    assert _number(shannon(ATHENA)) == pytest.approx(4.0627200253, abs=5e-11)
    assert _number(hill(ATHENA, 2)) == pytest.approx(42.1928251121, abs=5e-11)
    assert _number(simpson_biased(ATHENA)) == pytest.approx(0.976299287916, abs=5e-13)


def test_the_computed_numbers_of_the_athena_field() -> None:
    # R and unbiased D of the same data: computed from the formulas with two libraries.
    assert _number(clonal_richness(ATHENA)) == pytest.approx(0.71875, abs=1e-15)
    assert _number(simpson_unbiased(ATHENA)) == pytest.approx(0.986469072, abs=5e-10)
    assert _number(largest_share(ATHENA)) == pytest.approx(9 / 97, abs=1e-15)


def test_the_published_numbers_of_the_girdled_community() -> None:
    # Chao et al. 2014, Ecological Monographs 84:45: N 168, S 26, Hill numbers 12.05965 and 7.84.
    assert (ramets(GIRDLED), genets(GIRDLED)) == (168, 26)
    assert _number(hill(GIRDLED, 0)) == 26
    assert _number(hill(GIRDLED, 1)) == pytest.approx(12.05965, abs=5e-6)
    assert _number(hill(GIRDLED, 2)) == pytest.approx(7.84, abs=5e-3)


def test_hill_numbers_of_the_librarys_own_worked_case() -> None:
    # From the test data of scikit-bio's alpha.hill: counts 1 to 5.
    orders = [0, 0.5, 1, 2, 10, math.inf]
    found = [_number(hill([1, 2, 3, 4, 5], order)) for order in orders]
    expected = [5, 4.68423304, 4.43598780, 4.09090909, 3.34923645, 3]
    assert found == pytest.approx(expected, abs=5e-9)


# --- a general library ---------------------------------------------------------------------------


@given(several)
def test_shannon_and_simpson_agree_with_the_library(counts: list[int]) -> None:
    # scikit-bio alpha.shannon (base e) and alpha.simpson.
    assert _number(shannon(counts)) == pytest.approx(library.shannon(counts, base=math.e))
    assert _number(simpson_biased(counts)) == pytest.approx(library.simpson(counts))
    assert _number(simpson_unbiased(counts)) == pytest.approx(library.simpson(counts, finite=True))


@given(several)
def test_pielou_agrees_with_the_library(counts: list[int]) -> None:
    # scikit-bio alpha.pielou_e
    assert _number(pielou(counts)) == pytest.approx(library.pielou_e(counts))


@given(several, st.sampled_from([0, 0.25, 0.5, 0.9, 1, 1.1, 1.5, 2, 3.5, 10, math.inf]))
def test_hill_numbers_agree_with_the_library(counts: list[int], order: float) -> None:
    # scikit-bio alpha.hill
    assert _number(hill(counts, order)) == pytest.approx(library.hill(counts, order=order))


# --- what is not defined -------------------------------------------------------------------------

EVERY_VALUE: list[Callable[[list[int]], Value]] = [
    largest_share,
    clonal_richness,
    shannon,
    simpson_biased,
    simpson_unbiased,
    lambda counts: hill(counts, 0),
    lambda counts: hill(counts, 0.5),
    lambda counts: hill(counts, 1),
    lambda counts: hill(counts, 2),
    lambda counts: hill(counts, math.inf),
    pielou,
]


@pytest.mark.parametrize("index", EVERY_VALUE)
@pytest.mark.parametrize("counts", [[], [0], [0, 0, 0]])
def test_without_ramets_no_index_is_defined(
    index: Callable[[list[int]], Value], counts: list[int]
) -> None:
    assert index(counts) == Value(None, NO_RAMETS)


@pytest.mark.parametrize("index", [clonal_richness, simpson_unbiased])
def test_a_single_ramet_has_no_index_that_compares_two(
    index: Callable[[list[int]], Value],
) -> None:
    assert index([0, 1]) == Value(None, ONE_RAMET)


@pytest.mark.parametrize("counts", [[1], [12], [0, 7]])
def test_a_single_genet_has_no_evenness(counts: list[int]) -> None:
    # The library says 1.0: perfectly even. One genet is not even, there is nothing to compare.
    assert pielou(counts) == Value(None, ONE_GENET)


def test_a_single_genet_of_many_ramets_has_no_diversity() -> None:
    assert clonal_richness([12]) == Value(0.0)
    assert shannon([12]) == Value(0.0)
    assert math.copysign(1, _number(shannon([12]))) == 1
    assert simpson_biased([12]) == Value(0.0)
    assert simpson_unbiased([12]) == Value(0.0)
    assert largest_share([12]) == Value(1.0)
    assert [hill([12], q) for q in (0, 0.5, 1, 2, math.inf)] == [Value(1.0)] * 5


@given(st.integers(2, 500))
def test_all_ramets_of_different_genets_are_as_rich_as_can_be(number: int) -> None:
    counts = [1] * number
    assert clonal_richness(counts) == Value(1.0)
    assert simpson_unbiased(counts) == Value(1.0)
    assert _number(pielou(counts)) == pytest.approx(1, abs=1e-14)


def test_a_profile_is_the_hill_number_of_each_order() -> None:
    orders = [0, 0.5, 1, 2, math.inf]
    assert hill_profile(GIRDLED, orders) == {q: hill(GIRDLED, q) for q in orders}
    assert hill_profile([], [1]) == {1: Value(None, NO_RAMETS)}


def test_evenness_is_not_above_one_by_rounding() -> None:
    # H of five equal shares comes out one last digit above ln 5.
    assert pielou([1] * 5) == Value(1.0)


# --- what must hold ------------------------------------------------------------------------------


@given(st.integers(1, 60), st.integers(1, 500), st.floats(0, 50))
def test_even_genets_count_in_full_at_every_order(number: int, size: int, order: float) -> None:
    # The doubling property follows: Jost 2006, Oikos 113:363.
    assert _number(hill([size] * number, order)) == pytest.approx(number)


@given(several)
def test_a_hill_number_falls_as_its_order_rises(counts: list[int]) -> None:
    orders = [0, 0.2, 0.5, 0.99, 1, 1.01, 1.5, 2, 5, 60, math.inf]
    values = [_number(hill(counts, order)) for order in orders]
    for lower, higher in zip(values[1:], values, strict=False):
        assert lower <= higher * (1 + 1e-12)
    assert values[0] == len(counts)
    assert values[-1] == pytest.approx(sum(counts) / max(counts))


@given(several, st.sampled_from([1e-15, 1e-12, 1e-9, 1e-7]), st.sampled_from([1, -1]))
def test_a_hill_number_is_steady_around_order_one(
    counts: list[int], step: float, side: int
) -> None:
    # The textbook formula loses all its digits here.
    at_one = _number(hill(counts, 1))
    assert _number(hill(counts, 1 + side * step)) == pytest.approx(at_one, rel=1e-9 + 50 * step)


@given(several, st.sampled_from([0.5, 1.5]))
def test_a_hill_number_does_not_jump_where_the_method_changes(
    counts: list[int], order: float
) -> None:
    below = _number(hill(counts, math.nextafter(order, 0)))
    above = _number(hill(counts, math.nextafter(order, 2)))
    assert below == pytest.approx(above, rel=1e-12)


def test_a_large_order_does_not_underflow() -> None:
    # Σp^q is below the smallest float: 0.5^2000 times two.
    assert _number(hill([50, 50], 2000)) == pytest.approx(2)
    assert _number(hill([3, 1], 5000)) == pytest.approx(4 / 3, rel=1e-3)


@given(some)
def test_shares_and_indices_stay_within_their_limits(counts: list[int]) -> None:
    assume(genets(counts) >= 2)
    assert 0 < _number(largest_share(counts)) < 1
    assert 0 < _number(clonal_richness(counts)) <= 1
    assert 0 < _number(simpson_biased(counts)) < _number(simpson_unbiased(counts)) <= 1
    assert 0 < _number(pielou(counts)) <= 1
    assert 0 < _number(shannon(counts)) <= math.log(genets(counts)) * (1 + 1e-15)


@given(some, st.randoms(use_true_random=False))
def test_neither_order_nor_zeros_change_an_index(counts: list[int], dice: Random) -> None:
    other = [n for n in counts if n] + [0]
    dice.shuffle(other)
    assert summary(counts) == summary(other)


def test_numbers_far_beyond_any_nursery_stay_exact() -> None:
    counts = [10**15, 1]
    assert _number(simpson_biased(counts)) == pytest.approx(2e-15, rel=1e-12)
    assert _number(simpson_unbiased(counts)) == pytest.approx(2e-15, rel=1e-12)


# --- what is refused -----------------------------------------------------------------------------


@pytest.mark.parametrize("index", [ramets, genets, summary, *EVERY_VALUE])
def test_a_negative_count_is_refused(index: Callable[[list[int]], object]) -> None:
    with pytest.raises(ValueError, match="not negative"):
        index([3, -1])


def test_a_fraction_is_no_count() -> None:
    with pytest.raises(TypeError):
        ramets([2.5])  # type: ignore[list-item]


@pytest.mark.parametrize("order", [-1, -0.001, math.nan, -math.inf])
def test_an_order_is_a_number_from_zero(order: float) -> None:
    with pytest.raises(ValueError, match="order"):
        hill([1, 2], order)


@pytest.mark.parametrize(
    ("value", "reason"), [(None, ""), (1.0, NO_RAMETS), (math.nan, ""), (math.inf, "")]
)
def test_a_value_is_a_finite_number_or_has_a_reason(value: float | None, reason: str) -> None:
    with pytest.raises(ValueError, match="value is"):
        Value(value, reason)


# --- all at once ---------------------------------------------------------------------------------


@given(some)
def test_the_summary_holds_what_the_functions_say(counts: list[int]) -> None:
    whole = summary(counts)
    assert whole.ramets == ramets(counts)
    assert whole.genets == genets(counts)
    assert (whole.hill_0, whole.hill_1, whole.hill_2) == tuple(hill(counts, q) for q in (0, 1, 2))
    for index in (largest_share, clonal_richness, shannon, pielou, pareto_beta, coverage, chao1):
        assert getattr(whole, index.__name__) == index(counts)
    assert (whole.evenness_e5, whole.evenness_ed) == (evenness_e5(counts), evenness_ed(counts))
    assert whole.simpson_biased == simpson_biased(counts)
    assert whole.simpson_unbiased == simpson_unbiased(counts)
