"""Checks that are voided, restored and amended, and what they disagree with."""

from __future__ import annotations

from datetime import date

import pytest

from nursery.core.inputs import read
from nursery.core.models import Event
from nursery.husbandry.models import Finding
from nursery.lineage.late import InTheWay
from nursery.lineage.models import Ramet
from nursery.lineage.words import Place, What
from nursery.outplanting.actions.correct import amend, restore, undo_amendment, void
from nursery.outplanting.corrections import AmendIn, RestoreIn, VoidIn
from nursery.outplanting.unsettled import unsettled
from tests import factories as f
from tests.husbandry.plates import LATER, cell_of, cut_into, lives, now, placed, whats
from tests.lineage.ends import end, lose
from tests.refusals import refused
from tests.standing import live_rows
from tests.verified import nothing_wrong


@pytest.fixture
def plugs(programme: f.Programme) -> list[Ramet]:
    return cut_into(programme, programme.plate, 3)


def take_back(p: f.Programme, event: Event, together: bool = False) -> None:
    void(p.lead, VoidIn(event=event.uid, reason="never was", together=together))


def give_back(p: f.Programme, event: Event) -> None:
    restore(p.lead, RestoreIn(event=event.uid, reason="it was after all"))


def test_a_void_check_leaves_nothing_and_is_restored_whole(
    programme: f.Programme, plugs: list[Ramet]
) -> None:
    before = live_rows()
    event = f.check(
        programme.lead, dict(zip(plugs, ("loose", "dead", "missing"), strict=True))
    ).event
    after = live_rows()
    take_back(programme, event)
    assert live_rows() == before
    nothing_wrong()
    give_back(programme, event)
    assert live_rows() == after
    assert lives(plugs) == ["living", "dead", "lost"]
    nothing_wrong()


def test_what_took_a_dead_ones_cell_stands_in_the_way_of_a_void(
    programme: f.Programme, plugs: list[Ramet]
) -> None:
    event = f.check(programme.lead, {plugs[0]: "dead"}).event
    mother = programme.mother()
    moved = placed(programme.lead, mother, programme.plate, "A1", LATER)
    with refused("cell_was_held", by=InTheWay):
        take_back(programme, event)
    take_back(programme, event, together=True)
    assert Event.objects.get(pk=moved.pk).live is False
    assert cell_of(plugs[0]) == f"{programme.plate.code} A1"
    nothing_wrong()


def test_what_was_done_with_one_that_lived_after_all_stands_in_the_way(
    programme: f.Programme, plugs: list[Ramet]
) -> None:
    end(programme.lead, plugs[:1], when="2021-03-05")
    event = f.check(programme.lead, {plugs[0]: "attached"}).event
    f.cut(programme.lead, plugs[:1], 1, into=programme.tray, when=LATER)
    with refused("behind_later_entry", by=InTheWay):
        take_back(programme, event)


def test_a_void_lift_would_leave_a_check_of_what_is_on_the_reef(programme: f.Programme) -> None:
    (outplant,) = programme.outplants(1)
    moved = f.move(programme.lead, [{"ramet": outplant.code, "base": "peg"}], when="2021-06-02")
    assert whats(outplant)[-1] == What.REBASED
    take_back(programme, moved)
    planting = Event.objects.get(outplanting__isnull=False)
    take_back(programme, planting)
    event = f.check(programme.lead, {outplant: "loose"}, when="2021-06-10").event
    with refused("behind_later_entry", by=InTheWay):
        give_back(programme, planting)
    take_back(programme, event)
    give_back(programme, planting)
    assert now(outplant).place == Place.PLOT


def test_date_people_and_note_are_amended_and_that_is_undone(
    programme: f.Programme, plugs: list[Ramet]
) -> None:
    end(programme.lead, plugs[1:2], when=LATER)
    event = f.check(programme.lead, {plugs[0]: "loose", plugs[1]: "attached"}).event
    given = {
        "event": str(event.uid),
        "reason": "the slate says so",
        "when": "2021-03-21",
        "done_by": ["Ana Reyes"],
        "note": "in the evening",
    }
    before = live_rows()
    amend(programme.lead, read(AmendIn, given))
    changed = Event.objects.get(pk=event.pk)
    assert (changed.earliest, changed.people, changed.note) == (
        date(2021, 3, 21),
        ["Ana Reyes"],
        "in the evening",
    )
    # By that day it had been ended, so it lives again.
    assert whats(plugs[1]) == [What.BORN, What.ENDED, What.CHECKED_ALIVE]
    assert lives(plugs[:2]) == ["living", "living"]
    nothing_wrong()
    undo_amendment(programme.lead, event.uid, "the slate was wrong")
    assert whats(plugs[1]) == [What.BORN, What.CHECKED_ALIVE, What.ENDED]
    assert lives(plugs[1:2]) == ["dead"]
    assert live_rows()["husbandry.Finding"] == before["husbandry.Finding"]
    nothing_wrong()


