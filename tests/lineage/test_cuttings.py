"""Cutting: who is cut, what becomes of it, and what the children get from it."""

from __future__ import annotations

from typing import Any

import pytest

from nursery.donors.models import DonorSet
from nursery.lineage.models import Fragmentation, Ramet, Source, Step
from nursery.lineage.words import Life, Origin, Place, Purpose, What
from tests import factories as f
from tests.refusals import refused


def now(ramet: Ramet) -> Ramet:
    return Ramet.objects.get(pk=ramet.pk)


def donors(ramet: Ramet) -> set[str]:
    row = ramet.donor_set
    return set(row.colonies.values_list("code", flat=True)) if row else set()


def test_children_follow_their_mother(programme: f.Programme) -> None:
    mother = programme.mother()
    for number, child in enumerate(f.cut(programme.lead, [mother], 3), start=1):
        assert (child.number, child.origin, child.generation) == (number, Origin.CUT, 1)
        assert child.taxon_id == mother.taxon_id
        assert child.genet_id == mother.genet_id
        assert child.donor_set_id == mother.donor_set_id
        assert (child.life, child.place, child.purpose) == (
            Life.LIVING,
            Place.NOWHERE,
            Purpose.PRODUCTION,
        )


def test_a_kept_source_lives_on_in_its_place(programme: f.Programme) -> None:
    mother = programme.mother()
    f.cut(programme.lead, [mother])
    after = now(mother)
    assert (after.life, after.structure_id, after.steps_taken) == (
        Life.LIVING,
        programme.tray.pk,
        3,
    )
    assert Step.objects.filter(ramet=mother).last().what == What.CUT_FROM  # type: ignore[union-attr]


def test_a_source_that_is_used_up_ends_and_leaves_its_place(programme: f.Programme) -> None:
    mother = programme.mother()
    f.cut(programme.lead, [], 2, used_up=[mother])
    after = now(mother)
    assert (after.life, after.place, after.structure_id) == (Life.USED_UP, Place.NOWHERE, None)
    assert Source.objects.get().used_up is True


def test_a_ramet_that_is_used_up_is_not_cut_again(programme: f.Programme) -> None:
    mother = programme.mother()
    f.cut(programme.lead, [], used_up=[mother])
    with refused("not_living", pointer="#/sources/0/ramet") as caught:
        f.cut(programme.lead, [mother], when="2021-04-02")
    message = caught.value.problems[0].message
    assert "used up" in message
    assert "1 March 2021" in message
    assert "2 April 2021" in message


@pytest.mark.parametrize("seen", ["dead", "missing"])
def test_a_dead_or_lost_ramet_is_not_cut(programme: f.Programme, seen: str) -> None:
    outplant = programme.outplants()[0]
    f.visit(programme.lead, programme.site, {outplant: seen})
    with refused("not_living", pointer="#/sources/0/ramet"):
        f.cut(programme.lead, [outplant], when="2021-10-01")


def test_a_living_outplant_may_be_cut(programme: f.Programme) -> None:
    outplant = programme.outplants()[0]
    child = f.cut(programme.lead, [outplant], when="2021-10-01")[0]
    assert child.generation == 2
    assert (now(outplant).life, now(outplant).place) == (Life.LIVING, Place.PLOT)


def test_pooled_sources_are_all_kept(programme: f.Programme) -> None:
    mothers = programme.mothers(3)
    child = f.cut(programme.lead, mothers[:2], 4, used_up=[mothers[2]])[0]
    sources = Source.objects.filter(fragmentation=child.fragmentation_id).order_by("pk")
    assert [(source.ramet, source.used_up) for source in sources] == [
        (mothers[0], False),
        (mothers[1], False),
        (mothers[2], True),
    ]


def test_pooled_children_are_one_past_the_oldest_of_their_sources(
    programme: f.Programme,
) -> None:
    mother = programme.mother()
    child = f.cut(programme.lead, [mother])[0]
    grandchild = f.cut(programme.lead, [child], when="2021-04-01")[0]
    pooled = f.cut(programme.lead, [mother, grandchild], when="2021-05-01")[0]
    assert (child.generation, grandchild.generation, pooled.generation) == (1, 2, 3)


def test_pooled_children_of_several_genets_have_none(programme: f.Programme) -> None:
    other = f.colony(programme.lead, programme.taxon, programme.reef)
    first = programme.mother()
    second = f.mothers(programme.lead, other, programme.tray)[0]
    child = f.cut(programme.lead, [first, second])[0]
    assert child.genet_id is None
    assert donors(child) == {programme.colony.code, other.code}


