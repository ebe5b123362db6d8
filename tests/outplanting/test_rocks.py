"""Rocks with sockets and other structures, planted as one and traced piece by piece."""

from __future__ import annotations

from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from nursery.core.actor import Role
from nursery.core.errors import Conflict, NotAllowed
from nursery.core.models import Event
from nursery.lineage.late import InTheWay
from nursery.lineage.models import Ramet
from nursery.lineage.words import Life, Place, What
from nursery.outplanting.actions.correct import restore, void
from nursery.outplanting.corrections import RestoreIn, VoidIn
from nursery.outplanting.models import Fixing, Outplant
from nursery.places.models import Structure, StructureStep
from tests import factories as f
from tests.lineage.ends import end, lose
from tests.outplanting.reef import (
    as_is,
    differences,
    lift,
    lives,
    now,
    plant_structures,
    rock,
    said_both,
    whats,
)
from tests.refusals import everything_stored, refused

UID = "b7b4c2aa-0d36-4d57-9d6e-3f0a1f6f5c10"
LATER = "2021-07-10"


@pytest.fixture
def stone(programme: f.Programme) -> Structure:
    return rock(programme)


@pytest.fixture
def glued(programme: f.Programme, stone: Structure) -> list[Ramet]:
    """Three ramets in the sockets of the rock."""
    return f.cut(programme.lead, [programme.mother()], 3, into=stone)


def away(programme: f.Programme, ramet: Ramet, when: str) -> None:
    row = {"ramet": ramet.code, "structure": programme.tray.code}
    f.move(programme.lead, [row], when=when)


def moved(programme: f.Programme, row: Structure, when: str, **where: Any) -> Event:
    place = where or {"bay": programme.bay.code}
    return f.move_structures(programme.lead, [{"structure": row.code, **place}], when=when)


def planted(rows: list[Ramet]) -> list[bool]:
    return [Outplant.objects.filter(ramet=row).exists() for row in rows]


def test_all_that_live_in_a_rock_are_planted_with_it(
    programme: f.Programme, stone: Structure, glued: list[Ramet]
) -> None:
    plant_structures(programme.lead, programme.plot, stone)
    for each in glued:
        after = now(each)
        assert (after.place, after.plot, after.structure, after.cell, after.life) == (
            Place.PLOT,
            programme.plot,
            None,
            None,
            Life.LIVING,
        )
    assert differences() == []


def test_the_rock_stands_in_the_plot_and_at_no_nursery(
    programme: f.Programme, stone: Structure, glued: list[Ramet]
) -> None:
    outplanting = plant_structures(programme.lead, programme.plot, stone)
    after = as_is(stone)
    assert (after.plot, after.bay, after.parent, after.nursery) == (
        programme.plot,
        None,
        None,
        None,
    )
    step = StructureStep.objects.get(event=outplanting.event)
    assert (step.structure, step.plot, step.order, step.live) == (stone, programme.plot, 2, True)


def test_each_keeps_its_socket_and_what_was_said_of_the_rock(
    programme: f.Programme, stone: Structure, glued: list[Ramet]
) -> None:
    row = {"structure": stone.code, "position": "N 3", "cluster": "b", "fixing": "cement"}
    outplanting = plant_structures(programme.lead, programme.plot, row, fixing="tie")
    assert [
        (o.ramet, o.structure, o.row, o.column, o.position, o.cluster, o.fixing)
        for o in outplanting.outplants.all()
    ] == [
        (each, stone, 1, column, "N 3", "b", Fixing.CEMENT)
        for column, each in enumerate(glued, start=1)
    ]


def test_a_rock_carries_several_genets_and_taxa(programme: f.Programme, stone: Structure) -> None:
    other = f.taxon(programme.lead)
    colony = f.colony(programme.lead, other, programme.reef)
    mothers = [programme.mother(), f.mothers(programme.lead, colony, programme.tray)[0]]
    pieces = [f.cut(programme.lead, [mother], 1, into=stone)[0] for mother in mothers]
    plant_structures(programme.lead, programme.plot, stone)
    assert {(row.ramet.taxon, row.ramet.genet) for row in Outplant.objects.all()} == {
        (piece.taxon, piece.genet) for piece in pieces
    }
    assert len({piece.genet for piece in pieces}) == 2


