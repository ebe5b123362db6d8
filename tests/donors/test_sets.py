"""Donor sets: equal sets of colonies are one row."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from nursery.donors.models import DonorSet
from nursery.donors.sets import LONGEST_KEY, donor_set, key_of, union
from tests import factories as f

ids = st.lists(st.integers(1, 10**12), min_size=1, max_size=80)


@given(ids, st.randoms())
def test_a_key_does_not_depend_on_order_or_repetition(
    colonies: list[int], random: st.DataObject
) -> None:
    mixed = colonies + colonies[:3]
    random.shuffle(mixed)  # type: ignore[attr-defined]
    assert key_of(mixed) == key_of(colonies)


@given(ids, ids)
def test_different_sets_have_different_keys(one: list[int], two: list[int]) -> None:
    assert (key_of(one) == key_of(two)) == (set(one) == set(two))


@given(st.lists(st.integers(1, 10**12), min_size=1, max_size=300))
def test_a_key_fits_an_index(colonies: list[int]) -> None:
    assert len(key_of(colonies)) <= LONGEST_KEY


@pytest.fixture
def colonies(programme: f.Programme) -> list[int]:
    rows = [f.colony(programme.lead, programme.taxon, programme.reef) for _ in range(3)]
    return [row.pk for row in rows]


def members(row: DonorSet | None) -> set[int]:
    return set(row.colonies.values_list("pk", flat=True)) if row else set()


def test_equal_sets_are_one_row(colonies: list[int]) -> None:
    first = donor_set(colonies)
    assert donor_set([*colonies[::-1], colonies[0]]) == first
    assert members(first) == set(colonies)


def test_no_colony_is_no_set(programme: f.Programme) -> None:
    assert donor_set([]) is None
    assert union([]) is None
    assert DonorSet.objects.count() == 0


def test_a_union_holds_the_colonies_of_all(colonies: list[int]) -> None:
    one, two = donor_set(colonies[:2]), donor_set(colonies[1:])
    assert one is not None
    assert two is not None
    assert members(union([one.pk, two.pk])) == set(colonies)
    assert union([one.pk, one.pk]) == one
