"""Intake: what became of collected pieces on the way, and where they went."""

from __future__ import annotations

from typing import Any
from uuid import UUID

import pytest

from nursery.donors.models import Collection
from nursery.lineage.models import Ramet, Tag
from nursery.lineage.words import Cause, Life, Place
from tests import factories as f
from tests.refusals import refused


@pytest.fixture
def taken(programme: f.Programme) -> Collection:
    return f.collection(programme.lead, programme.colony, count=3)


def now(ramet: Ramet) -> Ramet:
    return Ramet.objects.get(pk=ramet.pk)


def test_pieces_that_arrived_stand_where_they_were_put(
    programme: f.Programme, taken: Collection
) -> None:
    f.intake(programme.lead, taken, programme.nursery, programme.plate)
    places = [(piece.structure, str(piece.cell)) for piece in f.ramets_of(taken)]
    assert places == [(programme.plate, cell) for cell in ("A1", "B1", "C1")]


def test_pieces_without_a_structure_stay_packed(programme: f.Programme, taken: Collection) -> None:
    f.intake(programme.lead, taken, programme.nursery, None)
    assert {piece.place for piece in f.ramets_of(taken)} == {Place.PACKED}


def test_pieces_are_named_by_number_code_or_tag(programme: f.Programme) -> None:
    taken = f.collection(programme.lead, programme.colony, pieces=[{}, {}, {"tag": "Blue 9"}])
    second = f.ramets_of(taken)[1]
    pieces = [{"ramet": "1"}, {"ramet": second.code.lower()}, {"ramet": "blue 9"}]
    f.intake(programme.lead, taken, programme.nursery, programme.tray, pieces=pieces)
    assert {piece.structure for piece in f.ramets_of(taken)} == {programme.tray}


def test_lost_and_dead_pieces_end_on_the_way(programme: f.Programme, taken: Collection) -> None:
    pieces = [
        {"ramet": "1", "outcome": "lost"},
        {"ramet": "2", "outcome": "dead", "cause": "handling"},
        {"ramet": "3", "outcome": "dead"},
    ]
    f.intake(programme.lead, taken, programme.nursery, programme.tray, pieces=pieces)
    assert [(piece.life, piece.cause, piece.place) for piece in f.ramets_of(taken)] == [
        (Life.LOST, None, Place.NOWHERE),
        (Life.DEAD, Cause.HANDLING, Place.NOWHERE),
        (Life.DEAD, Cause.UNKNOWN, Place.NOWHERE),
    ]


def test_pieces_may_arrive_in_several_intakes(programme: f.Programme, taken: Collection) -> None:
    for number in ("1", "2"):
        f.intake(
            programme.lead, taken, programme.nursery, programme.tray, pieces=[{"ramet": number}]
        )
    assert [piece.place for piece in f.ramets_of(taken)] == [
        Place.STRUCTURE,
        Place.STRUCTURE,
        Place.PACKED,
    ]


def test_a_piece_is_received_once(programme: f.Programme, taken: Collection) -> None:
    f.intake(programme.lead, taken, programme.nursery, programme.tray)
    with refused("not_packed", pointer="#/pieces/0/ramet"):
        f.intake(programme.lead, taken, programme.nursery, programme.plate, pieces=[{"ramet": "2"}])


@pytest.mark.parametrize("outcome", ["lost", "dead"])
def test_a_piece_that_was_received_is_not_lost_on_the_way(
    programme: f.Programme, taken: Collection, outcome: str
) -> None:
    f.intake(programme.lead, taken, programme.nursery, programme.tray)
    with refused("not_packed", pointer="#/pieces/0/ramet"):
        f.intake(
            programme.lead,
            taken,
            programme.nursery,
            None,
            pieces=[{"ramet": "2", "outcome": outcome}],
        )


def test_a_piece_that_was_lost_does_not_arrive(programme: f.Programme, taken: Collection) -> None:
    lost = [{"ramet": "1", "outcome": "lost"}]
    f.intake(programme.lead, taken, programme.nursery, None, pieces=lost)
    with refused("not_living"):
        f.intake(programme.lead, taken, programme.nursery, programme.tray, pieces=[{"ramet": "1"}])


def test_a_piece_of_another_collection_is_refused(
    programme: f.Programme, taken: Collection
) -> None:
    other = f.ramets_of(f.collection(programme.lead, programme.colony))[0]
    with refused("not_of_collection", pointer="#/pieces/0/ramet"):
        f.intake(
            programme.lead, taken, programme.nursery, programme.tray, pieces=[{"ramet": other.code}]
        )


