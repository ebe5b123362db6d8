"""What an entry names beside its steps holds after every correction: what others fused into, a lot
that was counted, a tag that came off, the socket that an outplant had lived in."""

from __future__ import annotations

from typing import Any

import pytest

from nursery.core.actor import Actor
from nursery.core.errors import NotAllowed, Trouble
from nursery.core.inputs import read
from nursery.core.models import Event
from nursery.lineage.late import InTheWay
from nursery.lineage.models import Ramet, Source
from nursery.outplanting.actions.correct import Outcome, amend, restore, undo_amendment, void
from nursery.outplanting.corrections import AmendIn, RestoreIn, VoidIn
from nursery.outplanting.models import Outplant
from nursery.places.models import Structure
from tests import factories as f
from tests.lineage.ends import ENDED, count, end
from tests.lineage.identities import LATER, retag, tags
from tests.outplanting.reef import plant_structures, rock, said_both
from tests.refusals import refused
from tests.verified import nothing_wrong

pytestmark = pytest.mark.django_db


def voided(by: Actor, event: Event, together: bool = False) -> Outcome:
    return void(by, VoidIn(event=event.uid, reason="a slip", together=together))


def restored(by: Actor, event: Event) -> Outcome:
    return restore(by, RestoreIn(event=event.uid, reason="it was after all"))


def amended(by: Actor, event: Event, **values: Any) -> Outcome:
    return amend(by, read(AmendIn, {"event": str(event.uid), "reason": "the slate", **values}))


def in_the_way(caught: pytest.ExceptionInfo[Trouble]) -> Event | None:
    """The event that a refused correction was told to deal with first."""
    assert isinstance(caught.value, InTheWay)
    return caught.value.event


# What others fused into, and lots that were counted


@pytest.fixture
def pair(programme: f.Programme) -> list[Ramet]:
    """Two ramets of one day, of two cuttings."""
    mother = programme.mother()
    return [f.cut(programme.lead, [mother])[0] for _ in range(2)]


@pytest.fixture
def fused(programme: f.Programme, pair: list[Ramet]) -> Event:
    return end(programme.lead, pair[:1], "fused", into=pair[1].code)


@pytest.fixture
def lot(programme: f.Programme) -> Event:
    """A cutting whose pieces are counted without being named: none has a step of the count."""
    return f.cut(programme.lead, [programme.mother()], 3, into=programme.tray)[0].born


@pytest.fixture
def counted(programme: f.Programme, lot: Event) -> Event:
    return count(
        programme.lead, [{"structure": programme.tray.code, "lot": str(lot.uid), "alive": 3}]
    )


def test_what_others_fused_into_is_not_voided_before_that(
    programme: f.Programme, pair: list[Ramet], fused: Event
) -> None:
    with refused("behind_later_entry", by=InTheWay) as caught:
        voided(programme.lead, pair[1].born)
    assert in_the_way(caught) == fused
    outcome = voided(programme.lead, pair[1].born, together=True)
    assert [row.kind for row in outcome.events] == ["ending", "fragmentation"]
    nothing_wrong()


def test_a_lot_is_not_voided_before_its_count(
    programme: f.Programme, lot: Event, counted: Event
) -> None:
    with refused("behind_later_entry", by=InTheWay) as caught:
        voided(programme.lead, lot)
    assert in_the_way(caught) == counted
    voided(programme.lead, lot, together=True)
    nothing_wrong()


def test_a_fusion_into_what_has_never_been_is_not_restored(
    programme: f.Programme, pair: list[Ramet], fused: Event
) -> None:
    voided(programme.lead, fused)
    voided(programme.lead, pair[1].born)
    with refused("never_born", by=InTheWay) as caught:
        restored(programme.lead, fused)
    assert "1 March 2021" in caught.value.problems[0].message
    restored(programme.lead, pair[1].born)
    restored(programme.lead, fused)
    nothing_wrong()


def test_a_count_of_a_lot_that_has_never_been_is_not_restored(
    programme: f.Programme, lot: Event, counted: Event
) -> None:
    voided(programme.lead, lot, together=True)
    with refused("never_born", by=InTheWay):
        restored(programme.lead, counted)
    restored(programme.lead, lot)
    restored(programme.lead, counted)
    nothing_wrong()


