"""What alleles tell: against published formulas, enumeration, and a library of diversity."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from nursery.diversity.indices import rarefied
from nursery.genotyping.alleles import (
    accumulation,
    allele_counts,
    carried,
    expected_heterozygosity,
    identity,
    over_loci,
    rarefied_alleles,
    share_present,
    sibling_identity,
)
from tests.genotyping.invented import calls_of, random_calls

COUNTS = st.lists(st.integers(0, 9), min_size=1, max_size=5).filter(any)


def counts(*rows: Sequence[int]) -> NDArray[np.int64]:
    return np.array(rows, dtype=np.int64)


def drawn_twice(p: Sequence[float]) -> float:
    """PI by enumeration: two individuals, each with two alleles drawn at random."""
    chance: dict[tuple[int, ...], float] = {}
    for pair in itertools.product(range(len(p)), repeat=2):
        key = tuple(sorted(pair))
        chance[key] = chance.get(key, 0) + math.prod(p[allele] for allele in pair)
    return sum(value**2 for value in chance.values())


def born_twice(p: Sequence[float]) -> float:
    """PIsibs by enumeration: two parents drawn at random, two children of them."""
    total = 0.0
    alleles = range(len(p))
    for parents in itertools.product(alleles, repeat=4):
        weight = math.prod(p[allele] for allele in parents)
        children = [
            tuple(sorted((one, other)))
            for one, other in itertools.product(parents[:2], parents[2:])
        ]
        total += weight * sum(a == b for a in children for b in children) / 16
    return total


def test_alleles_are_counted_at_each_locus() -> None:
    calls = calls_of([[(1, 2), None], [(1, 1), (5, 2)]])
    assert allele_counts(calls).tolist() == [[3, 1, 0], [0, 1, 1]]


def test_two_and_four_equal_alleles_have_the_published_identities() -> None:
    """Waits, Luikart & Taberlet 2001, Mol Ecol 10:249; the values by enumeration."""
    found = counts([5, 5, 0, 0], [3, 3, 3, 3])
    assert identity(found) == pytest.approx([0.375, 0.109375])
    assert sibling_identity(found) == pytest.approx([0.59375, 0.40234375])


@given(COUNTS)
def test_identities_are_those_of_enumerated_individuals(row: list[int]) -> None:
    p = [n / sum(row) for n in row]
    assert identity(counts(row))[0] == pytest.approx(drawn_twice(p))
    assert sibling_identity(counts(row))[0] == pytest.approx(born_twice(p))


def test_nothing_is_defined_where_nothing_was_typed() -> None:
    found = allele_counts(calls_of([[None, None], [None, None]]))
    assert found.sum() == 0
    for measure in (identity, sibling_identity, expected_heterozygosity):
        assert np.isnan(measure(found)).all()
    assert over_loci(identity(found)) is None


def test_identities_are_multiplied_over_the_typed_loci() -> None:
    found = over_loci(identity(counts([5, 5], [0, 0], [5, 5])))
    assert found is not None
    assert found.value == pytest.approx(0.375**2)
    assert over_loci(identity(counts([0, 0]))) is None


def test_the_identity_of_very_many_loci_keeps_its_power_of_ten() -> None:
    found = over_loci(np.full(2000, 0.375))
    assert found is not None
    assert found.log10 == pytest.approx(2000 * math.log10(0.375))
    assert found.value == 0


def test_expected_heterozygosity_is_that_of_nei_1978() -> None:
    """Nei 1978, Genetics 89:583; digits as scikit-allel's mean_pairwise_difference gives them."""
    found = expected_heterozygosity(counts([6, 4], [3, 7], [10, 0]))
    assert found == pytest.approx([0.533333, 0.466667, 0], abs=1e-6)


@given(COUNTS)
def test_expected_heterozygosity_is_that_of_two_drawn_copies(row: list[int]) -> None:
    copies = [allele for allele, n in enumerate(row) for _ in range(n)]
    pairs = list(itertools.combinations(copies, 2))
    found = expected_heterozygosity(counts(row))[0]
    if pairs:
        assert found == pytest.approx(sum(a != b for a, b in pairs) / len(pairs))
    else:
        assert np.isnan(found)


@given(st.lists(st.integers(0, 4), min_size=1, max_size=4).filter(any), st.data())
def test_allelic_richness_is_that_of_all_draws(row: list[int], data: st.DataObject) -> None:
    size = data.draw(st.integers(1, min(sum(row), 5)))
    copies = [allele for allele, n in enumerate(row) for _ in range(n)]
    draws = [len(set(draw)) for draw in itertools.combinations(copies, size)]
    assert rarefied_alleles(counts(row), size)[0] == pytest.approx(sum(draws) / len(draws))


@given(st.lists(st.integers(1, 300), min_size=1, max_size=8), st.data())
def test_allelic_richness_is_the_rarefaction_that_genets_have(
    row: list[int], data: st.DataObject
) -> None:
    size = data.draw(st.integers(1, sum(row)))
    assert rarefied_alleles(counts(row), size)[0] == pytest.approx(rarefied(row, size).value)


def test_allelic_richness_of_more_copies_than_there_are_is_not_defined() -> None:
    found = rarefied_alleles(counts([3, 1], [3, 2]), 5)
    assert np.isnan(found[0])
    assert found[1] == pytest.approx(2)
    with pytest.raises(ValueError, match="at least one"):
        rarefied_alleles(counts([1]), 0)


def test_the_share_of_the_donors_alleles_at_a_site() -> None:
    calls = calls_of([[(1, 2)], [(3, 4)], [(1, 1)], [(4, 9)], [None]])
    carrying = carried(calls)
    assert share_present(carrying, [0, 1], [2, 3]) == pytest.approx(2 / 4)
    assert share_present(carrying, [0, 1], []) == 0
    assert share_present(carrying, [4], [0]) is None


def test_accumulation_comes_near_its_expectation() -> None:
    """Hurlbert 1971, Ecology 52:577: the mean over all orders, by whole numbers."""
    carrying = carried(random_calls(12, 9, 6, seed=3))
    carriers = carrying.sum(axis=0).tolist()
    right = [
        sum(1 - math.comb(12 - c, k) / math.comb(12, k) for c in carriers) / len(carriers)
        for k in range(1, 13)
    ]
    found = accumulation(carrying, orders=4000, seed=5)
    assert found is not None
    assert found.mean == pytest.approx(right, abs=0.01)
    assert found.mean[-1] == 1
    assert (found.low <= found.mean).all()
    assert (found.mean <= found.high).all()


def test_accumulation_is_the_same_for_the_same_seed() -> None:
    carrying = carried(random_calls(8, 5, 4))
    one, again = accumulation(carrying), accumulation(carrying)
    assert one is not None
    assert again is not None
    assert one.mean.tolist() == again.mean.tolist()


def test_how_many_individuals_hold_a_share_of_the_alleles() -> None:
    """Four that share nothing: each holds a quarter, in every order."""
    found = accumulation(np.eye(4, dtype=np.bool_))
    assert found is not None
    assert found.mean == pytest.approx([0.25, 0.5, 0.75, 1])
    assert [found.needed(share) for share in (0.5, 0.8, 0.9)] == [2, 4, 4]


def test_nothing_accumulates_without_alleles() -> None:
    assert accumulation(np.zeros((3, 0), dtype=np.bool_)) is None
