"""The fold of a ramet's steps, by itself: no database."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from nursery.lineage.replay import (
    ACTS,
    CHECKED,
    SIGHTINGS,
    Change,
    State,
    StepRefused,
    advance,
)
from nursery.lineage.words import Cause, Life, Place, What

BIRTH = Change(What.BORN, life=Life.LIVING, place=Place.NOWHERE)
DAY = datetime(2021, 3, 4)  # noqa: DTZ001 - the calendar of the place

# What each kind of step says, as the actions write it.
SAID = {
    What.RECEIVED: Change(What.RECEIVED, place=Place.STRUCTURE, structure=1, row=2, column=3),
    What.PLACED: Change(What.PLACED, place=Place.STRUCTURE, structure=1, row=2, column=3),
    What.PACKED: Change(What.PACKED, place=Place.PACKED),
    What.CUT_FROM: Change(What.CUT_FROM),
    What.USED_UP: Change(What.USED_UP, life=Life.USED_UP, place=Place.NOWHERE),
    What.PLANTED: Change(What.PLANTED, place=Place.PLOT, plot=4),
    What.SEEN_ALIVE: Change(What.SEEN_ALIVE, life=Life.LIVING),
    What.SEEN_DEAD: Change(What.SEEN_DEAD, life=Life.DEAD, cause=Cause.STORM),
    What.SEEN_MISSING: Change(What.SEEN_MISSING, life=Life.LOST),
    What.LIFTED: Change(What.LIFTED, place=Place.PACKED),
    What.ENDED: Change(What.ENDED, life=Life.DISCARDED, place=Place.NOWHERE),
    What.FOUND: Change(What.FOUND, life=Life.LIVING, place=Place.NOWHERE),
    What.COUNTED_DEAD: Change(What.COUNTED_DEAD, life=Life.DEAD, cause=Cause.UNKNOWN),
    What.COUNTED_MISSING: Change(What.COUNTED_MISSING, life=Life.LOST),
    What.RELABELLED: Change(What.RELABELLED),
    What.TAGGED: Change(What.TAGGED),
    What.REBASED: Change(What.REBASED, base="plug 13 mm"),
    What.CHECKED_ALIVE: Change(What.CHECKED_ALIVE, life=Life.LIVING),
    What.CHECKED_DEAD: Change(What.CHECKED_DEAD, life=Life.DEAD, cause=Cause.STORM),
    What.CHECKED_MISSING: Change(What.CHECKED_MISSING, life=Life.LOST),
    What.SAMPLED: Change(What.SAMPLED),
}
AFTER_BIRTH = [what for what in What if what is not What.BORN]

whens = st.datetimes(datetime(2020, 1, 1), datetime(2023, 12, 31))  # noqa: DTZ001
whats = st.sampled_from(AFTER_BIRTH)
histories = st.lists(st.tuples(whats, whens), max_size=12)


def born(place: Place = Place.NOWHERE, when: datetime = DAY) -> State:
    birth = replace(BIRTH, place=place, plot=4 if place is Place.PLOT else None)
    if place is Place.STRUCTURE:
        birth = replace(birth, structure=1, row=2, column=3)
    return advance(State(), birth, when)


def code_of(state: State, change: Change, when: datetime = DAY) -> str:
    with pytest.raises(StepRefused) as caught:
        advance(state, change, when)
    return caught.value.code


def taken(history: list[tuple[What, datetime]]) -> tuple[State, list[tuple[Change, datetime]]]:
    """The state after a birth and as much of the history as can follow, with what was taken."""
    steps = [(BIRTH, history[0][1] if history else DAY)]
    state = advance(State(), *steps[0])
    for what, when in history:
        try:
            state = advance(state, SAID[what], when)
        except StepRefused:
            continue
        steps.append((SAID[what], when))
    return state, steps


def test_nothing_is_a_ramet_before_its_birth() -> None:
    assert State().life is None
    assert {code_of(State(), SAID[what]) for what in AFTER_BIRTH} == {"before_birth"}


def test_a_ramet_is_born_once() -> None:
    assert code_of(born(), BIRTH) == "born_twice"


@pytest.mark.parametrize("life", [life for life in Life if life is not Life.LIVING])
def test_nobody_does_anything_to_what_does_not_live(life: Life) -> None:
    for place in Place:
        ended = replace(born(place), life=life)
        assert {code_of(ended, SAID[what]) for what in ACTS} == {"not_living"}


@pytest.mark.parametrize("life", [life for life in Life if life is not Life.IDENTIFIED])
def test_what_was_seen_is_always_taken_and_decides(life: Life) -> None:
    for place in Place:
        for what in (What.SEEN_ALIVE, What.SEEN_DEAD, What.SEEN_MISSING):
            before = replace(born(place), life=life)
            after = advance(before, SAID[what], DAY)
            assert (after.life, after.cause) == (SAID[what].life, SAID[what].cause)
            assert (after.place, after.structure, after.plot) == (
                before.place,
                before.structure,
                before.plot,
            )


@pytest.mark.parametrize("what", sorted(CHECKED))
def test_what_is_on_the_reef_is_not_checked(what: What) -> None:
    for life in (Life.LIVING, Life.DEAD, Life.LOST):
        assert code_of(replace(born(Place.PLOT), life=life), SAID[what]) == "on_the_reef"


@pytest.mark.parametrize("what", sorted(CHECKED))
def test_what_was_found_by_a_check_is_taken_and_decides_wherever_else_it_is(what: What) -> None:
    for life in set(Life) - {Life.IDENTIFIED}:
        for place in set(Place) - {Place.PLOT}:
            before = replace(born(place), life=life)
            after = advance(before, SAID[what], DAY)
            assert (after.life, after.cause) == (SAID[what].life, SAID[what].cause)
            assert (after.place, after.structure, after.row) == (
                before.place,
                before.structure,
                before.row,
            )


def test_what_is_planted_is_not_planted_again_before_it_is_lifted() -> None:
    planted = born(Place.PLOT)
    assert code_of(planted, SAID[What.PLANTED]) == "already_planted"
    lifted = advance(planted, SAID[What.LIFTED], DAY)
    assert (lifted.place, lifted.plot) == (Place.PACKED, None)
    assert advance(lifted, SAID[What.PLANTED], DAY).plot == 4


@pytest.mark.parametrize("what", [What.PLACED, What.PACKED])
def test_what_is_planted_is_neither_placed_nor_packed(what: What) -> None:
    assert code_of(born(Place.PLOT), SAID[what]) == "still_planted"


@pytest.mark.parametrize("place", [Place.NOWHERE, Place.STRUCTURE, Place.PACKED])
def test_only_what_is_planted_is_lifted(place: Place) -> None:
    assert code_of(born(place), SAID[What.LIFTED]) == "not_planted"


@pytest.mark.parametrize("place", [Place.NOWHERE, Place.STRUCTURE, Place.PLOT])
def test_only_what_is_packed_is_received(place: Place) -> None:
    assert code_of(born(place), SAID[What.RECEIVED]) == "not_packed"


def test_a_living_outplant_is_cut() -> None:
    assert advance(born(Place.PLOT), SAID[What.CUT_FROM], DAY).place is Place.PLOT


def test_a_place_replaces_the_place_before_it_altogether() -> None:
    in_cell = born(Place.STRUCTURE)
    open_tray = Change(What.PLACED, place=Place.STRUCTURE, structure=9)
    after = advance(in_cell, open_tray, DAY)
    assert (after.structure, after.row, after.column, after.plot) == (9, None, None, None)


def test_a_step_that_says_nothing_of_place_or_life_leaves_both() -> None:
    before = born(Place.STRUCTURE)
    after = advance(before, SAID[What.CUT_FROM], DAY)
    assert replace(after, steps=before.steps, moment=before.moment) == before


def test_what_is_lost_or_counted_with_a_structure_has_to_be_in_it() -> None:
    inside = born(Place.STRUCTURE)
    lost = Change(What.ENDED, life=Life.LOST, place=Place.STRUCTURE, structure=1)
    assert code_of(inside, replace(lost, structure=9)) == "not_there"
    after = advance(inside, lost, DAY)
    assert (after.life, after.structure, after.row, after.column) == (Life.LOST, 1, 2, 3)


@pytest.mark.parametrize("what", sorted(SIGHTINGS))
def test_a_piece_that_is_another_ramet_does_not_live_a_second_time(what: What) -> None:
    identified = replace(born(), life=Life.IDENTIFIED)
    assert advance(identified, SAID[what], DAY).life is Life.IDENTIFIED


def test_a_base_that_was_given_stays_until_another_is_given() -> None:
    rebased = advance(born(), SAID[What.REBASED], DAY)
    assert advance(rebased, SAID[What.PLACED], DAY).base == "plug 13 mm"


def test_who_lives_again_has_no_cause_of_death() -> None:
    dead = advance(born(), SAID[What.SEEN_DEAD], DAY)
    assert (dead.life, dead.cause) == (Life.DEAD, Cause.STORM)
    assert advance(dead, SAID[What.SEEN_ALIVE], DAY).cause is None


@given(histories)
def test_steps_are_counted_one_by_one(history: list[tuple[What, datetime]]) -> None:
    state, steps = taken(history)
    assert state.steps == len(steps)


@given(histories)
def test_place_values_always_belong_together(history: list[tuple[What, datetime]]) -> None:
    state, _ = taken(history)
    assert (state.structure is not None) == (state.place is Place.STRUCTURE)
    assert (state.plot is not None) == (state.place is Place.PLOT)
    assert (state.row is None) == (state.column is None)
    if state.row is not None:
        assert state.place is Place.STRUCTURE
    assert state.cause is None or state.life is Life.DEAD


@given(histories)
def test_only_the_last_look_or_act_decides_who_lives(history: list[tuple[What, datetime]]) -> None:
    state, steps = taken(history)
    said = [change.life for change, _ in steps if change.life is not None]
    assert state.life is said[-1]