def test_a_check_is_not_moved_before_the_cutting_nor_after_the_planting(
    programme: f.Programme, plugs: list[Ramet]
) -> None:
    event = f.check(programme.lead, {plugs[0]: "loose"}).event
    f.planting(programme.lead, programme.plot, plugs[:1])
    for day, code in (("2021-02-20", "before_fragmentation"), ("2021-06-10", "on_the_reef")):
        given = {"event": str(event.uid), "reason": "another day", "when": day}
        with refused(code, by=InTheWay):
            amend(programme.lead, read(AmendIn, given))


def disagreements(p: f.Programme) -> list[tuple[str, str]]:
    found = unsettled(p.lead, ["sightings_disagree", "act_after_death"])
    return [(row.code, row.thing) for row in found]


@pytest.mark.parametrize("before", ["dead", "missing"])
def test_a_check_that_disagrees_with_the_one_before_is_listed(
    programme: f.Programme, plugs: list[Ramet], before: str
) -> None:
    first = f.check(programme.lead, {plugs[0]: before, plugs[1]: "attached"}).event
    second = f.check(programme.lead, {plugs[0]: "loose", plugs[1]: "dead"}, when=LATER).event
    assert disagreements(programme) == [("sightings_disagree", plugs[0].code)]
    (row,) = unsettled(programme.lead, ["sightings_disagree"])
    assert row.events == (str(first.uid), str(second.uid))
    assert f"checked {before} on 11 March 2021" in row.message
    assert "checked alive on 20 March 2021" in row.message


def test_one_that_an_ending_had_ended_and_that_lives_is_listed(
    programme: f.Programme, plugs: list[Ramet]
) -> None:
    ending = end(programme.lead, plugs[:1], "sampled", when="2021-03-05")
    event = f.check(programme.lead, {plugs[0]: "loose"}).event
    (row,) = unsettled(programme.lead, ["sightings_disagree"])
    assert row.events == (str(ending.uid), str(event.uid))
    assert "ended: sampled" in row.message


def test_one_that_was_lost_and_is_there_again_disagrees_with_nothing(
    programme: f.Programme, plugs: list[Ramet]
) -> None:
    end(programme.lead, plugs[:1], "lost", when="2021-03-05")
    f.check(programme.lead, {plugs[0]: "loose"})
    assert disagreements(programme) == []


def test_a_late_check_that_disagrees_with_what_was_done_later_is_listed(
    programme: f.Programme, plugs: list[Ramet]
) -> None:
    f.planting(programme.lead, programme.plot, plugs[:1])
    f.check(programme.lead, {plugs[0]: "dead"})
    assert disagreements(programme) == [("act_after_death", plugs[0].code)]


def test_one_that_lives_again_without_its_cell_is_listed_as_without_place(
    programme: f.Programme, plugs: list[Ramet]
) -> None:
    end(programme.lead, plugs[:1], when="2021-03-05")
    placed(programme.lead, programme.mother(), programme.plate, "A1", "2021-03-06")
    f.check(programme.lead, {plugs[0]: "loose"})
    (row,) = unsettled(programme.lead, ["without_place"])
    assert row.message.startswith("1 living")
    assert Finding.objects.count() == 1


def test_one_of_a_lost_structure_that_is_seen_alive_is_listed(
    programme: f.Programme, plugs: list[Ramet]
) -> None:
    lose(programme.lead, programme.plate, when="2021-03-05")
    f.check(programme.lead, {plugs[0]: "loose"})
    assert (lives(plugs), cell_of(plugs[0])) == (
        ["living", "lost", "lost"],
        f"{programme.plate.code} A1",
    )
    (row,) = unsettled(programme.lead, ["in_lost_structure"])
    assert row.thing == programme.plate.code
    nothing_wrong()