def test_rocks_and_single_ramets_are_planted_by_one_entry(
    programme: f.Programme, stone: Structure, glued: list[Ramet]
) -> None:
    single = f.cut(programme.lead, [programme.mother()], 1, into=programme.plate)[0]
    outplanting = f.planting(
        programme.lead,
        programme.plot,
        [single],
        structures=[{"structure": stone.code}],
        fixing="epoxy",
    )
    assert [(o.ramet, o.structure, o.fixing) for o in outplanting.outplants.all()] == [
        (single, None, Fixing.EPOXY),
        *((each, stone, Fixing.EPOXY) for each in glued),
    ]


def test_what_lives_in_a_rock_on_a_plate_is_planted_with_the_plate(
    programme: f.Programme, glued: list[Ramet], stone: Structure
) -> None:
    moved(programme, stone, "2021-04-01", parent=programme.plate.code, cell="C7")
    on_plate = f.cut(programme.lead, [programme.mother()], 1, into=programme.plate)[0]
    outplanting = plant_structures(programme.lead, programme.plot, programme.plate)
    assert {(o.ramet, o.structure) for o in outplanting.outplants.all()} == {
        (on_plate, programme.plate),
        *((each, stone) for each in glued),
    }
    inner = as_is(stone)
    assert (inner.parent, inner.nursery, inner.plot) == (programme.plate, None, None)
    assert as_is(programme.plate).plot == programme.plot
    assert differences() == []


def test_a_rock_that_leaves_a_plate_gives_its_cell_free(
    programme: f.Programme, stone: Structure, glued: list[Ramet]
) -> None:
    moved(programme, stone, "2021-04-01", parent=programme.plate.code, cell="A1")
    plant_structures(programme.lead, programme.plot, stone)
    assert as_is(stone).parent is None
    other = f.cut(programme.lead, [programme.mother()], 1, into=programme.plate, when="2021-06-02")
    assert str(other[0].cell) == "A1"
    assert differences() == []


def test_an_open_structure_is_planted_without_sockets(programme: f.Programme) -> None:
    frame = f.tray(programme.lead, programme.bay, kind="frame")
    pieces = f.cut(programme.lead, [programme.mother()], 2, into=frame)
    outplanting = plant_structures(programme.lead, programme.plot, frame)
    assert [(o.ramet, o.structure, o.row, o.column) for o in outplanting.outplants.all()] == [
        (piece, frame, None, None) for piece in pieces
    ]


def test_the_dead_and_those_moved_away_are_not_planted(
    programme: f.Programme, stone: Structure, glued: list[Ramet]
) -> None:
    end(programme.lead, glued[:1])
    away(programme, glued[1], "2021-05-01")
    plant_structures(programme.lead, programme.plot, stone)
    assert planted(glued) == [False, False, True]
    assert lives(glued) == ["dead", "living", "living"]
    assert now(glued[1]).structure == programme.tray


def test_what_was_planted_on_a_rock_is_seen_lifted_and_planted_one_by_one(
    programme: f.Programme, stone: Structure, glued: list[Ramet]
) -> None:
    plant_structures(programme.lead, programme.plot, stone)
    f.visit(programme.lead, programme.site, {glued[0]: "dead"}, when="2021-06-20")
    lift(programme.lead, glued[1:2], programme.plate)
    f.planting(programme.lead, programme.plot, glued[1:2], when="2021-08-01")
    last = Outplant.objects.filter(ramet=glued[1]).latest("pk")
    assert lives(glued) == ["dead", "living", "living"]
    assert (last.structure, last.row) == (None, None)
    assert differences() == []


def test_a_rock_that_came_back_is_planted_again_with_others(
    programme: f.Programme, stone: Structure, glued: list[Ramet]
) -> None:
    plant_structures(programme.lead, programme.plot, stone)
    lift(programme.lead, glued, programme.tray)
    moved(programme, stone, "2021-07-02")
    others = f.cut(programme.lead, [programme.mother()], 2, into=stone, when="2021-07-03")
    plant_structures(programme.lead, programme.plot, stone, when="2021-08-01")
    assert [now(each).plot for each in others] == [programme.plot] * 2
    assert [now(each).structure for each in glued] == [programme.tray] * 3


# What is refused


def test_an_empty_rock_is_not_planted(programme: f.Programme, stone: Structure) -> None:
    with refused("nothing_to_plant", pointer="#/structures/0/structure") as caught:
        plant_structures(programme.lead, programme.plot, stone)
    assert "1 June 2021" in caught.value.problems[0].message


