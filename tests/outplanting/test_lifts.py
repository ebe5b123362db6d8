"""Lifting outplants: where they go, who may, in which order, and what is done with them then."""

from __future__ import annotations

from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from nursery.core.actor import Role
from nursery.core.errors import Conflict, NotAllowed
from nursery.lineage.late import InTheWay
from nursery.lineage.models import Ramet, Step
from nursery.lineage.words import Life, Place, What
from nursery.outplanting.models import Observation, Outplant
from tests import factories as f
from tests.lineage.ends import end
from tests.outplanting.reef import (
    REPLANTED,
    differences,
    lift,
    now,
    said_both,
    whats,
)
from tests.refusals import everything_stored, refused

UID = "5a0f4a3e-9a36-4d0c-8a55-0d6f7a1c2b91"


@pytest.fixture
def outplants(programme: f.Programme) -> list[Ramet]:
    return programme.outplants(3)


def test_lifted_outplants_take_the_next_free_cells(
    programme: f.Programme, outplants: list[Ramet]
) -> None:
    f.cut(programme.lead, [programme.mother()], 1, into=programme.plate)
    lift(programme.lead, outplants, programme.plate)
    assert [str(now(each).cell) for each in outplants] == ["B1", "C1", "D1"]
    for each in outplants:
        after = now(each)
        assert (after.place, after.structure, after.plot, after.life) == (
            Place.STRUCTURE,
            programme.plate,
            None,
            Life.LIVING,
        )
        assert whats(each) == [What.BORN, What.PLANTED, What.LIFTED]
    assert differences() == []


def test_each_outplant_goes_where_its_row_says_else_where_the_entry_says(
    programme: f.Programme, outplants: list[Ramet]
) -> None:
    rows = [
        {"ramet": outplants[0].code, "cell": "C7"},
        {"ramet": outplants[1].code, "structure": programme.tray.code},
        {"ramet": outplants[2].code},
    ]
    lift(programme.lead, [], programme.plate, ramets=rows)
    assert [(now(each).structure, str(now(each).cell)) for each in outplants] == [
        (programme.plate, "C7"),
        (programme.tray, "None"),
        (programme.plate, "A1"),
    ]


def test_packed_outplants_are_moved_into_a_tank_when_they_arrive(
    programme: f.Programme, outplants: list[Ramet]
) -> None:
    lift(programme.lead, outplants, packed=True)
    assert {(now(each).place, now(each).plot) for each in outplants} == {(Place.PACKED, None)}
    rows = [{"ramet": each.code, "structure": programme.tray.code} for each in outplants]
    f.move(f.staff(programme.nursery), rows, when="2021-07-02")
    assert {now(each).structure for each in outplants} == {programme.tray}


def test_forty_are_lifted_ahead_of_a_heat_wave_and_planted_elsewhere_later(
    programme: f.Programme,
) -> None:
    outplants = programme.outplants(40)
    lift(programme.lead, outplants, programme.plate, note="ahead of a heat wave")
    assert Ramet.objects.filter(structure=programme.plate, life=Life.LIVING).count() == 40
    elsewhere = f.plot(programme.lead, f.site(programme.lead))
    f.planting(programme.lead, elsewhere, outplants, when=REPLANTED)
    assert Ramet.objects.filter(plot=elsewhere, life=Life.LIVING).count() == 40
    assert not Ramet.objects.filter(structure=programme.plate).exists()
    plots = Outplant.objects.filter(ramet=outplants[0]).values_list("outplanting__plot", flat=True)
    assert list(plots.order_by("pk")) == [programme.plot.pk, elsewhere.pk]
    assert differences() == []


def test_a_lifted_outplant_is_moved_and_cut_like_any_other(
    programme: f.Programme, outplants: list[Ramet]
) -> None:
    lift(programme.lead, outplants[:1], programme.plate)
    row = {"ramet": outplants[0].code, "structure": programme.tray.code}
    f.move(programme.lead, [row], when="2021-07-03")
    children = f.cut(programme.lead, outplants[:1], 2, when="2021-07-04")
    assert now(outplants[0]).structure == programme.tray
    assert {child.generation for child in children} == {2}


def test_an_outplant_is_not_put_into_a_cell_that_is_taken(
    programme: f.Programme, outplants: list[Ramet]
) -> None:
    f.cut(programme.lead, [programme.mother()], 1, into=programme.plate)
    rows = [{"ramet": outplants[0].code, "cell": "A1"}]
    with refused("cell_occupied", pointer="#/ramets/0/cell"):
        lift(programme.lead, [], programme.plate, ramets=rows)


def test_what_is_not_planted_is_not_lifted(programme: f.Programme) -> None:
    mother = programme.mother()
    with refused("not_planted", pointer="#/ramets/0/ramet") as caught:
        lift(programme.lead, [mother], programme.plate)
    assert mother.code in caught.value.problems[0].message
    assert "1 July 2021" in caught.value.problems[0].message