def test_what_others_fused_into_was_not_born_after_that(
    programme: f.Programme, pair: list[Ramet], fused: Event
) -> None:
    with refused("behind_later_entry", by=InTheWay) as caught:
        amended(programme.lead, pair[1].born, when="2021-05-20")
    assert in_the_way(caught) == fused
    assert said_both(caught.value.problems[0].message, "1 May 2021", "20 May 2021")
    amended(programme.lead, pair[1].born, when=ENDED)
    nothing_wrong()


def test_a_lot_was_not_cut_after_its_count(
    programme: f.Programme, lot: Event, counted: Event
) -> None:
    with refused("behind_later_entry", by=InTheWay) as caught:
        amended(programme.lead, lot, when="2021-05-20")
    assert in_the_way(caught) == counted


def test_a_fusion_was_not_before_the_birth_of_what_it_names(
    programme: f.Programme, pair: list[Ramet], fused: Event
) -> None:
    amended(programme.lead, pair[0].born, when="2021-02-01")
    with refused("before_fragmentation", by=InTheWay) as caught:
        amended(programme.lead, fused, when="2021-02-20")
    assert in_the_way(caught) == pair[1].born
    assert said_both(caught.value.problems[0].message, "1 March 2021", "20 February 2021")
    amended(programme.lead, fused, when="2021-03")
    nothing_wrong()


def test_a_count_was_not_before_its_lot_was_cut(
    programme: f.Programme, lot: Event, counted: Event
) -> None:
    with refused("before_fragmentation", by=InTheWay) as caught:
        amended(programme.lead, counted, when="2021-02-20")
    assert in_the_way(caught) == lot


# Tags


def test_a_tag_that_came_off_later_does_not_come_off_a_second_time(
    programme: f.Programme, pair: list[Ramet]
) -> None:
    by, off = programme.lead, {"ramet": pair[0].code, "off": "T 7"}
    retag(by, {"ramet": pair[0].code, "on": "T 7"}, when="2021-05-01")
    first = retag(by, off)
    voided(by, first)
    second = retag(by, off, when="2021-08-01")
    with refused("tag_not_on", by=InTheWay) as caught:
        restored(by, first)
    assert in_the_way(caught) == second
    assert said_both(caught.value.problems[0].message, "1 July 2021", "1 August 2021")
    voided(by, second)
    restored(by, first)
    assert tags("T 7") == [(pair[0].code, "2021-05-01", LATER)]
    nothing_wrong()


def test_what_put_a_tag_on_is_not_voided_before_what_took_it_off(
    programme: f.Programme, pair: list[Ramet]
) -> None:
    by = programme.lead
    on = retag(by, {"ramet": pair[0].code, "on": "T 7"}, when="2021-05-01")
    off = retag(by, {"ramet": pair[0].code, "off": "T 7"})
    with refused("tag_not_on", by=InTheWay) as caught:
        voided(by, on)
    assert in_the_way(caught) == off
    outcome = voided(by, on, together=True)
    assert [row.event for row in outcome.events] == [str(off.uid), str(on.uid)]
    with refused("tag_not_on", by=InTheWay):
        restored(by, off)
    restored(by, on)
    restored(by, off)
    assert tags("T 7") == [(pair[0].code, "2021-05-01", LATER)]
    nothing_wrong()


# Sockets that outplants had lived in


@pytest.fixture
def stone(programme: f.Programme) -> Structure:
    return rock(programme)


@pytest.fixture
def child(programme: f.Programme) -> Ramet:
    """In the tray until it is moved to the rock."""
    return f.cut(programme.lead, [programme.mother()], into=programme.tray)[0]


def moved(
    programme: f.Programme, ramet: Ramet, into: Structure, when: str, cell: str = ""
) -> Event:
    row = {"ramet": ramet.code, "structure": into.code, **({"cell": cell} if cell else {})}
    return f.move(programme.lead, [row], when=when)


def lived(ramet: Ramet) -> tuple[int | None, int | None, int | None]:
    """Where it had lived in a structure that was planted with it."""
    row = Outplant.objects.get(ramet=ramet)
    return row.structure_id, row.row, row.column