def test_a_lost_rock_is_not_planted(
    programme: f.Programme, stone: Structure, glued: list[Ramet]
) -> None:
    lose(programme.lead, stone, when="2021-05-01")
    with refused("structure_lost", pointer="#/structures/0/structure") as caught:
        plant_structures(programme.lead, programme.plot, stone)
    assert said_both(caught.value.problems[0].message, "1 May 2021", "1 June 2021")


def test_a_rock_that_stands_in_a_plot_is_not_planted_again(
    programme: f.Programme, stone: Structure, glued: list[Ramet]
) -> None:
    plant_structures(programme.lead, programme.plot, stone)
    other = f.plot(programme.lead, programme.site)
    for plot in (programme.plot, other):
        with refused("already_planted", pointer="#/structures/0/structure") as caught:
            plant_structures(programme.lead, plot, stone, when=LATER)
        assert said_both(caught.value.problems[0].message, "1 June 2021", "10 July 2021")


def test_a_rock_is_not_planted_before_it_was_set_up(
    programme: f.Programme, stone: Structure, glued: list[Ramet]
) -> None:
    with refused("before_structure_move", pointer="#/structures/0/structure") as caught:
        plant_structures(programme.lead, programme.plot, stone, when="2019-12-31")
    assert said_both(caught.value.problems[0].message, "1 January 2020", "31 December 2019")


def test_every_structure_that_cannot_be_planted_is_told(
    programme: f.Programme, stone: Structure, glued: list[Ramet]
) -> None:
    lost, empty = rock(programme), rock(programme)
    lose(programme.lead, lost, when="2021-05-01")
    with refused("structure_lost", "nothing_to_plant") as caught:
        plant_structures(programme.lead, programme.plot, stone, lost, empty)
    assert [problem.row for problem in caught.value.problems] == [1, 2]


def test_a_ramet_named_alone_and_with_its_rock_is_refused(
    programme: f.Programme, stone: Structure, glued: list[Ramet]
) -> None:
    with refused("named_twice", pointer="#/outplants/0/ramet") as caught:
        f.planting(
            programme.lead, programme.plot, glued[1:2], structures=[{"structure": stone.code}]
        )
    assert stone.code in caught.value.problems[0].message


def test_a_rock_named_twice_is_refused(
    programme: f.Programme, stone: Structure, glued: list[Ramet]
) -> None:
    with refused("named_twice", pointer="#/structures/1/structure"):
        plant_structures(programme.lead, programme.plot, stone, stone)


@pytest.mark.parametrize("purpose", ["broodstock", "reserve"])
def test_only_production_is_planted_with_a_rock_unless_it_is_said(
    programme: f.Programme, stone: Structure, glued: list[Ramet], purpose: str
) -> None:
    other = rock(programme)
    kept = f.cut(
        programme.lead, [programme.mother()], into=other, children=[{"purpose": purpose}, {}]
    )
    with refused("not_for_planting", pointer="#/structures/1/structure") as caught:
        plant_structures(programme.lead, programme.plot, stone, other)
    assert kept[0].code in caught.value.problems[0].message
    plant_structures(programme.lead, programme.plot, stone, other, other_purposes=True)
    assert now(kept[0]).plot == programme.plot


def test_more_than_a_thousand_ramets_in_structures_are_refused(programme: f.Programme) -> None:
    frame = f.tray(programme.lead, programme.bay)
    mother = programme.mother()
    f.cut(programme.lead, [mother], 1000, into=frame)
    one = f.cut(programme.lead, [mother], 1)
    with refused("too_many", pointer="#/structures"):
        f.planting(programme.lead, programme.plot, one, structures=[{"structure": frame.code}])


@pytest.mark.parametrize(
    ("row", "codes"),
    [
        ({"structure": "NONE"}, ["unknown_structure"]),
        ({"structure": "A\x00"}, ["control_character"]),
        ({}, ["required"]),
        ({"structure": "A", "position": "x" * 41}, ["too_long"]),
        ({"structure": "A", "fixing": "hope"}, ["not_a_choice"]),
        ({"structure": "A", "ramet": "x"}, ["unknown_field"]),
    ],
    ids=str,
)
def test_a_row_of_a_structure_that_makes_no_sense_is_refused(
    programme: f.Programme, row: dict[str, Any], codes: list[str]
) -> None:
    with refused(*codes):
        plant_structures(programme.lead, programme.plot, row)