def test_pooled_children_of_one_genet_and_two_colonies_have_both(
    programme: f.Programme,
) -> None:
    genet = programme.colony.genet
    other = f.colony(programme.lead, programme.taxon, programme.reef, genet=genet.code)
    second = f.mothers(programme.lead, other, programme.tray)[0]
    child = f.cut(programme.lead, [programme.mother(), second])[0]
    assert child.genet_id == genet.pk
    assert donors(child) == {programme.colony.code, other.code}


def test_a_source_without_a_genet_leaves_the_children_without_one(
    programme: f.Programme,
) -> None:
    loose = f.collection(programme.lead, reef=programme.reef.code, taxon=programme.taxon.code)
    f.intake(programme.lead, loose, programme.nursery, programme.tray)
    child = f.cut(programme.lead, [programme.mother(), f.ramets_of(loose)[0]])[0]
    assert child.genet_id is None
    assert donors(child) == {programme.colony.code}


def test_equal_donor_sets_are_one_row(programme: f.Programme) -> None:
    other = f.colony(programme.lead, programme.taxon, programme.reef)
    first, again = programme.mothers(2)
    second = f.mothers(programme.lead, other, programme.tray)[0]
    one = f.cut(programme.lead, [first, second])[0]
    two = f.cut(programme.lead, [second, again])[0]
    assert one.donor_set_id == two.donor_set_id
    assert DonorSet.objects.count() == 3


def test_a_source_of_unknown_generation_leaves_the_generation_unknown(
    programme: f.Programme,
) -> None:
    legacy = f.stock(programme.lead, programme.nursery, [{"taxon": programme.taxon.code}])[0]
    child = f.cut(programme.lead, [legacy, programme.mother()])[0]
    assert child.generation is None


def test_sources_of_several_taxa_are_refused(programme: f.Programme) -> None:
    kind = f.taxon(programme.lead)
    other = f.colony(programme.lead, kind, programme.reef)
    second = f.mothers(programme.lead, other, programme.tray)[0]
    first = programme.mother()
    with refused("mixed_taxa", pointer="#/sources"):
        f.cut(programme.lead, [first, second])


def test_children_row_by_row_keep_what_was_said_of_them(programme: f.Programme) -> None:
    row = {"pieces": 5, "base": "disc", "purpose": "broodstock", "note": "pale"}
    child = f.cut(programme.lead, [programme.mother()], children=[row])[0]
    assert (child.pieces, child.base, child.purpose, child.note) == (
        5,
        "disc",
        Purpose.BROODSTOCK,
        "pale",
    )


def test_cutting_aboard_leaves_the_children_packed(programme: f.Programme) -> None:
    wild = f.ramets_of(f.collection(programme.lead, programme.colony))[0]
    child = f.cut(programme.lead, [wild], when=f.COLLECTED)[0]
    assert child.place == Place.PACKED


def test_a_ramet_named_twice_is_refused(programme: f.Programme) -> None:
    mother = programme.mother()
    with refused("named_twice", pointer="#/sources/1/ramet"):
        f.cut(programme.lead, [mother, mother])


def test_a_ramet_both_kept_and_used_up_is_refused(programme: f.Programme) -> None:
    mother = programme.mother()
    with refused("named_twice", pointer="#/sources/1/ramet"):
        f.cut(programme.lead, [mother], used_up=[mother])


def test_cutting_before_the_birth_is_refused_with_both_dates(programme: f.Programme) -> None:
    mother = programme.mother()
    with refused("before_collection", pointer="#/sources/0/ramet") as caught:
        f.cut(programme.lead, [mother], when="2020-12")
    message = caught.value.problems[0].message
    assert "December 2020" in message
    assert "10 January 2021" in message


def test_cutting_a_child_before_it_was_cut_is_refused(programme: f.Programme) -> None:
    child = f.cut(programme.lead, [programme.mother()])[0]
    with refused("before_fragmentation"):
        f.cut(programme.lead, [child], when="2021-02-28")


def test_a_late_cutting_that_uses_up_what_lived_on_is_refused_with_both_dates(
    programme: f.Programme,
) -> None:
    mother = programme.mother()
    f.move(programme.lead, [{"ramet": mother.code, "structure": programme.plate.code}])
    with refused("behind_later_entry") as caught:
        f.cut(programme.lead, [], used_up=[mother], when="2021-02-01")
    message = caught.value.problems[0].message
    assert "1 February 2021" in message
    assert "1 March 2021" in message


@pytest.mark.parametrize("when", ["2021", "2021-03", "2021-02-01/2021-03-01", "2021-03-01"])
def test_a_vague_date_that_can_be_after_the_last_entry_is_taken(
    programme: f.Programme, when: str
) -> None:
    mother = programme.mother()
    f.move(programme.lead, [{"ramet": mother.code, "structure": programme.plate.code}])
    assert len(f.cut(programme.lead, [mother], when=when)) == 1


