"""Coverage, Chao1, and the bounds between which a Hill number lies."""

import math

import numpy as np
import pytest
import skbio.diversity.alpha as library
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import bootstrap

from nursery.diversity.indices import hill
from nursery.diversity.intervals import Interval, assemblage, hill_interval
from nursery.diversity.unseen import chao1, coverage, coverage_good, unseen_genets
from nursery.diversity.values import NO_RAMETS, ONE_RAMET, Value
from tests.diversity.test_indices import GIRDLED

some = st.lists(st.integers(1, 300), min_size=1, max_size=40)


def test_the_published_coverage_and_richness_of_the_girdled_community() -> None:
    # Sackett et al. 2011 as used by Chao et al. 2014; Chao1 in the classic form.
    assert coverage(GIRDLED).number == pytest.approx(0.9288554, abs=5e-8)
    assert chao1(GIRDLED).number == pytest.approx(43.893, abs=5e-4)


def test_coverage_without_genets_of_two_ramets_has_its_own_form() -> None:
    # Chao & Jost 2012: 1 − (3/10) · 9·2 / (9·2 + 2), by hand.
    assert coverage([7, 1, 1, 1]).number == pytest.approx(1 - 0.3 * 18 / 20, abs=1e-15)
    assert unseen_genets([7, 1, 1, 1]).number == pytest.approx(0.9 * 3, abs=1e-15)


@given(some)
def test_the_coverage_of_good_is_that_of_the_library(counts: list[int]) -> None:
    assert coverage_good(counts).number == pytest.approx(library.goods_coverage(counts), abs=1e-12)


@given(some.map(lambda counts: [*counts, 2]))
def test_the_unseen_are_those_of_the_library_but_for_its_factor(counts: list[int]) -> None:
    # scikit-bio leaves (N − 1) / N out where it does not correct for bias.
    total = sum(counts)
    by_library = library.chao1(counts, bias_corrected=False) - len(counts)
    expected = by_library * (total - 1) / total if counts.count(1) else 0
    assert unseen_genets(counts).number == pytest.approx(expected, rel=1e-12, abs=1e-12)


@given(some)
def test_coverage_is_a_share_and_no_genet_is_unseen_where_none_is_single(counts: list[int]) -> None:
    assert 0 <= coverage(counts).number <= 1
    if 1 not in counts:
        assert coverage(counts) == coverage_good(counts) == Value(1.0)
        assert chao1(counts).number == len(counts)


def test_nothing_shows_nothing() -> None:
    for index in (coverage_good, coverage, unseen_genets, chao1):
        assert index([0]) == Value(None, NO_RAMETS)
    assert hill_interval([], 1) == Interval(None, None, NO_RAMETS)
    assert hill_interval([1], 1) == Interval(None, None, ONE_RAMET)


@given(some.filter(lambda counts: sum(counts) > 1))
def test_the_stand_behind_a_sample_holds_its_coverage(counts: list[int]) -> None:
    stock = assemblage(counts)
    assert stock.seen.sum() + stock.missed == pytest.approx(1, abs=1e-12)
    assert (stock.seen >= 0).all()
    assert stock.hidden == math.ceil(unseen_genets(counts).number)
    if stock.hidden:
        assert stock.seen.sum() == pytest.approx(coverage(counts).number, abs=1e-9)
    else:
        assert stock.missed == 0


def test_many_ramets_that_are_all_different_need_no_large_memory() -> None:
    # Chao1 says that 200 million more genets are unseen: none of them is held.
    bounds = hill_interval([1] * 20_000, 0, samples=4)
    assert bounds.low is not None
    assert bounds.high is not None
    assert 19_900 < bounds.low <= 20_000 == bounds.high


def test_bounds_are_as_wide_as_the_librarys_where_no_genet_is_single() -> None:
    # scipy.stats.bootstrap draws the ramets themselves: with nothing unseen it is the same.
    counts = [40, 25, 20, 10, 5]
    ramets = np.repeat(np.arange(5), counts)
    for q in (1, 2):
        theirs = bootstrap(
            (ramets,),
            lambda drawn, order=q: hill(np.bincount(drawn).tolist(), order).number,
            n_resamples=2000,
            vectorized=False,
            rng=7,
        ).standard_error
        bounds = hill_interval(counts, q, samples=2000)
        assert bounds.high is not None
        half = bounds.high - hill(counts, q).number
        assert half / 1.959963984540054 == pytest.approx(theirs, rel=0.08)


@given(some.filter(lambda counts: sum(counts) > 1), st.sampled_from([0, 1, 2]))
def test_a_number_lies_in_its_bounds_and_they_between_one_and_all(
    counts: list[int], q: int
) -> None:
    bounds = hill_interval(counts, q, samples=10)
    assert bounds.low is not None
    assert bounds.high is not None
    here = hill(counts, q).number
    assert 1 <= bounds.low <= here * (1 + 1e-12)
    assert here * (1 - 1e-12) <= bounds.high <= sum(counts)


def test_one_sample_says_nothing_of_spread() -> None:
    with pytest.raises(ValueError, match="at least two samples"):
        hill_interval([2, 1], 1, samples=1)


def test_bounds_hold_the_number_and_are_the_same_each_time() -> None:
    for q in (0, 1, 2):
        bounds = hill_interval(GIRDLED, q)
        assert bounds.low is not None
        assert bounds.high is not None
        assert bounds.low < hill(GIRDLED, q).number < bounds.high
        assert hill_interval(GIRDLED, q) == bounds
    assert hill_interval(GIRDLED, 1, seed=1) != hill_interval(GIRDLED, 1)


def test_bounds_of_a_large_sample_are_those_of_the_delta_method() -> None:
    # Var H ≈ (Σ p ln² p − H²) / N for common genets (Basharin 1959, from memory), D = exp(H).
    counts = [900, 700, 500, 400, 300, 200]
    shares = np.array(counts) / sum(counts)
    entropy = -(shares * np.log(shares)).sum()
    variance = ((shares * np.log(shares) ** 2).sum() - entropy**2) / sum(counts)
    half = 1.959964 * math.exp(entropy) * math.sqrt(variance)
    bounds = hill_interval(counts, 1, samples=4000)
    assert bounds.low is not None
    assert bounds.high is not None
    assert (bounds.high - bounds.low) / 2 == pytest.approx(half, rel=0.05)


def test_bounds_hold_a_known_stand_about_as_often_as_they_say() -> None:
    shares = np.array([0.3, 0.2, 0.15, 0.1, 0.1, 0.08, 0.07])
    truth = math.exp(-(shares * np.log(shares)).sum())
    draws = np.random.default_rng(7).multinomial(200, shares, size=200)
    held = 0
    for draw in draws:
        bounds = hill_interval(draw.tolist(), 1, samples=60)
        held += bounds.low is not None and bounds.low <= truth <= (bounds.high or 0)
    assert 0.88 <= held / len(draws) <= 0.99
