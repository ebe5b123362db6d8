"""From which plates plugs are taken: as few as can be, against trying every choice."""

from __future__ import annotations

import itertools
from random import Random

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from nursery.diversity.allocation.asked import Asked, Limits, Lot, Plot, Site
from nursery.diversity.allocation.plan import Plan, allocate
from nursery.diversity.allocation.plates import fewest, taken


def _least(held: np.ndarray, wanted: np.ndarray) -> int:
    """The fewest plates that hold what is wanted, by trying all choices."""
    for count in range(held.shape[1] + 1):
        for chosen in itertools.combinations(range(held.shape[1]), count):
            if np.all(held[:, list(chosen)].sum(axis=1) >= wanted):
                return count
    raise AssertionError("There are not enough.")


@st.composite
def plates(draw: st.DrawFn) -> tuple[np.ndarray, np.ndarray]:
    genets, count = draw(st.integers(1, 4)), draw(st.integers(1, 6))
    held = np.array(
        draw(
            st.lists(
                st.lists(st.integers(0, 5), min_size=count, max_size=count),
                min_size=genets,
                max_size=genets,
            )
        )
    )
    wanted = np.array([draw(st.integers(0, int(row.sum()))) for row in held])
    return held, wanted


@settings(max_examples=100, deadline=None)
@given(plates())
def test_no_choice_of_plates_is_smaller(case: tuple[np.ndarray, np.ndarray]) -> None:
    held, wanted = case
    found = fewest(held, wanted, 10)
    assert np.all(held[:, found.plates].sum(axis=1) >= wanted)
    assert found.count == found.bound == _least(held, wanted)


@settings(max_examples=100, deadline=None)
@given(plates(), st.integers(1, 4), st.randoms(use_true_random=False))
def test_portions_add_up_and_are_few(
    case: tuple[np.ndarray, np.ndarray], plots: int, random: Random
) -> None:
    held, wanted = case
    lots = {
        (f"g{genet}", f"p{plate}"): int(held[genet, plate])
        for genet, plate in np.ndindex(held.shape)
    }
    wishes: dict[tuple[str, str], int] = {}
    for genet, plugs in enumerate(wanted.tolist()):
        for _ in range(plugs):
            key = (f"q{random.randrange(plots)}", f"g{genet}")
            wishes[key] = wishes.get(key, 0) + 1
    portions = taken(lots, wishes)
    for (plot, genet), plugs in wishes.items():
        assert sum(n for key, n in portions.items() if key[:2] == (plot, genet)) == plugs
    for (genet, plate), plugs in lots.items():
        assert sum(n for key, n in portions.items() if key[1:] == (genet, plate)) <= plugs
    for genet in {genet for _, genet in wishes}:
        used = [key for key in portions if key[1] == genet]
        ends = {key[0] for key in used}, {key[2] for key in used}
        assert len(used) <= len(ends[0]) + len(ends[1]) - 1


def test_more_than_there_is_cannot_be_taken() -> None:
    with pytest.raises(ValueError, match="More of a"):
        taken({("a", "x"): 2}, {("S1", "a"): 3})


def _hills(plan: Plan) -> float:
    return 1 / plan.unevenness


# Twelve genets with two plugs each: one of each is the most even, and where they lie decides how
# many plates that takes.
SCATTERED = [Lot(f"g{at}", plate, 1) for at in range(12) for plate in (f"own {at}", "all")]


def test_of_plans_that_are_as_even_the_one_from_the_fewest_plates_is_found() -> None:
    asked = Asked(SCATTERED, [Site("S", [Plot("S1", 12)])])
    plan = allocate(asked, tolerance=0.0)
    assert (plan.plates, plan.plates_bound, plan.weighed) == (("all",), 1, True)
    assert _hills(plan) == pytest.approx(12)


def test_numbers_that_may_be_chosen_freely_are_chosen_for_the_plates() -> None:
    # Any ten of twenty genets are as even; ten of them lie on one plate.
    lots = [Lot(f"a{at}", f"own {at}", 3) for at in range(10)]
    lots += [Lot(f"b{at}", "all", 3) for at in range(10)]
    asked = Asked(lots, [Site("S", [Plot("S1", 10)])])
    plan = allocate(asked, tolerance=0.0)
    assert plan.plates == ("all",)
    assert plan.unevenness == pytest.approx(0.1)


def test_fewer_plates_have_a_price_in_evenness_that_is_told() -> None:
    # Four even genets on four plates; one plate alone holds two genets.
    lots = [Lot("a", "both", 8), Lot("b", "both", 8), Lot("c", "third", 8), Lot("d", "fourth", 8)]
    asked = Asked(lots, [Site("S", [Plot("S1", 8)])])
    even = allocate(asked, tolerance=0.0)
    assert (len(even.plates), even.unevenness, even.evenest) == (3, 0.25, 0.25)
    some = allocate(asked, tolerance=0.4)
    # Three genets on two plates: 3, 3 and 2 of eight.
    assert len(some.plates) == some.plates_bound == 2
    assert some.unevenness == pytest.approx((9 + 9 + 4) / 64)
    assert (some.evenest, some.bound) == (0.25, 0.25)
    assert some.gap == pytest.approx(1 - 0.25 / (22 / 64))
    few = allocate(asked, tolerance=1.0)
    assert (few.plates, few.unevenness) == (("both",), 0.5)


def test_rules_hold_whatever_the_plates() -> None:
    lots = [Lot("a", "both", 8), Lot("b", "both", 8), Lot("c", "third", 8), Lot("d", "fourth", 8)]
    asked = Asked(lots, [Site("S", [Plot("S1", 8)], limits=Limits(fewest_genets=3))])
    plan = allocate(asked, tolerance=5.0)
    assert plan.breaches == ()
    assert len(plan.plates) == 2
