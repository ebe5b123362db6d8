"""The header of an event: what is kept of it, and when it is the same entry again."""

from __future__ import annotations

import uuid
from typing import Any

import pytest
from django.db import transaction

from nursery.core.actor import Actor
from nursery.core.errors import Conflict
from nursery.core.inputs import EventIn, digest_of, read
from nursery.core.models import Event, EventKind
from nursery.core.recording import Recorded, begin
from tests import factories as f

UID = "5d2f3c1e-0f0e-4b7a-8a55-0b8a53a8f1aa"


def header(**values: Any) -> EventIn:
    return read(EventIn, {"when": "2021-03-04", **values})


def begun(actor: Actor, given: EventIn, kind: EventKind = EventKind.MOVE) -> Recorded:
    with transaction.atomic():
        return begin(actor, kind, given)


@pytest.fixture
def lead(db: None) -> Actor:
    return f.lead()


def test_a_header_keeps_what_was_said(lead: Actor) -> None:
    given = header(uid=UID, when="2021-03-04T10:30", done_by=["Ana Reef", "Ben Tide"], note="calm")
    recorded = begun(lead, given)
    event = Event.objects.get()
    assert recorded == Recorded(event, fresh=True)
    assert (str(event.uid), event.kind_word, str(event.when)) == (UID, "move", "2021-03-04T10:30")
    assert (event.people, event.note, event.recorded_by_id, event.live) == (
        ["Ana Reef", "Ben Tide"],
        "calm",
        lead.user_id,
        True,
    )
    assert event.digest == digest_of("MOVE", given)


@pytest.mark.parametrize(
    "when", ["2021", "2021-03", "2021-03-04", "2021-03-04T10:30", "2021-03-04/2021-03-09"]
)
def test_a_date_comes_back_as_exact_as_it_went_in(lead: Actor, when: str) -> None:
    begun(lead, header(when=when))
    assert str(Event.objects.get().when) == when


def test_a_name_with_a_semicolon_stays_one_name(lead: Actor) -> None:
    begun(lead, header(done_by=["Reef; Ana", "Ben Tide"]))
    assert Event.objects.get().people == ["Reef, Ana", "Ben Tide"]


def test_all_names_that_may_be_given_are_kept(lead: Actor) -> None:
    names = [f"{n:02d}" + "x" * 21 for n in range(20)]
    begun(lead, header(done_by=names))
    assert Event.objects.get().people == names


def test_an_event_without_a_uid_is_given_one(lead: Actor) -> None:
    first, second = (begun(lead, header()).event for _ in range(2))
    assert first.uid != second.uid
    assert isinstance(first.uid, uuid.UUID)


def test_the_same_entry_again_is_the_same_event(lead: Actor) -> None:
    first = begun(lead, header(uid=UID))
    second = begun(lead, header(uid=UID))
    assert second == Recorded(first.event, fresh=False)
    assert Event.objects.count() == 1


@pytest.mark.parametrize(
    ("kind", "values"),
    [
        (EventKind.VISIT, {}),
        (EventKind.MOVE, {"note": "other"}),
        (EventKind.MOVE, {"when": "2021-03-05"}),
        (EventKind.MOVE, {"done_by": ["Ana"]}),
        (EventKind.MOVE, {"permits": ["P"]}),
    ],
)
def test_another_entry_under_the_uid_is_a_conflict(
    lead: Actor, kind: EventKind, values: dict[str, Any]
) -> None:
    begun(lead, header(uid=UID))
    with pytest.raises(Conflict) as caught:
        begun(lead, header(uid=UID, **values), kind)
    assert caught.value.code == "uid_taken"
    assert Event.objects.count() == 1


def test_the_same_entry_by_somebody_else_is_a_conflict(lead: Actor) -> None:
    begun(lead, header(uid=UID))
    with pytest.raises(Conflict):
        begun(f.lead(), header(uid=UID))


@pytest.mark.django_db(transaction=True)
def test_an_event_is_begun_in_a_transaction_only() -> None:
    nobody = Actor(0, "nobody", frozenset())
    with pytest.raises(RuntimeError):
        begin(nobody, EventKind.MOVE, header())