def test_what_was_lifted_is_not_lifted_again(
    programme: f.Programme, outplants: list[Ramet]
) -> None:
    lift(programme.lead, outplants[:1], programme.plate)
    with refused("not_planted", pointer="#/ramets/1/ramet") as caught:
        lift(programme.lead, [outplants[1], outplants[0]], packed=True, when="2021-07-02")
    assert "2 July 2021" in caught.value.problems[0].message


def test_nothing_is_lifted_before_it_was_planted(
    programme: f.Programme, outplants: list[Ramet]
) -> None:
    with refused("not_planted", pointer="#/ramets/0/ramet") as caught:
        lift(programme.lead, outplants[:1], packed=True, when="2021-05-31")
    assert "31 May 2021" in caught.value.problems[0].message


def test_a_dead_outplant_is_not_lifted(programme: f.Programme, outplants: list[Ramet]) -> None:
    f.visit(programme.lead, programme.site, {outplants[1]: "dead"}, when="2021-06-20")
    with refused("not_living", pointer="#/ramets/1/ramet") as caught:
        lift(programme.lead, outplants, programme.plate)
    assert said_both(caught.value.problems[0].message, "20 June 2021", "1 July 2021")


@pytest.mark.parametrize(
    ("values", "codes", "pointer"),
    [
        ({}, ["where_to"], "#/ramets/0/structure"),
        ({"structure": "NONE"}, ["unknown_structure"], "#/ramets/0/cell"),
        ({"structure": "PL", "packed": True}, ["packed_or_placed"], None),
        ({"packed": True, "ramets": []}, ["too_few"], "#/ramets"),
        ({"packed": True, "ramets": [{"ramet": "nobody"}]}, ["unknown_ramet"], "#/ramets/0/ramet"),
        ({"packed": True, "ramets": [{"ramet": "a", "cell": "A1"}]}, ["packed_or_placed"], None),
        ({"packed": True, "ramets": [{"ramet": "a"}] * 1001}, ["too_many"], "#/ramets"),
        ({"packed": True, "when": "2999"}, ["date_in_future"], "#/when"),
        ({"packed": True, "permits": ["NONE"]}, ["unknown_permit"], None),
    ],
    ids=lambda value: str(value)[:50],
)
def test_a_lift_that_makes_no_sense_is_refused(
    programme: f.Programme,
    outplants: list[Ramet],
    values: dict[str, Any],
    codes: list[str],
    pointer: str | None,
) -> None:
    with refused(*codes, pointer=pointer):
        lift(programme.lead, outplants, **values)


def test_one_named_twice_is_refused(programme: f.Programme, outplants: list[Ramet]) -> None:
    with refused("named_twice", pointer="#/ramets/1/ramet"):
        lift(programme.lead, [outplants[0], outplants[0]], packed=True)


def test_a_cell_asked_for_twice_is_refused(programme: f.Programme, outplants: list[Ramet]) -> None:
    rows = [{"ramet": each.code, "cell": "C7"} for each in outplants[:2]]
    with refused("cell_twice", pointer="#/ramets/1/cell"):
        lift(programme.lead, [], programme.plate, ramets=rows)


# Who may


@pytest.mark.parametrize(
    ("who", "code"),
    [(Role.VIEWER, "not_allowed"), (Role.NURSERY, "not_allowed"), (None, "no_role")],
)
def test_who_does_not_lift(
    programme: f.Programme, outplants: list[Ramet], who: Role | None, code: str
) -> None:
    actor = f.actor(*([who] if who else []), at=programme.nursery)
    with refused(code, by=NotAllowed):
        lift(actor, outplants, programme.plate)


def test_field_staff_hand_outplants_over_packed(
    programme: f.Programme, outplants: list[Ramet]
) -> None:
    diver = f.field()
    with refused("not_your_nursery", by=NotAllowed) as caught:
        lift(diver, outplants, programme.plate)
    assert str(programme.nursery) in caught.value.problems[0].message
    lift(diver, outplants, packed=True)
    assert now(outplants[0]).place == Place.PACKED


def test_field_staff_of_the_nursery_put_outplants_into_its_tanks(
    programme: f.Programme, outplants: list[Ramet]
) -> None:
    both = f.actor(Role.FIELD, Role.NURSERY, at=programme.nursery)
    lift(both, outplants, programme.plate)
    assert now(outplants[0]).structure == programme.plate


def test_a_reading_token_does_not_lift(programme: f.Programme, outplants: list[Ramet]) -> None:
    reader = f.actor(Role.FIELD, read_only=True)
    with refused("read_only", by=NotAllowed):
        lift(reader, outplants, packed=True)


# Late and vague


def test_a_late_lift_comes_before_what_was_seen_later(
    programme: f.Programme, outplants: list[Ramet]
) -> None:
    ramet = outplants[0]
    f.visit(programme.lead, programme.site, {ramet: "alive"})
    lift(programme.lead, [ramet], programme.plate)
    assert whats(ramet) == [What.BORN, What.PLANTED, What.LIFTED, What.SEEN_ALIVE]
    after = now(ramet)
    assert (after.place, str(after.cell), after.life) == (Place.STRUCTURE, "A1", Life.LIVING)
    assert Observation.objects.get().plot == programme.plot
    assert differences() == []


