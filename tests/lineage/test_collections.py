"""Collecting: pieces of a colony, or loose ones, become ramets of generation 0."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

import pytest

from nursery.core.codes import make_code
from nursery.core.models import Event
from nursery.donors.models import Collection
from nursery.lineage.models import Ramet, Step, Tag
from nursery.lineage.words import Life, Origin, Place, What
from tests import factories as f
from tests.refusals import refused


def test_pieces_are_ramets_of_generation_0_and_packed(programme: f.Programme) -> None:
    found = f.collection(programme.lead, programme.colony, count=3)
    pieces = f.ramets_of(found)
    assert [piece.number for piece in pieces] == [1, 2, 3]
    for piece in pieces:
        assert (piece.origin, piece.generation, piece.life, piece.place) == (
            Origin.COLLECTED,
            0,
            Life.LIVING,
            Place.PACKED,
        )
        assert piece.born_id == found.event_id
        assert piece.genet_id == programme.colony.genet_id
        assert piece.taxon_id == programme.taxon.pk
        assert piece.donor_set is not None
        assert list(piece.donor_set.colonies.all()) == [programme.colony]


def test_a_collection_keeps_what_was_said_of_it(programme: f.Programme) -> None:
    found = f.collection(
        programme.lead,
        programme.colony,
        when="2021-02-03T10:30",
        depth="14 ft",
        piece_size="5 cm",
        share_taken="4,5 %",
        done_by=["Ana Reef", "Ben Tide"],
        note="calm\nclear",
    )
    event = found.event
    assert (found.depth_m, found.piece_size_cm, found.share_taken) == (
        Decimal("4.3"),
        Decimal("5.0"),
        Decimal("4.5"),
    )
    assert str(event.when) == "2021-02-03T10:30"
    assert event.people == ["Ana Reef", "Ben Tide"]
    assert event.note == "calm\nclear"
    assert event.recorded_by_id == programme.lead.user_id


def test_each_piece_has_one_step(programme: f.Programme) -> None:
    f.collection(programme.lead, programme.colony, count=2)
    steps = Step.objects.all()
    assert [(step.order, step.what, step.life, step.place) for step in steps] == [
        (1, What.BORN, Life.LIVING, Place.PACKED)
    ] * 2


def test_pieces_row_by_row_have_their_tags_and_notes(programme: f.Programme) -> None:
    found = f.collection(
        programme.lead, programme.colony, pieces=[{"tag": "old 7", "note": "edge"}, {}]
    )
    first, second = f.ramets_of(found)
    assert (first.note, second.note) == ("edge", "")
    assert list(Tag.objects.values_list("text", "ramet")) == [("OLD 7", first.pk)]


def test_a_collection_of_loose_pieces_has_no_colony_and_no_donors(programme: f.Programme) -> None:
    found = f.collection(
        programme.lead, reef=programme.reef.code, taxon=programme.taxon.code, count=2
    )
    assert (found.colony_id, found.reef_id) == (None, programme.reef.pk)
    assert {(piece.genet_id, piece.donor_set_id) for piece in f.ramets_of(found)} == {(None, None)}


def test_loose_pieces_may_be_of_a_known_genet(programme: f.Programme) -> None:
    genet = f.genet(programme.lead, programme.taxon)
    found = f.collection(
        programme.lead, reef=programme.reef.code, taxon=programme.taxon.code, genet=genet.code
    )
    assert f.ramets_of(found)[0].genet_id == genet.pk


def test_loose_pieces_of_a_genet_of_another_taxon_are_refused(programme: f.Programme) -> None:
    genet = f.genet(programme.lead, f.taxon(programme.lead))
    with refused("genet_other_taxon", pointer="#/genet"):
        f.collection(
            programme.lead, reef=programme.reef.code, taxon=programme.taxon.code, genet=genet.code
        )


@pytest.mark.parametrize(
    ("values", "code"),
    [
        ({}, "colony_or_reef"),
        ({"reef": "R"}, "colony_or_reef"),
        ({"colony": "C", "reef": "R"}, "colony_or_reef"),
        ({"colony": "C", "genet": "G"}, "colony_or_reef"),
        ({"colony": "C", "count": 2, "pieces": [{}]}, "count_differs"),
        ({"colony": "C", "count": 0}, "out_of_range"),
        ({"colony": "C", "count": 1001}, "out_of_range"),
        ({"colony": "C", "uncertainty_m": 0}, "out_of_range"),
        ({"colony": "C", "count": 2.5}, "not_a_number"),
        ({"colony": "C", "share_taken": 101}, "percent_out_of_range"),
        ({"colony": "C", "depth": "12 fathoms"}, "unit_unknown"),
        ({"colony": "C", "depth": "-3"}, "depth_above_surface"),
        ({"colony": "C", "colour": "green"}, "unknown_field"),
    ],
    ids=str,
)
def test_an_incomplete_or_contradictory_collection_is_refused(
    programme: f.Programme, values: dict[str, Any], code: str
) -> None:
    with refused(code):
        f.collection(programme.lead, **values)


def test_a_piece_of_a_size_that_no_coral_has_is_refused(programme: f.Programme) -> None:
    with refused("length_too_great", pointer="#/piece_size"):
        f.collection(programme.lead, programme.colony, piece_size="2000 m")


def test_nothing_said_of_how_many_is_refused(programme: f.Programme) -> None:
    with refused("required"):
        f.collection(programme.lead, programme.colony, count=None)


@pytest.mark.parametrize(
    ("values", "code", "pointer"),
    [
        ({"colony": "NONE"}, "unknown_donorcolony", "#/colony"),
        ({"reef": "NONE", "taxon": "{taxon}"}, "unknown_reef", "#/reef"),
        ({"reef": "{reef}", "taxon": "NONE"}, "unknown_taxon", "#/taxon"),
        ({"reef": "{reef}", "taxon": "{taxon}", "genet": "NONE"}, "unknown_genet", "#/genet"),
        ({"colony": "{colony}", "permits": ["NONE"]}, "unknown_permit", "#/permits/0"),
        ({"colony": "{colony}", "series": "ZZZZ"}, "unknown_series", "#/series"),
    ],
    ids=str,
)
def test_a_thing_that_is_not_registered_is_refused(
    programme: f.Programme, values: dict[str, Any], code: str, pointer: str
) -> None:
    known = {
        "reef": programme.reef.code,
        "taxon": programme.taxon.code,
        "colony": programme.colony.code,
    }
    given = {
        name: value.format(**known) if isinstance(value, str) else value
        for name, value in values.items()
    }
    with refused(code, pointer=pointer):
        f.collection(programme.lead, **given)


def test_nothing_is_collected_before_the_colony_was_found(programme: f.Programme) -> None:
    colony = f.colony(programme.lead, programme.taxon, programme.reef, found_on="2021-02-01")
    with refused("before_colony_found", pointer="#/when") as caught:
        f.collection(programme.lead, colony, when="2021-01")
    message = caught.value.problems[0].message
    assert "2021-02-01" in message
    assert "January 2021" in message


def test_a_vague_date_that_can_be_after_the_finding_is_taken(programme: f.Programme) -> None:
    colony = f.colony(programme.lead, programme.taxon, programme.reef, found_on="2021-02-01")
    assert f.collection(programme.lead, colony, when="2021").pieces == 1


def test_nothing_is_collected_after_the_colony_was_closed(programme: f.Programme) -> None:
    colony = f.colony(programme.lead, programme.taxon, programme.reef, closed_on="2021-02-01")
    f.collection(programme.lead, colony, when="2021-02-01")
    f.collection(programme.lead, colony, when="2021")
    with refused("colony_closed", pointer="#/when"):
        f.collection(programme.lead, colony, when="2021-02-02")


def test_a_collection_without_a_permit_is_kept(programme: f.Programme) -> None:
    found = f.collection(programme.lead, programme.colony)
    assert found.event.permit_links.count() == 0


def test_a_permit_is_named_in_any_case_and_once(programme: f.Programme) -> None:
    permit = f.permit(programme.lead)
    found = f.collection(
        programme.lead, programme.colony, permits=[permit.code.lower(), permit.code]
    )
    assert [link.permit for link in found.event.permit_links.all()] == [permit]


def test_a_thousand_pieces_are_taken_and_one_more_is_refused(programme: f.Programme) -> None:
    with refused("too_many", pointer="#/pieces"):
        f.collection(programme.lead, programme.colony, pieces=[{}] * 1001)
    found = f.collection(programme.lead, programme.colony, count=1000)
    assert found.ramets.count() == 1000
    assert Ramet.objects.values("code").distinct().count() == 1000


def test_codes_that_were_written_aboard_are_kept(programme: f.Programme) -> None:
    f.collection(programme.lead, programme.colony)
    series = Ramet.objects.get().code
    given = make_code("W", 100)
    found = f.collection(programme.lead, programme.colony, pieces=[{"code": given}, {}])
    first, second = f.ramets_of(found)
    assert series.startswith("W0001")
    assert first.code == given
    assert second.code.startswith("W0101")


def test_a_refused_collection_takes_no_codes(programme: f.Programme) -> None:
    before = f.ramets_of(f.collection(programme.lead, programme.colony))[0].code
    with refused("tag_twice"):
        f.collection(programme.lead, programme.colony, pieces=[{"tag": "1"}, {"tag": "1"}])
    after = f.ramets_of(f.collection(programme.lead, programme.colony))[0].code
    assert (before[:5], after[:5]) == ("W0001", "W0002")


def test_a_collection_is_one_event(programme: f.Programme) -> None:
    before = Event.objects.count()
    f.collection(programme.lead, programme.colony, count=10)
    assert Event.objects.count() == before + 1
    assert Collection.objects.count() == 1