def test_a_number_that_the_collection_does_not_have_is_refused(
    programme: f.Programme, taken: Collection
) -> None:
    with refused("unknown_ramet", pointer="#/pieces/0/ramet"):
        f.intake(programme.lead, taken, programme.nursery, None, pieces=[{"ramet": "4"}])


def test_one_piece_named_in_two_ways_is_refused(programme: f.Programme, taken: Collection) -> None:
    first = f.ramets_of(taken)[0]
    with refused("named_twice", pointer="#/pieces/1/ramet"):
        f.intake(
            programme.lead,
            taken,
            programme.nursery,
            programme.tray,
            pieces=[{"ramet": "1"}, {"ramet": first.code}],
        )


def test_an_intake_before_the_collection_is_refused_with_both_dates(
    programme: f.Programme, taken: Collection
) -> None:
    with refused("before_collection", pointer="#/when") as caught:
        f.intake(programme.lead, taken, programme.nursery, None, when="2021-01-09")
    message = caught.value.problems[0].message
    assert "9 January 2021" in message
    assert "10 January 2021" in message


def test_an_intake_on_the_day_before_noon_of_a_collection_in_the_afternoon_is_refused(
    programme: f.Programme,
) -> None:
    taken = f.collection(programme.lead, programme.colony, when="2021-01-10T15:00")
    with refused("before_collection"):
        f.intake(programme.lead, taken, programme.nursery, None, when="2021-01-10T09:00")
    f.intake(programme.lead, taken, programme.nursery, None, when="2021-01-10")


def test_a_vague_intake_that_can_follow_the_collection_is_taken(
    programme: f.Programme, taken: Collection
) -> None:
    f.intake(programme.lead, taken, programme.nursery, programme.tray, when="2021-01")
    assert {piece.place for piece in f.ramets_of(taken)} == {Place.STRUCTURE}


def test_a_structure_of_another_nursery_is_refused(
    programme: f.Programme, taken: Collection
) -> None:
    elsewhere = f.tray(programme.lead, f.bay(programme.lead, f.nursery(programme.lead)))
    with refused("other_nursery", "other_nursery", "other_nursery"):
        f.intake(programme.lead, taken, programme.nursery, elsewhere)


@pytest.mark.parametrize(
    ("values", "codes"),
    [
        ({"collection": str(UUID(int=7))}, ["unknown_collection"]),
        ({"collection": "7"}, ["uid_malformed"]),
        ({"nursery": "NONE"}, ["unknown_nursery"]),
        ({"structure": "NONE"}, ["unknown_structure"]),
        ({"pieces": []}, ["too_few"]),
        (
            {"structure": None, "pieces": [{"ramet": "1", "cell": "A1"}]},
            ["cell_without_structure"],
        ),
        ({"pieces": [{"ramet": "1", "outcome": "eaten"}]}, ["not_a_choice"]),
        (
            {"pieces": [{"ramet": "1", "outcome": "lost", "structure": "A"}]},
            ["place_without_piece"],
        ),
        ({"pieces": [{"ramet": "1", "outcome": "lost", "cell": "A1"}]}, ["place_without_piece"]),
        ({"pieces": [{"ramet": "1", "cause": "cold"}]}, ["cause_without_death"]),
        (
            {"pieces": [{"ramet": "1", "outcome": "dead", "cause": "boredom"}]},
            ["not_a_choice"],
        ),
    ],
    ids=str,
)
def test_an_intake_that_makes_no_sense_is_refused(
    programme: f.Programme, taken: Collection, values: dict[str, Any], codes: list[str]
) -> None:
    with refused(*codes):
        f.intake(programme.lead, taken, programme.nursery, programme.tray, **values)


def test_the_uid_of_another_kind_of_event_is_no_collection(
    programme: f.Programme, taken: Collection
) -> None:
    intake = f.intake(programme.lead, taken, programme.nursery, programme.tray)
    with refused("unknown_collection", pointer="#/collection"):
        f.intake(
            programme.lead, taken, programme.nursery, programme.tray, collection=str(intake.uid)
        )


def test_a_tag_may_be_put_on_at_the_intake(programme: f.Programme, taken: Collection) -> None:
    pieces = [{"ramet": "1", "tag": "n 1"}]
    f.intake(programme.lead, taken, programme.nursery, programme.tray, pieces=pieces)
    tag = Tag.objects.get()
    assert (tag.text, tag.ramet, str(tag.since)) == ("N 1", f.ramets_of(taken)[0], f.RECEIVED)
    assert now(tag.ramet).structure == programme.tray