def test_a_late_lift_of_one_that_was_planted_again_is_in_the_way_of_its_lift(
    programme: f.Programme, outplants: list[Ramet]
) -> None:
    lift(programme.lead, outplants[:1], programme.plate)
    f.planting(programme.lead, programme.plot, outplants[:1], when=REPLANTED)
    with refused("behind_later_entry", by=InTheWay, pointer="#/ramets/0/ramet") as caught:
        lift(programme.lead, outplants[:1], packed=True, when="2021-06-15")
    assert said_both(caught.value.problems[0].message, "1 July 2021", "15 June 2021")


def test_a_late_lift_of_one_that_had_died_is_refused(
    programme: f.Programme, outplants: list[Ramet]
) -> None:
    end(programme.lead, outplants[:1], when="2021-06-20")
    with refused("not_living") as caught:
        lift(programme.lead, outplants[:1], packed=True, when="2021-06-25")
    assert said_both(caught.value.problems[0].message, "20 June 2021", "25 June 2021")


def test_a_lift_before_a_death_on_record_is_taken(
    programme: f.Programme, outplants: list[Ramet]
) -> None:
    end(programme.lead, outplants[:1], when="2021-06-20")
    lift(programme.lead, outplants[:1], programme.plate, when="2021-06-10")
    after = now(outplants[0])
    assert whats(outplants[0]) == [What.BORN, What.PLANTED, What.LIFTED, What.ENDED]
    assert (after.life, after.structure, after.plot) == (Life.DEAD, programme.plate, None)
    assert differences() == []


def test_a_late_lift_into_a_cell_that_was_held_then_is_refused(
    programme: f.Programme, outplants: list[Ramet]
) -> None:
    held = f.cut(programme.lead, [programme.mother()], 1, into=programme.plate)[0]
    row = {"ramet": held.code, "structure": programme.tray.code}
    f.move(programme.lead, [row], when="2021-08-01")
    rows = [{"ramet": outplants[0].code, "cell": "A1"}]
    with refused("cell_was_held", by=InTheWay, pointer="#/ramets/0/ramet") as caught:
        lift(programme.lead, [], programme.plate, ramets=rows)
    assert said_both(caught.value.problems[0].message, "1 March 2021", "1 August 2021", "1 July")
    lift(programme.lead, [], programme.plate, ramets=rows, when="2021-08-02")
    assert str(now(outplants[0]).cell) == "A1"


@pytest.mark.parametrize("when", ["2021", "2021-06", "2021-06-01", "2021-05-01/2021-06-01"])
def test_a_vague_lift_that_can_be_after_the_planting_is_taken(
    programme: f.Programme, outplants: list[Ramet], when: str
) -> None:
    lift(programme.lead, outplants, programme.plate, when=when)
    assert whats(outplants[0]) == [What.BORN, What.PLANTED, What.LIFTED]
    assert now(outplants[0]).structure == programme.plate


def test_a_vague_lift_comes_after_all_else_of_its_date(
    programme: f.Programme, outplants: list[Ramet]
) -> None:
    lift(programme.lead, outplants[:1], packed=True)
    f.planting(programme.lead, programme.plot, outplants[:1], when=REPLANTED)
    lift(programme.lead, outplants[:1], programme.plate, when="2021")
    assert whats(outplants[0]) == [
        What.BORN,
        What.PLANTED,
        What.LIFTED,
        What.PLANTED,
        What.LIFTED,
    ]
    assert now(outplants[0]).structure == programme.plate


# Once only, and many at once


def test_the_same_lift_sent_twice_is_one(programme: f.Programme, outplants: list[Ramet]) -> None:
    first = lift(programme.lead, outplants, programme.plate, uid=UID)
    stored = everything_stored()
    assert lift(programme.lead, outplants, programme.plate, uid=UID) == first
    assert everything_stored() == stored
    with refused("uid_taken", by=Conflict, pointer="#/uid"):
        lift(programme.lead, outplants, packed=True, uid=UID)
    another = f.lead()
    with refused("uid_taken", by=Conflict, pointer="#/uid"):
        lift(another, outplants, programme.plate, uid=UID)


def test_one_bad_row_refuses_the_whole_lift(programme: f.Programme, outplants: list[Ramet]) -> None:
    mother = programme.mother()
    with refused("not_planted", pointer="#/ramets/3/ramet"):
        lift(programme.lead, [*outplants, mother], packed=True)
    assert not Step.objects.filter(what=What.LIFTED).exists()


def test_lifting_forty_asks_no_more_often_than_lifting_two(programme: f.Programme) -> None:
    outplants = programme.outplants(42)
    asked = []
    for group in (outplants[:2], outplants[2:]):
        with CaptureQueriesContext(connection) as queries:
            lift(programme.lead, group, programme.plate)
        asked.append(
            len([row for row in queries.captured_queries if not row["sql"].startswith("UPDATE")])
        )
    assert asked[0] == asked[1]
