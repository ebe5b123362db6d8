"""E5, ED*, the Pareto distribution, and how alike two sites are."""

import math
from fractions import Fraction

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy.stats import linregress

from nursery.diversity.clonality import ALL_SINGLE, ONE_SIZE, evenness_e5, evenness_ed, pareto_beta
from nursery.diversity.overlap import EMPTY, morisita_horn
from nursery.diversity.values import NO_RAMETS, ONE_GENET, Value
from tests.diversity.test_indices import ATHENA

several = st.lists(st.integers(1, 400), min_size=2, max_size=40)
shared = st.dictionaries(st.sampled_from("abcdefgh"), st.integers(0, 300))


def test_the_published_evenness_of_the_athena_field() -> None:
    # Grünwald & Hoheisel 2006; the digits reproduced with two libraries.
    assert evenness_e5(ATHENA).number == pytest.approx(0.721008688945, abs=5e-13)


def test_the_computed_evenness_ed_of_the_athena_field() -> None:
    # Computed from the formula of the same data, no library has it.
    assert evenness_ed(ATHENA).number == pytest.approx(0.876722133, abs=5e-10)


def test_the_pareto_slope_is_that_of_scipy_by_the_sizes_that_occur() -> None:
    # Athena: ramets in genets of at least 1, 2, 3, 5 and 9 ramets.
    reached = {1: 97, 2: 42, 3: 20, 5: 14, 9: 9}
    fitted = linregress([math.log10(x) for x in reached], [math.log10(y) for y in reached.values()])
    assert pareto_beta(ATHENA).number == pytest.approx(-fitted.slope, rel=1e-12)


@given(several)
def test_the_pareto_slope_of_any_counts_is_that_of_scipy(counts: list[int]) -> None:
    sizes = sorted(set(counts))
    assume(len(sizes) > 1)
    up = [math.log(sum(n for n in counts if n >= size)) for size in sizes]
    fitted = linregress([math.log(size) for size in sizes], up)
    assert pareto_beta(counts).number == pytest.approx(-fitted.slope, rel=1e-9, abs=1e-12)


def test_what_cannot_be_told_has_a_reason() -> None:
    assert evenness_e5([]) == evenness_ed([]) == pareto_beta([0]) == Value(None, NO_RAMETS)
    assert evenness_e5([7]) == evenness_ed([7]) == Value(None, ONE_GENET)
    assert evenness_ed([1, 1, 1]) == Value(None, ALL_SINGLE)
    assert pareto_beta([4, 4, 4]) == Value(None, ONE_SIZE)


@given(st.integers(2, 60), st.integers(2, 60))
def test_even_genets_are_wholly_even(genets: int, each: int) -> None:
    assert 1 - 1e-12 < evenness_e5([each] * genets).number <= 1
    assert evenness_ed([each] * genets) == Value(1.0)


@given(st.integers(1, 60), st.integers(2, 500))
def test_one_large_genet_among_single_ramets_is_wholly_uneven(single: int, large: int) -> None:
    assert evenness_ed([large] + [1] * single) == Value(0.0)


@given(several)
def test_evenness_lies_between_none_and_all(counts: list[int]) -> None:
    assert 0 < evenness_e5(counts).number <= 1
    assume(max(counts) > 1)
    assert 0 <= evenness_ed(counts).number <= 1


@given(several)
def test_evenness_ed_is_what_its_formula_says_in_fractions(counts: list[int]) -> None:
    total, kinds = sum(counts), len(counts)
    assume(total > kinds)
    pairs = total * (total - 1)
    simpson = 1 - Fraction(sum(n * (n - 1) for n in counts), pairs)
    least = Fraction((2 * total - kinds) * (kinds - 1), pairs)
    most = Fraction((kinds - 1) * total, kinds * (total - 1))
    exact = (simpson - least) / (most - least)
    assert evenness_ed(counts).number == pytest.approx(float(exact), rel=1e-12)


def test_the_known_overlap_of_two_sites() -> None:
    # x = [10, 5, 0, 3], y = [2, 8, 4, 0]: computed in two ways.
    here, there = {"a": 10, "b": 5, "d": 3}, {"a": 2, "b": 8, "c": 4}
    assert morisita_horn(here, there).number == pytest.approx(0.5654450261780105, abs=1e-15)


@given(shared, shared)
def test_overlap_is_the_same_from_either_site(here: dict[str, int], there: dict[str, int]) -> None:
    assert morisita_horn(here, there) == morisita_horn(there, here)


@given(shared, st.integers(1, 9))
def test_sites_with_the_same_shares_overlap_wholly(here: dict[str, int], times: int) -> None:
    assume(sum(here.values()))
    there = {genet: n * times for genet, n in here.items()}
    assert morisita_horn(here, there).number == pytest.approx(1, abs=1e-12)


def test_sites_without_a_common_genet_do_not_overlap() -> None:
    assert morisita_horn({"a": 4}, {"b": 4}) == Value(0.0)


def test_an_empty_site_has_no_overlap() -> None:
    assert morisita_horn({}, {"b": 4}) == morisita_horn({"b": 4}, {"b": 0}) == Value(None, EMPTY)
