"""A ramet is given another base: where it is, or as it is moved or packed."""

from __future__ import annotations

from typing import Any

import pytest

from nursery.core.errors import Conflict, NotAllowed
from nursery.lineage.models import Ramet
from nursery.lineage.words import Place, What
from tests import factories as f
from tests.lineage.ends import EARLIER, ENDED, end, last_step, now
from tests.refusals import everything_stored, refused

UID = "0b5e2a52-6a08-4c7d-9f57-6f2b1d1f9c22"


@pytest.fixture
def children(programme: f.Programme) -> list[Ramet]:
    """Three ramets on plugs in A1, B1 and C1 of the plate."""
    rows = [{"base": "plug"}] * 3
    return f.cut(programme.lead, [programme.mother()], children=rows, into=programme.plate)


def bases(ramets: list[Ramet]) -> list[str]:
    return [now(ramet).base_now for ramet in ramets]


def test_a_base_alone_leaves_a_ramet_where_it_is(
    programme: f.Programme, children: list[Ramet]
) -> None:
    f.move(programme.lead, [{"ramet": children[0].code, "base": "disc 3"}], when=ENDED)
    ramet, step = now(children[0]), last_step(children[0])
    assert (step.what, step.base, step.place, step.life) == (What.REBASED, "disc 3", None, None)
    assert (ramet.base, ramet.base_now) == ("plug", "disc 3")
    assert (ramet.structure, str(ramet.cell)) == (programme.plate, "A1")
    assert bases(children[1:]) == ["plug", "plug"]


def test_a_ramet_is_moved_onto_another_base(programme: f.Programme, children: list[Ramet]) -> None:
    row = {"ramet": children[0].code, "structure": programme.tray.code, "base": "disc 3"}
    f.move(programme.lead, [row], when=ENDED)
    step = last_step(children[0])
    assert (step.what, step.structure, step.base) == (What.PLACED, programme.tray, "disc 3")
    assert bases(children) == ["disc 3", "plug", "plug"]


def test_the_structure_of_the_entry_counts_for_a_row_with_a_base(
    programme: f.Programme, children: list[Ramet]
) -> None:
    row = {"ramet": children[0].code, "base": "disc 3"}
    f.move(programme.lead, [row], structure=programme.tray.code, when=ENDED)
    assert (now(children[0]).structure, last_step(children[0]).what) == (
        programme.tray,
        What.PLACED,
    )


def test_a_ramet_is_packed_on_another_base(programme: f.Programme, children: list[Ramet]) -> None:
    rows = [{"ramet": children[0].code, "base": "bag"}, {"ramet": children[1].code}]
    f.move(programme.lead, rows, packed=True, when=ENDED)
    assert [now(child).place for child in children[:2]] == [Place.PACKED, Place.PACKED]
    assert bases(children) == ["bag", "plug", "plug"]


def test_a_later_move_keeps_the_base(programme: f.Programme, children: list[Ramet]) -> None:
    f.move(programme.lead, [{"ramet": children[0].code, "base": "disc 3"}], when=EARLIER)
    f.move(programme.lead, [{"ramet": children[0].code}], structure=programme.tray.code, when=ENDED)
    assert bases(children) == ["disc 3", "plug", "plug"]


def test_a_base_may_be_taken_away(programme: f.Programme, children: list[Ramet]) -> None:
    f.move(programme.lead, [{"ramet": children[0].code, "base": " "}], when=ENDED)
    assert (now(children[0]).rebased, now(children[0]).base_now) == ("", "")


def test_some_stay_and_some_go_in_one_entry(programme: f.Programme, children: list[Ramet]) -> None:
    rows = [
        {"ramet": children[0].code, "base": "disc 3"},
        {"ramet": children[1].code, "structure": programme.tray.code},
    ]
    f.move(programme.lead, rows, when=ENDED)
    assert [now(child).structure for child in children] == [
        programme.plate,
        programme.tray,
        programme.plate,
    ]


def test_one_that_stays_does_not_leave_its_cell(
    programme: f.Programme, children: list[Ramet]
) -> None:
    rows = [
        {"ramet": children[0].code, "base": "disc 3"},
        {"ramet": children[1].code, "structure": programme.plate.code, "cell": "A1"},
    ]
    with refused("cell_occupied", pointer="#/ramets/1/cell"):
        f.move(programme.lead, rows, when=ENDED)


def test_a_late_change_stands_behind_the_later_one(
    programme: f.Programme, children: list[Ramet]
) -> None:
    ramet = children[0].code
    f.move(programme.lead, [{"ramet": ramet, "base": "disc 3"}], when=ENDED)
    f.move(programme.lead, [{"ramet": ramet, "base": "disc 2"}], when=EARLIER)
    assert bases(children) == ["disc 3", "plug", "plug"]
    steps = children[0].steps.filter(live=True).order_by("order")
    assert [step.base for step in steps] == [None, "disc 2", "disc 3"]


def test_a_late_change_is_the_base_of_today_where_none_follows(
    programme: f.Programme, children: list[Ramet]
) -> None:
    ramet = children[0].code
    f.move(programme.lead, [{"ramet": ramet}], structure=programme.tray.code, when=ENDED)
    f.move(programme.lead, [{"ramet": ramet, "base": "disc 2"}], when=EARLIER)
    assert (now(children[0]).base_now, now(children[0]).structure) == ("disc 2", programme.tray)


def test_a_dead_one_is_given_no_base(programme: f.Programme, children: list[Ramet]) -> None:
    end(programme.lead, children[:1], when=EARLIER)
    with refused("not_living", pointer="#/ramets/0/ramet") as caught:
        f.move(programme.lead, [{"ramet": children[0].code, "base": "disc 3"}], when=ENDED)
    assert "1 April 2021" in str(caught.value)
    assert "1 May 2021" in str(caught.value)


def test_field_staff_rebase_an_outplant_and_nursery_staff_do_not(programme: f.Programme) -> None:
    outplant = programme.outplants()[0]
    row = {"ramet": outplant.code, "base": "nail"}
    staff = f.staff(programme.nursery)
    with refused("not_allowed", by=NotAllowed):
        f.move(staff, [row], when="2021-07-01")
    f.move(f.field(), [row], when="2021-07-01")
    assert (now(outplant).base_now, now(outplant).plot) == ("nail", programme.plot)


@pytest.mark.parametrize(
    ("row", "code"),
    [
        ({}, "where_to"),
        ({"base": "disc", "cell": "A1"}, "where_to"),
        ({"base": "x" * 41}, "too_long"),
        ({"base": "di\x00sc"}, "control_character"),
    ],
    ids=str,
)
def test_a_row_that_makes_no_sense_is_refused(
    programme: f.Programme, children: list[Ramet], row: dict[str, Any], code: str
) -> None:
    with refused(code):
        f.move(programme.lead, [{"ramet": children[0].code, **row}], when=ENDED)


def test_the_same_change_again_is_answered_and_not_written(
    programme: f.Programme, children: list[Ramet]
) -> None:
    row = {"ramet": children[0].code, "base": "disc 3"}
    first = f.move(programme.lead, [row], when=ENDED, uid=UID)
    stored = everything_stored()
    assert f.move(programme.lead, [row], when=ENDED, uid=UID) == first
    assert everything_stored() == stored
    with refused("uid_taken", by=Conflict):
        f.move(programme.lead, [{**row, "base": "disc 4"}], when=ENDED, uid=UID)
