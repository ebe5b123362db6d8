"""How many genets a part of a site's ramets is expected to hold, against two general libraries."""

from fractions import Fraction
from itertools import combinations
from math import comb

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import hypergeom

from nursery.diversity.indices import rarefied, simpson_unbiased
from nursery.diversity.values import NO_RAMETS
from tests.diversity.test_indices import GIRDLED, _number

some = st.lists(st.integers(1, 400), min_size=1, max_size=40)


def test_the_published_number_of_the_girdled_hemlocks() -> None:
    # 18.912 species in 84 of 168 spiders: the worked example of Hsieh, Ma & Chao 2016 (Methods in
    # Ecology and Evolution 7:1451). The figure is from memory; the whole numbers below agree.
    assert _number(rarefied(GIRDLED, 84)) == pytest.approx(18.912, abs=5e-4)


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