def test_what_put_an_outplant_on_its_rock_is_not_voided_before_the_planting(
    programme: f.Programme, stone: Structure, child: Ramet
) -> None:
    placed = moved(programme, child, stone, "2021-04-01")
    planting = plant_structures(programme.lead, programme.plot, stone).event
    with refused("not_there", by=InTheWay) as caught:
        voided(programme.lead, placed)
    assert in_the_way(caught) == planting
    message = caught.value.problems[0].message
    assert said_both(message, "1 April 2021", "1 June 2021", stone.code, child.code)
    voided(programme.lead, placed, together=True)
    nothing_wrong()


def test_what_took_an_outplant_from_its_rock_is_not_restored_before_the_planting(
    programme: f.Programme, stone: Structure, child: Ramet
) -> None:
    moved(programme, child, stone, "2021-04-01")
    away = moved(programme, child, programme.tray, "2021-04-02")
    voided(programme.lead, away)
    planting = plant_structures(programme.lead, programme.plot, stone).event
    with refused("not_there", by=InTheWay) as caught:
        restored(programme.lead, away)
    assert in_the_way(caught) == planting


def test_a_planting_with_a_rock_was_not_before_a_ramet_was_on_it(
    programme: f.Programme, stone: Structure, child: Ramet
) -> None:
    placed = moved(programme, child, stone, "2021-04-01")
    planting = plant_structures(programme.lead, programme.plot, stone).event
    with refused("behind_later_entry", by=InTheWay) as caught:
        amended(programme.lead, planting, when="2021-03-20")
    assert in_the_way(caught) == placed


def test_an_outplant_had_lived_in_the_socket_that_corrections_leave_it(
    programme: f.Programme, stone: Structure, child: Ramet
) -> None:
    by = programme.lead
    moved(programme, child, stone, "2021-04-01", cell="A1")
    second = moved(programme, child, stone, "2021-04-20", cell="C1")
    plant_structures(by, programme.plot, stone)
    voided(by, second)
    assert lived(child) == (stone.pk, 1, 1)
    nothing_wrong()
    restored(by, second)
    assert lived(child) == (stone.pk, 1, 3)
    amended(by, second, when="2021-03-20")
    assert lived(child) == (stone.pk, 1, 1)
    undo_amendment(by, second.uid, "it was the 20th of April")
    assert lived(child) == (stone.pk, 1, 3)
    nothing_wrong()


def test_a_rock_goes_to_another_plot_with_all_that_was_planted_on_it(
    programme: f.Programme, stone: Structure, child: Ramet
) -> None:
    moved(programme, child, stone, "2021-04-01")
    planting = plant_structures(programme.lead, programme.plot, stone).event
    other = f.plot(programme.lead, programme.site)
    amended(programme.lead, planting, plot=other.code)
    assert Structure.objects.get(pk=stone.pk).plot == other
    assert Ramet.objects.get(pk=child.pk).plot == other
    nothing_wrong()
    undo_amendment(programme.lead, planting.uid, "it was the first plot")
    assert Structure.objects.get(pk=stone.pk).plot == programme.plot
    nothing_wrong()


# Mothers


def test_another_mother_is_named_by_the_tag_that_it_had_then(programme: f.Programme) -> None:
    by, mother, right = programme.lead, programme.mother(), programme.mother()
    retag(by, {"ramet": right.code, "on": "T 7"}, when="2021-02-01")
    child = f.cut(by, [mother])[0]
    retag(by, {"ramet": right.code, "off": "T 7"}, when="2021-06-01")
    amended(by, child.born, sources=[{"instead_of": mother.code, "ramet": "T 7"}])
    assert Source.objects.get(fragmentation=child.born_id).ramet == right
    nothing_wrong()


def test_staff_name_no_mother_of_another_nursery(programme: f.Programme) -> None:
    elsewhere = f.bay(programme.lead, f.nursery(programme.lead))
    tray = f.tray(programme.lead, elsewhere)
    theirs = f.mothers(programme.lead, programme.colony, tray)[0]
    mother, staff = programme.mother(), f.staff(programme.nursery)
    child = f.cut(staff, [mother])[0]
    swap = [{"instead_of": mother.code, "ramet": theirs.code}]
    with refused("not_your_nursery", by=NotAllowed):
        amended(staff, child.born, sources=swap)
    amended(programme.lead, child.born, sources=swap)
