"""Whatever order things are entered in, and whatever is taken back: the record is the same.

Every programme is reckoned beside it with plain dictionaries and networkx (tests/simulated.py).
"""

from __future__ import annotations

import random
import uuid
from collections.abc import Iterator
from contextlib import contextmanager

import pytest
from django.db import transaction
from hypothesis import Phase, given, settings
from hypothesis import strategies as st

from nursery.core.errors import Refused
from nursery.core.models import Event
from nursery.outplanting.actions.correct import amend, restore, undo_amendment, void
from nursery.outplanting.corrections import AmendIn, RestoreIn, VoidIn
from tests import factories as f
from tests.simulated import Doing, Stage, Writer, enter, enter_all, on_record, reckoned, stage
from tests.standing import live_rows
from tests.verified import nothing_wrong

pytestmark = pytest.mark.django_db

seeds = st.integers(0, 2**32 - 1)
lengths = st.integers(4, 16)
few = settings(max_examples=8, phases=[Phase.explicit, Phase.reuse, Phase.generate])


@pytest.fixture(scope="module")
def here(standing: f.Programme) -> Stage:
    return stage(standing)


@contextmanager
def entered(here: Stage, seed: int, length: int) -> Iterator[list[Doing]]:
    """Doings that were entered in the order of their days; nothing of them is kept."""
    with transaction.atomic():
        doings = Writer(here, seed).write(length)
        for doing in doings:
            enter(here, doing)
        yield doings
        transaction.set_rollback(True)


@given(seed=seeds, length=lengths)
@few
def test_things_entered_in_the_order_of_their_days_are_as_reckoned(
    here: Stage, seed: int, length: int
) -> None:
    with entered(here, seed, length) as doings:
        assert on_record() == reckoned(here, doings)
        nothing_wrong()


@given(seed=seeds, length=lengths)
@few
def test_things_entered_in_any_order_are_as_in_the_order_of_their_days(
    here: Stage, seed: int, length: int
) -> None:
    with transaction.atomic():
        doings = Writer(here, seed).write(length)
        mixed = random.Random(seed).sample(doings, len(doings))
        taken = enter_all(here, mixed)
        assert on_record() == reckoned(here, taken)
        nothing_wrong()
        transaction.set_rollback(True)


@given(seed=seeds, length=lengths)
@few
def test_without_cells_and_lifts_everything_possible_is_taken_in_any_order(
    here: Stage, seed: int, length: int
) -> None:
    """With them two may have to be entered together: a cell that was used again, or a planting and
    a lift before what was done since."""
    with transaction.atomic():
        doings = Writer(here, seed, simple=True).write(length)
        taken = enter_all(here, random.Random(seed).sample(doings, len(doings)))
        assert taken == doings
        transaction.set_rollback(True)


@given(seed=seeds, length=lengths)
@few
def test_voiding_everything_leaves_what_was_there_before(
    here: Stage, seed: int, length: int
) -> None:
    with transaction.atomic():
        before, rows = on_record(), live_rows()
        doings = Writer(here, seed).write(length)
        events = [enter(here, doing).uid for doing in doings]
        rng = random.Random(seed)
        while events:
            uid = rng.choice(events)
            outcome = void(
                here.programme.lead, VoidIn(event=uid, reason="never was", together=True)
            )
            gone = {uuid.UUID(row.event) for row in outcome.events}
            events = [each for each in events if each not in gone]
            left = [d for d in doings if d.uid in events]
            assert on_record() == {**before, **reckoned(here, left)}
        assert live_rows() == rows
        nothing_wrong()
        transaction.set_rollback(True)


@given(seed=seeds, length=lengths)
@few
def test_voiding_and_restoring_changes_nothing(here: Stage, seed: int, length: int) -> None:
    with entered(here, seed, length) as doings:
        before = on_record()
        uid = random.Random(seed).choice(doings).uid
        outcome = void(here.programme.lead, VoidIn(event=uid, reason="a slip", together=True))
        nothing_wrong()
        for row in reversed(outcome.events):
            given_back = RestoreIn(event=uuid.UUID(row.event), reason="it was after all")
            restore(here.programme.lead, given_back)
        assert on_record() == before
        nothing_wrong()


@given(seed=seeds, length=lengths)
@few
def test_a_preview_says_what_a_void_does_and_changes_nothing(
    here: Stage, seed: int, length: int
) -> None:
    with entered(here, seed, length) as doings:
        before = on_record()
        given = VoidIn(event=doings[0].uid, reason="a slip", together=True)
        told = void(here.programme.lead, given, preview=True)
        assert on_record() == before
        assert Event.objects.filter(live=False).count() == 0
        assert void(here.programme.lead, given) == told


@given(seed=seeds, length=lengths, shift=st.integers(-6, 6))
@few
def test_an_amended_day_is_as_if_it_had_been_entered_so(
    here: Stage, seed: int, length: int, shift: int
) -> None:
    """Amended, or refused exactly where entering it so in the end is refused."""
    with entered(here, seed, length) as doings:
        chosen = random.Random(seed).choice(doings)
        moved = chosen.moved(shift + 0.5)
        given = AmendIn(event=chosen.uid, reason="the slate says so", when=moved.when)
        try:
            amend(here.programme.lead, given)
        except Refused:
            assert on_record() == reckoned(here, doings)
        else:
            changed = [moved if doing is chosen else doing for doing in doings]
            assert on_record() == reckoned(here, changed)
        nothing_wrong()


@given(seed=seeds, length=lengths, shift=st.integers(-6, 6))
@few
def test_an_amendment_is_undone_exactly(here: Stage, seed: int, length: int, shift: int) -> None:
    with entered(here, seed, length) as doings:
        before = on_record()
        chosen = random.Random(seed).choice(doings)
        given = AmendIn(
            event=chosen.uid, reason="the slate says so", when=chosen.moved(shift + 0.5).when
        )
        try:
            amend(here.programme.lead, given)
        except Refused:
            assert on_record() == before
        else:
            undo_amendment(here.programme.lead, chosen.uid, "the slate was wrong")
            assert on_record() == before
        nothing_wrong()