def test_an_entry_that_names_nothing_is_refused(programme: f.Programme) -> None:
    with refused("too_few"):
        plant_structures(programme.lead, programme.plot)


def test_who_plants_rocks(programme: f.Programme, stone: Structure, glued: list[Ramet]) -> None:
    for who in (Role.VIEWER, Role.NURSERY):
        actor = f.actor(who, at=programme.nursery)
        with refused("not_allowed", by=NotAllowed):
            plant_structures(actor, programme.plot, stone)
    plant_structures(f.field(), programme.plot, stone)
    assert as_is(stone).plot == programme.plot


# Late and vague


def test_a_late_planting_takes_who_was_in_the_rock_then(
    programme: f.Programme, stone: Structure, glued: list[Ramet]
) -> None:
    """One died there since, and so was planted first; one came only after."""
    end(programme.lead, glued[:1], when=LATER)
    away(programme, glued[2], "2021-05-01")
    newcomer = f.cut(programme.lead, [programme.mother()], 1, into=stone, when=LATER)[0]
    plant_structures(programme.lead, programme.plot, stone)
    assert planted([*glued, newcomer]) == [True, True, False, False]
    assert whats(glued[0]) == [What.BORN, What.PLANTED, What.ENDED]
    assert (now(glued[0]).life, now(glued[0]).plot) == (Life.DEAD, programme.plot)
    assert now(newcomer).structure == stone
    assert differences() == []


def test_a_late_planting_takes_who_was_in_an_open_structure_then(programme: f.Programme) -> None:
    frame = f.tray(programme.lead, programme.bay)
    pieces = f.cut(programme.lead, [programme.mother()], 3, into=frame)
    away(programme, pieces[0], "2021-05-01")
    end(programme.lead, pieces[1:2], when=LATER)
    newcomer = f.cut(programme.lead, [programme.mother()], 1, into=frame, when=LATER)[0]
    plant_structures(programme.lead, programme.plot, frame)
    assert planted([*pieces, newcomer]) == [False, True, True, False]
    assert differences() == []


def test_a_late_planting_of_what_was_moved_later_is_refused(
    programme: f.Programme, stone: Structure, glued: list[Ramet]
) -> None:
    away(programme, glued[1], LATER)
    with refused("behind_later_entry", by=InTheWay, pointer="#/structures/0/structure") as caught:
        plant_structures(programme.lead, programme.plot, stone)
    assert said_both(caught.value.problems[0].message, "1 June 2021", "10 July 2021")


def test_a_late_planting_of_a_rock_that_was_moved_later_is_refused(
    programme: f.Programme, stone: Structure, glued: list[Ramet]
) -> None:
    moved(programme, stone, LATER)
    with refused("behind_later_entry", pointer="#/structures/0/structure") as caught:
        plant_structures(programme.lead, programme.plot, stone)
    assert said_both(caught.value.problems[0].message, "1 June 2021", "10 July 2021")


def test_what_was_lost_with_its_rock_had_not_been_planted_with_it(
    programme: f.Programme, stone: Structure, glued: list[Ramet]
) -> None:
    end(programme.lead, glued[:2])
    lose(programme.lead, stone, when=LATER)
    with refused("behind_later_entry", by=InTheWay, pointer="#/structures/0/structure") as caught:
        plant_structures(programme.lead, programme.plot, stone)
    assert said_both(caught.value.problems[0].message, "1 June 2021", "10 July 2021")


def test_a_rock_that_was_lost_with_the_dead_may_have_been_planted_first(
    programme: f.Programme, stone: Structure, glued: list[Ramet]
) -> None:
    end(programme.lead, glued, when="2021-06-20")
    lose(programme.lead, stone, when=LATER)
    plant_structures(programme.lead, programme.plot, stone)
    assert lives(glued) == ["dead"] * 3
    assert {now(each).plot for each in glued} == {programme.plot}
    assert (as_is(stone).lost, as_is(stone).plot) == (True, None)
    assert differences() == []


