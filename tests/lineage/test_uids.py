"""The same entry sent twice: the uid, the input and the person tell it from another one."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any
from uuid import UUID

import pytest

from nursery.core.actor import Actor
from nursery.core.errors import Conflict
from nursery.core.inputs import read
from nursery.core.models import Event
from nursery.core.recording import Recorded
from nursery.lineage import actions, inputs
from nursery.outplanting import actions as reef_actions
from nursery.outplanting.inputs import OutplantingIn, VisitIn
from tests import factories as f
from tests.refusals import everything_stored, refused

UID = "0b5e2a52-6a08-4c7d-9f57-6f2b1d1f9b11"
Entry = tuple[Callable[[Actor, Any], Recorded], Any, dict[str, Any]]

KINDS = [
    "collection",
    "intake",
    "fragmentation",
    "move",
    "structure_move",
    "stock_entry",
    "outplanting",
    "visit",
]


def entry(programme: f.Programme, kind: str) -> Entry:
    """An entry of this kind: the action, its input model, and a body with the uid."""
    body: dict[str, Any] = {"uid": UID, "when": f.SEEN, "note": "once"}
    match kind:
        case "collection":
            body |= {"colony": programme.colony.code, "count": 2}
            return actions.collect, inputs.CollectionIn, body
        case "intake":
            taken = f.collection(programme.lead, programme.colony)
            body |= {"collection": str(taken.event.uid), "nursery": programme.nursery.code}
            body |= {"pieces": [{"ramet": "1"}], "structure": programme.tray.code}
            return actions.take_in, inputs.IntakeIn, body
        case "fragmentation":
            body |= {"sources": [{"ramet": programme.mother().code, "used_up": True}], "count": 2}
            return actions.cut, inputs.FragmentationIn, body
        case "move":
            body |= {"ramets": [{"ramet": programme.mother().code}], "packed": True}
            return actions.move, inputs.MoveIn, body
        case "structure_move":
            standing = {"structure": programme.tray.code, "plot": programme.plot.code}
            body |= {"structures": [standing]}
            return actions.move_structures, inputs.StructureMoveIn, body
        case "stock_entry":
            body |= {"nursery": programme.nursery.code, "ramets": [{"taxon": programme.taxon.code}]}
            return actions.enter_stock, inputs.StockEntryIn, body
        case "outplanting":
            child = f.cut(programme.lead, [programme.mother()])[0]
            body |= {"plot": programme.plot.code, "outplants": [{"ramet": child.code}]}
            return reef_actions.plant, OutplantingIn, body
        case "visit":
            seen = {"ramet": programme.outplants()[0].code, "condition": "alive"}
            body |= {"site": programme.site.code, "observations": [seen]}
            return reef_actions.visit, VisitIn, body
    raise ValueError(kind)


@pytest.mark.parametrize("kind", KINDS)
def test_the_same_entry_again_is_answered_and_not_written(
    programme: f.Programme, kind: str
) -> None:
    act, model, body = entry(programme, kind)
    first = act(programme.lead, read(model, body))
    stored = everything_stored()
    second = act(programme.lead, read(model, body))
    assert (first.fresh, second.fresh) == (True, False)
    assert second.event == first.event
    assert second.event.kind_word == kind
    assert everything_stored() == stored


@pytest.mark.parametrize("kind", KINDS)
def test_another_entry_under_the_same_uid_is_a_conflict(programme: f.Programme, kind: str) -> None:
    act, model, body = entry(programme, kind)
    act(programme.lead, read(model, body))
    with refused("uid_taken", by=Conflict, pointer="#/uid"):
        act(programme.lead, read(model, {**body, "note": "twice"}))


@pytest.mark.parametrize("kind", KINDS)
def test_the_same_entry_by_another_person_is_a_conflict(programme: f.Programme, kind: str) -> None:
    act, model, body = entry(programme, kind)
    act(programme.lead, read(model, body))
    other = f.lead()
    with refused("uid_taken", by=Conflict):
        act(other, read(model, body))


@pytest.mark.parametrize("kind", KINDS)
def test_the_uid_of_a_refused_entry_may_be_used_again(programme: f.Programme, kind: str) -> None:
    act, model, body = entry(programme, kind)
    with refused("unknown_permit", pointer="#/permits/0"):
        act(programme.lead, read(model, {**body, "permits": ["NONE"]}))
    assert act(programme.lead, read(model, body)).fresh


def test_a_conflict_reveals_nothing_of_the_other_entry(programme: f.Programme) -> None:
    other = f.field()
    f.collection(other, programme.colony, uid=UID, note="the secret place", done_by=["Ana Reef"])
    with refused("uid_taken", by=Conflict) as caught:
        f.collection(programme.lead, programme.colony, uid=UID)
    text = str(caught.value)
    for hidden in ("secret", "Ana", other.name, programme.colony.code, f.COLLECTED, "2021"):
        assert hidden not in text


def test_one_uid_serves_no_two_kinds(programme: f.Programme) -> None:
    mother = programme.mother()
    f.move(programme.lead, [{"ramet": mother.code}], packed=True, uid=UID)
    with refused("uid_taken", by=Conflict):
        f.cut(programme.lead, [mother], uid=UID)


def test_a_retry_after_the_world_has_changed_is_still_the_same_entry(
    programme: f.Programme,
) -> None:
    mother = programme.mother()
    children = f.cut(programme.lead, [], 2, used_up=[mother], uid=UID)
    again = f.cut(programme.lead, [], 2, used_up=[mother], uid=UID)
    assert [child.pk for child in again] == [child.pk for child in children]


def test_another_spelling_of_the_same_date_is_the_same_entry(programme: f.Programme) -> None:
    mother = programme.mother()
    f.cut(programme.lead, [mother], when="2021-03", uid=UID)
    stored = everything_stored()
    f.cut(programme.lead, [mother], when=" 2021-03-01/2021-03-31", uid=UID.upper())
    f.cut(programme.lead, [mother], when="2021-03", uid=UID, done_by=[], permits=[])
    assert everything_stored() == stored


def test_an_entry_without_a_uid_is_given_one(programme: f.Programme) -> None:
    mother = programme.mother()
    first, second = (f.cut(programme.lead, [mother])[0] for _ in range(2))
    assert first.born.uid != second.born.uid
    assert all(isinstance(uid, UUID) for uid in Event.objects.values_list("uid", flat=True))


def test_the_events_of_others_cannot_be_found_out_by_guessing(programme: f.Programme) -> None:
    f.collection(programme.lead, programme.colony, uid=UID)
    field = f.field()
    with refused("uid_taken", by=Conflict) as same:
        f.collection(field, programme.colony, uid=UID)
    with refused("uid_taken", by=Conflict) as different:
        f.collection(field, programme.colony, uid=UID, note="no")
    assert str(same.value) == str(different.value)
