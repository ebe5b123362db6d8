"""How many genets a part of a site's ramets is expected to hold, against two general libraries."""

from fractions import Fraction
from itertools import combinations, pairwise
from math import comb

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import hypergeom

from nursery.diversity.indices import rarefaction, rarefied, simpson_unbiased, sizes
from nursery.diversity.values import NO_RAMETS, Value
from tests.diversity.test_indices import ATHENA, GIRDLED, _number

some = st.lists(st.integers(1, 400), min_size=1, max_size=40)


def test_the_published_number_of_the_girdled_hemlocks() -> None:
    # 18.912 species in 84 of 168 spiders: the worked example of Hsieh, Ma & Chao 2016 (Methods in
    # Ecology and Evolution 7:1451). The figure is from memory; the whole numbers below agree.
    assert _number(rarefied(GIRDLED, 84)) == pytest.approx(18.912, abs=5e-4)


def test_the_published_numbers_of_the_girdled_community_by_size() -> None:
    # Sackett et al. 2011, as used by Chao et al. 2014, Ecological Monographs 84:45.
    found = [_number(rarefied(GIRDLED, size)) for size in (10, 50, 100, 167)]
    assert found == pytest.approx([6.478617, 15.030098, 20.459426, 25.928571], abs=5e-7)


def test_the_published_number_of_the_athena_field() -> None:
    # Grünwald & Hoheisel 2006: the genotypes expected in 90 of 97 isolates.
    assert _number(rarefied(ATHENA, 90)) == pytest.approx(65.98083933774, abs=5e-11)


@pytest.mark.parametrize("size", [1, 2, 10, 84, 167, 168])
def test_it_is_what_whole_numbers_give(size: int) -> None:
    total = sum(GIRDLED)
    exact = sum(1 - Fraction(comb(total - n, size), comb(total, size)) for n in GIRDLED)
    assert _number(rarefied(GIRDLED, size)) == pytest.approx(float(exact), rel=1e-13)


def test_it_is_the_mean_of_all_draws() -> None:
    ramets = [0, 0, 0, 1, 1, 2]
    draws = [len(set(draw)) for draw in combinations(ramets, 3)]
    assert _number(rarefied([3, 2, 1], 3)) == pytest.approx(sum(draws) / len(draws), rel=1e-14)


@given(some, st.data())
def test_it_is_what_the_hypergeometric_distribution_of_scipy_gives(
    counts: list[int], data: st.DataObject
) -> None:
    total = sum(counts)
    size = data.draw(st.integers(0, total))
    missed = sum(float(hypergeom.pmf(0, total, n, size)) for n in counts)
    assert _number(rarefied(counts, size)) == pytest.approx(len(counts) - missed, abs=1e-8)


@given(some.filter(lambda counts: sum(counts) > 1))
def test_of_two_ramets_it_is_one_more_than_the_chance_that_they_differ(counts: list[int]) -> None:
    # Hurlbert 1971: E(S of 2) = 1 + the probability of an encounter of two kinds.
    assert _number(rarefied(counts, 2)) == pytest.approx(
        1 + _number(simpson_unbiased(counts)), rel=1e-12
    )


@given(some)
def test_all_ramets_are_of_all_genets_and_none_of_none(counts: list[int]) -> None:
    assert _number(rarefied(counts, sum(counts))) == len(counts)
    assert _number(rarefied(counts, 0)) == 0


def test_a_large_site_keeps_its_digits() -> None:
    counts = [60_000, 30_000, 9_000, 1_000]
    total = sum(counts)
    exact = sum(1 - Fraction(comb(total - n, 5000), comb(total, 5000)) for n in counts)
    assert _number(rarefied(counts, 5000)) == pytest.approx(float(exact), rel=1e-9)


def test_a_larger_draw_than_there_is_cannot_be_known() -> None:
    with pytest.raises(ValueError, match="from 0 to 3"):
        rarefied([2, 1], 4)
    with pytest.raises(ValueError, match="from 0 to 3"):
        rarefied([2, 1], -1)


def test_without_ramets_there_is_no_number() -> None:
    assert rarefied([], 0).reason == NO_RAMETS


# The curve


@pytest.mark.parametrize(("total", "most"), [(1, 8), (7, 8), (8, 8), (9, 8), (9, 1), (100_000, 48)])
def test_sizes_of_a_draw_go_from_one_to_all(total: int, most: int) -> None:
    found = sizes(total, most)
    assert (found[0], found[-1]) == (1 if most > 1 else total, total)
    assert found == sorted(set(found))
    assert len(found) <= most


def test_a_curve_is_the_expected_genets_of_each_size() -> None:
    curve = rarefaction(GIRDLED, 12)
    assert list(curve) == sizes(168, 12)
    assert curve == {size: rarefied(GIRDLED, size) for size in curve}


@given(some, st.integers(2, 30))
def test_a_curve_rises_from_one_genet_to_all_and_ever_less_steeply(
    counts: list[int], points: int
) -> None:
    curve = [(size, _number(value)) for size, value in rarefaction(counts, points).items()]
    assert curve[0][1] == pytest.approx(1)
    assert curve[-1] == (sum(counts), len(counts))
    steps = list(pairwise(curve))
    slopes = [(after[1] - before[1]) / (after[0] - before[0]) for before, after in steps]
    assert all(slope >= -1e-9 for slope in slopes)
    assert all(later <= earlier + 1e-6 for earlier, later in pairwise(slopes))


def test_without_ramets_a_curve_is_empty_and_without_points_it_is_refused() -> None:
    assert rarefaction([0], 5) == {}
    assert rarefaction([1], 5) == {1: Value(1.0)}
    with pytest.raises(ValueError, match="at least one point"):
        rarefaction([2, 1], 0)