def test_a_day_after_a_vague_entry_counts_from_its_beginning(programme: f.Programme) -> None:
    mother = programme.mother()
    f.cut(programme.lead, [mother], when="2021")
    f.cut(programme.lead, [mother], when="2021-02-01")
    with refused("before_collection"):
        f.cut(programme.lead, [mother], when="2020")


def test_the_time_of_day_decides_on_one_day(programme: f.Programme) -> None:
    mother = programme.mother()
    f.cut(programme.lead, [mother], when="2021-03-01T10:00")
    with refused("behind_later_entry"):
        f.cut(programme.lead, [], used_up=[mother], when="2021-03-01T09:59")
    f.cut(programme.lead, [mother], when="2021-03-01")
    f.cut(programme.lead, [mother], when="2021-03-01T10:00")
    f.cut(programme.lead, [mother], when="2021-03-01T09:59")


def test_a_thousand_children_are_cut_at_once(programme: f.Programme) -> None:
    children = f.cut(programme.lead, [programme.mother()], 1000, into=programme.tray)
    assert len({child.code for child in children}) == 1000
    assert [child.number for child in children] == list(range(1, 1001))
    assert {child.structure_id for child in children} == {programme.tray.pk}
    assert Fragmentation.objects.get().children_count == 1000


def test_a_thousand_and_one_children_are_refused(programme: f.Programme) -> None:
    mother = programme.mother()
    with refused("out_of_range", pointer="#/count"):
        f.cut(programme.lead, [mother], 1001)
    with refused("too_many", pointer="#/children"):
        f.cut(programme.lead, [mother], children=[{}] * 1001)


@pytest.mark.parametrize(
    ("values", "codes"),
    [
        ({"sources": []}, ["too_few"]),
        ({"count": None, "children": []}, ["required"]),
        ({"count": 2, "children": [{}]}, ["count_differs"]),
        ({"count": 0}, ["out_of_range"]),
        ({"count": -1}, ["out_of_range"]),
        ({"children": [{"pieces": 0}]}, ["out_of_range"]),
        ({"children": [{"pieces": 201}]}, ["out_of_range"]),
        ({"children": [{"purpose": "sale"}]}, ["not_a_choice"]),
        ({"children": [{"colour": "red"}]}, ["unknown_field"]),
        ({"children": [{"base": "x" * 41}]}, ["too_long"]),
        ({"children": [{"note": "x" * 201}]}, ["too_long"]),
        ({"children": [{"cell": "A1"}]}, ["cell_without_structure"]),
        ({"when": "2021-02-30"}, ["date_impossible"]),
        ({"when": "yesterday"}, ["date_malformed"]),
        ({"when": "2999-01-01"}, ["date_in_future"]),
        ({"when": "1492"}, ["date_too_early"]),
        ({"when": "2021-03-05/2021-03-01"}, ["date_range_reversed"]),
        ({"when": 2021}, ["date_malformed"]),
        ({"when": "2021-03-01\x00"}, ["control_character"]),
        ({"done_by": ["A\x00"]}, ["control_character"]),
        ({"done_by": ["x" * 101]}, ["too_long"]),
        ({"done_by": ["x" * 100] * 6}, ["too_long"]),
        ({"done_by": ["x"] * 21}, ["too_many"]),
        ({"note": "\x1b[31m"}, ["control_character"]),
        ({"note": "x" * 4001}, ["too_long"]),
        ({"uid": "1234"}, ["uid_malformed"]),
        ({"permits": ["NONE"]}, ["unknown_permit"]),
        ({"permits": ["-1"]}, ["code_malformed"]),
    ],
    ids=lambda value: str(value)[:60],
)
def test_a_cutting_that_makes_no_sense_is_refused(
    programme: f.Programme, values: dict[str, Any], codes: list[str]
) -> None:
    mother = programme.mother()
    with refused(*codes):
        f.cut(programme.lead, [mother], **values)


def test_more_than_two_hundred_sources_are_refused(programme: f.Programme) -> None:
    mother = programme.mother()
    with refused("too_many", pointer="#/sources"):
        f.cut(programme.lead, [mother] * 201)


def test_one_bad_row_refuses_the_whole_entry(programme: f.Programme) -> None:
    mother = programme.mother()
    children: list[dict[str, Any]] = [{"cell": "B2"}, {"cell": "L1"}, {"cell": "B3"}]
    with refused("cell_outside", pointer="#/children/1/cell"):
        f.cut(programme.lead, [mother], into=programme.plate, children=children)