def test_a_rock_that_left_its_cell_late_gives_it_free_from_then_on(
    programme: f.Programme, stone: Structure, glued: list[Ramet]
) -> None:
    moved(programme, stone, "2021-04-01", parent=programme.plate.code, cell="A1")
    f.cut(programme.lead, [programme.mother()], 1, into=programme.plate, when=LATER)
    plant_structures(programme.lead, programme.plot, stone)
    between = f.cut(
        programme.lead,
        [programme.mother()],
        children=[{"structure": programme.plate.code, "cell": "A1"}],
        when="2021-06-20",
    )
    assert str(now(between[0]).cell) == "A1"
    assert differences() == []


def test_what_was_lost_with_its_rock_and_found_again_is_planted_from_its_socket(
    programme: f.Programme, stone: Structure, glued: list[Ramet]
) -> None:
    lose(programme.lead, stone, when="2021-04-01")
    moved(programme, stone, "2021-04-20")
    f.check(programme.lead, {glued[1]: "attached"}, when="2021-04-21")
    plant_structures(programme.lead, programme.plot, stone)
    outplant = Outplant.objects.get(ramet=glued[1])
    assert (outplant.structure, outplant.row, outplant.column) == (stone, 1, 2)
    assert differences() == []


def test_of_one_day_what_was_entered_last_decides_where_a_rock_stands(
    programme: f.Programme, stone: Structure, glued: list[Ramet]
) -> None:
    other = f.bay(programme.lead, programme.nursery)
    moved(programme, stone, f.PLANTED, bay=other.code)
    moved(programme, stone, f.PLANTED)
    plant_structures(programme.lead, programme.plot, stone)
    assert as_is(stone).plot == programme.plot
    assert differences() == []


@pytest.mark.parametrize("when", ["2021", "2021-03", "2021-03-01", "2021-02-20/2021-03-01"])
def test_a_vague_planting_takes_what_had_been_cut_by_its_end(
    programme: f.Programme, stone: Structure, glued: list[Ramet], when: str
) -> None:
    plant_structures(programme.lead, programme.plot, stone, when=when)
    assert planted(glued) == [True] * 3
    assert whats(glued[0]) == [What.BORN, What.PLANTED]
    assert differences() == []


def test_a_rock_planted_before_anything_was_cut_into_it_is_empty(
    programme: f.Programme, stone: Structure, glued: list[Ramet]
) -> None:
    with refused("nothing_to_plant") as caught:
        plant_structures(programme.lead, programme.plot, stone, when="2021-02")
    assert "February 2021" in caught.value.problems[0].message


# Once only, many at once, and undone


def test_the_same_rock_sent_twice_is_planted_once(
    programme: f.Programme, stone: Structure, glued: list[Ramet]
) -> None:
    first = plant_structures(programme.lead, programme.plot, stone, uid=UID)
    stored = everything_stored()
    assert plant_structures(programme.lead, programme.plot, stone, uid=UID) == first
    assert everything_stored() == stored
    with refused("uid_taken", by=Conflict, pointer="#/uid"):
        plant_structures(programme.lead, programme.plot, stone, uid=UID, note="another")


def test_a_voided_planting_gives_the_rock_back_with_all_in_its_sockets(
    programme: f.Programme, stone: Structure, glued: list[Ramet]
) -> None:
    event = plant_structures(programme.lead, programme.plot, stone).event
    void(programme.lead, VoidIn(event=event.uid, reason="it stayed ashore"))
    assert (as_is(stone).bay, as_is(stone).nursery) == (programme.bay, programme.nursery)
    assert [str(now(each).cell) for each in glued] == ["A1", "B1", "C1"]
    assert differences() == []
    restore(programme.lead, RestoreIn(event=event.uid, reason="it did not"))
    assert as_is(stone).plot == programme.plot
    assert {now(each).plot for each in glued} == {programme.plot}
    assert differences() == []


def test_planting_full_rocks_asks_no_more_often_than_planting_bare_ones(
    programme: f.Programme,
) -> None:
    mother = programme.mother()
    stones = [rock(programme, columns=20) for _ in range(4)]
    for stone in stones[:2]:
        f.cut(programme.lead, [mother], 1, into=stone)
    for stone in stones[2:]:
        f.cut(programme.lead, [mother], 20, into=stone)
    asked = []
    for group in (stones[:2], stones[2:]):
        with CaptureQueriesContext(connection) as queries:
            plant_structures(programme.lead, programme.plot, *group)
        asked.append(
            len([row for row in queries.captured_queries if not row["sql"].startswith("UPDATE")])
        )
    assert asked[0] == asked[1]
