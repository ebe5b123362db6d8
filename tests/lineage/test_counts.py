"""Counting structures: a lot loses as many as were counted, a bare count changes no ramet."""

from __future__ import annotations

from typing import Any

import pytest

from nursery.core.errors import Conflict, NotAllowed
from nursery.lineage.models import Ramet, Step, StructureCount
from nursery.lineage.words import Cause, Life, Place, What
from nursery.places.models import Structure
from tests import factories as f
from tests.lineage.ends import EARLIER, ENDED, count, end, last_step, lives, now, tag_on
from tests.refusals import everything_stored, refused

UID = "0b5e2a52-6a08-4c7d-9f57-6f2b1d1f9c23"
LATER = "2021-05-20"


@pytest.fixture
def rope(programme: f.Programme) -> Structure:
    """A rope, empty, in the bay: it has no cells."""
    return f.tray(programme.lead, programme.bay, kind="rope")


@pytest.fixture
def lot(programme: f.Programme, rope: Structure) -> list[Ramet]:
    """Sixty untagged ramets of one cutting on the rope."""
    return f.cut(programme.lead, [programme.mother()], 60, into=rope)


def of(lot: list[Ramet], at: Structure, **values: Any) -> dict[str, Any]:
    """A row of a count of this lot."""
    return {"structure": at.code, "lot": str(lot[0].born.uid), **values}


def counted(lot: list[Ramet]) -> dict[str, int]:
    found = lives(lot)
    return {word: found.count(word) for word in sorted(set(found))}


def test_as_many_of_a_lot_end_as_were_counted_dead(
    programme: f.Programme, rope: Structure, lot: list[Ramet]
) -> None:
    event = count(programme.lead, [of(lot, rope, dead=9, alive=51, cause="bleaching")])
    assert counted(lot) == {"dead": 9, "living": 51}
    steps = list(Step.objects.filter(event=event))
    assert {(s.what, s.life, s.cause, s.place) for s in steps} == {
        (What.COUNTED_DEAD, Life.DEAD, Cause.BLEACHING, Place.STRUCTURE)
    }
    row = StructureCount.objects.get(event=event)
    assert (row.structure, row.lot_id, row.alive, row.dead, row.missing) == (
        rope,
        lot[0].born_id,
        51,
        9,
        0,
    )


def test_those_counted_missing_are_lost(
    programme: f.Programme, rope: Structure, lot: list[Ramet]
) -> None:
    count(programme.lead, [of(lot, rope, dead=2, missing=3)])
    assert counted(lot) == {"dead": 2, "living": 55, "lost": 3}
    assert [last_step(ramet).what for ramet in lot[:5]] == [
        *[What.COUNTED_DEAD] * 2,
        *[What.COUNTED_MISSING] * 3,
    ]
    assert [now(ramet).cause for ramet in lot[:3]] == [Cause.UNKNOWN, Cause.UNKNOWN, None]


def test_the_first_of_a_lot_end_whatever_the_order_they_were_touched_in(
    programme: f.Programme, rope: Structure, lot: list[Ramet]
) -> None:
    for ramet in (lot[1], lot[0]):
        f.move(programme.lead, [{"ramet": ramet.code, "base": "nail"}], when=EARLIER)
    count(programme.lead, [of(lot, rope, dead=2)])
    assert lives(lot[:3]) == ["dead", "dead", "living"]


def test_tagged_ones_are_not_interchangeable(programme: f.Programme, rope: Structure) -> None:
    rows = [{"tag": "T1"}, {"tag": "T2"}, {}, {}]
    lot = f.cut(programme.lead, [programme.mother()], children=rows, into=rope)
    with refused("more_than_there", pointer="#/counts/0/dead") as caught:
        count(programme.lead, [of(lot, rope, dead=3)])
    assert "only 2 untagged" in str(caught.value)
    count(programme.lead, [of(lot, rope, dead=2)])
    assert lives(lot) == ["living", "living", "dead", "dead"]


def test_only_those_in_that_structure_end(
    programme: f.Programme, rope: Structure, lot: list[Ramet]
) -> None:
    rows = [{"ramet": ramet.code} for ramet in lot[:50]]
    f.move(programme.lead, rows, structure=programme.tray.code, when=EARLIER)
    with refused("more_than_there", pointer="#/counts/0/missing") as caught:
        count(programme.lead, [of(lot, rope, missing=11)])
    assert "only 10 untagged" in str(caught.value)
    count(programme.lead, [of(lot, rope, missing=10), of(lot, programme.tray, dead=1)])
    assert counted(lot[:50]) == {"dead": 1, "living": 49}
    assert counted(lot[50:]) == {"lost": 10}


def test_another_lot_in_the_same_structure_is_left_alone(
    programme: f.Programme, rope: Structure, lot: list[Ramet]
) -> None:
    others = f.cut(programme.lead, [programme.mother()], 5, into=rope)
    count(programme.lead, [of(lot, rope, dead=60)])
    assert (counted(lot), counted(others)) == ({"dead": 60}, {"living": 5})


def test_a_lot_that_is_in_cells_is_named_by_its_cells(programme: f.Programme) -> None:
    lot = f.cut(programme.lead, [programme.mother()], 5, into=programme.plate)
    with refused("lot_in_cells", pointer="#/counts/0/lot"):
        count(programme.lead, [of(lot, programme.plate, dead=2)])


def test_a_count_of_the_living_may_differ_from_the_record(
    programme: f.Programme, rope: Structure, lot: list[Ramet]
) -> None:
    event = count(programme.lead, [of(lot, rope, dead=9, alive=40)])
    assert counted(lot) == {"dead": 9, "living": 51}
    assert StructureCount.objects.get(event=event).alive == 40


def test_a_lot_of_which_all_live_ends_nothing(
    programme: f.Programme, rope: Structure, lot: list[Ramet]
) -> None:
    event = count(programme.lead, [of(lot, rope, alive=60)])
    assert counted(lot) == {"living": 60}
    assert not Step.objects.filter(event=event).exists()


@pytest.mark.parametrize("values", [{"dead": 3, "alive": 117}, {"alive": 0}, {"missing": 1}])
def test_a_bare_count_changes_no_ramet(programme: f.Programme, values: dict[str, int]) -> None:
    lot = f.cut(programme.lead, [programme.mother()], 3, into=programme.plate)
    row = {"structure": programme.plate.code.lower(), "note": "thick with algae", **values}
    event = count(programme.lead, [row], when="2021-05")
    assert counted(lot) == {"living": 3}
    assert not Step.objects.filter(event=event).exists()
    kept = StructureCount.objects.get(event=event)
    assert (kept.lot, kept.note) == (None, "thick with algae")
    assert (kept.alive, kept.dead, kept.missing) == (
        values.get("alive"),
        values.get("dead", 0),
        values.get("missing", 0),
    )
    assert (event.kind_word, event.moment.date().isoformat()) == ("count", "2021-05-01")


def test_a_late_count_takes_those_that_lived_there_then(
    programme: f.Programme, rope: Structure, lot: list[Ramet]
) -> None:
    rows = [{"ramet": ramet.code} for ramet in lot[:50]]
    f.move(programme.lead, rows, structure=programme.tray.code, when=LATER)
    event = count(programme.lead, [of(lot, rope, dead=9)])
    # Of those that were interchangeable then, the ones of which nothing is known later.
    assert lives(lot[50:]) == ["dead"] * 9 + ["living"]
    assert counted(lot[:50]) == {"living": 50}
    assert Step.objects.filter(event=event).count() == 9


def test_a_late_count_of_what_was_all_packed_later_is_refused_with_both_dates(
    programme: f.Programme, rope: Structure, lot: list[Ramet]
) -> None:
    f.move(programme.lead, [{"ramet": ramet.code} for ramet in lot], packed=True, when=LATER)
    with refused("behind_later_entry", pointer="#/counts/0/dead") as caught:
        count(programme.lead, [of(lot, rope, dead=1)])
    assert "20 May 2021" in str(caught.value)
    assert "1 May 2021" in str(caught.value)


def test_a_late_count_is_fitted_in_before_a_tag_was_put_on(
    programme: f.Programme, rope: Structure
) -> None:
    lot = f.cut(programme.lead, [programme.mother()], 1, into=rope)
    later = tag_on(programme.lead, lot[0], "T1", LATER)
    event = count(programme.lead, [of(lot, rope, dead=1)])
    assert lives(lot) == ["dead"]
    steps = Step.objects.filter(ramet=lot[0], live=True).order_by("order")
    assert [step.event for step in steps] == [lot[0].born, event, later]


def test_those_that_were_planted_are_not_there_any_more(
    programme: f.Programme, rope: Structure
) -> None:
    lot = f.cut(programme.lead, [programme.mother()], 1, into=rope)
    f.planting(programme.lead, programme.plot, lot, when="2021-04-15")
    with refused("more_than_there"):
        count(programme.lead, [of(lot, rope, dead=1)])


def test_those_that_came_later_are_not_counted_before(
    programme: f.Programme, rope: Structure, lot: list[Ramet]
) -> None:
    f.move(programme.lead, [{"ramet": ramet.code} for ramet in lot], packed=True, when="2021-03-02")
    f.move(
        programme.lead, [{"ramet": ramet.code} for ramet in lot], structure=rope.code, when=LATER
    )
    with refused("more_than_there") as caught:
        count(programme.lead, [of(lot, rope, dead=1)])
    assert "only 0 untagged" in str(caught.value)
    assert "1 May 2021" in str(caught.value)


def test_two_counts_entered_the_wrong_way_round_end_as_many(
    programme: f.Programme, rope: Structure, lot: list[Ramet]
) -> None:
    count(programme.lead, [of(lot, rope, dead=9)], when=LATER)
    count(programme.lead, [of(lot, rope, dead=5)], when=ENDED)
    assert counted(lot) == {"dead": 14, "living": 46}


def test_ones_that_ended_by_name_are_not_counted_again(
    programme: f.Programme, rope: Structure, lot: list[Ramet]
) -> None:
    end(programme.lead, lot[:10], when=EARLIER)
    with refused("more_than_there"):
        count(programme.lead, [of(lot, rope, dead=51)])
    count(programme.lead, [of(lot, rope, dead=50)])
    assert counted(lot) == {"dead": 60}


@pytest.mark.parametrize(
    ("values", "code", "pointer"),
    [
        ({"structure": "NONE"}, "unknown_structure", "#/counts/0/structure"),
        ({"lot": UID}, "unknown_lot", "#/counts/0/lot"),
        ({"lot": "A1"}, "uid_malformed", "#/counts/0/lot"),
        ({"dead": 0}, "required", "#/counts/0"),
        ({"dead": 0, "alive": 1, "cause": "cold"}, "cause_without_death", "#/counts/0"),
        ({"lot": None, "cause": "cold"}, "cause_without_lot", "#/counts/0"),
        ({"dead": -1}, "out_of_range", "#/counts/0/dead"),
        ({"dead": 1001}, "too_many", "#"),
        ({"alive": "many"}, "not_a_number", "#/counts/0/alive"),
    ],
    ids=str,
)
def test_a_count_that_makes_no_sense_is_refused(
    programme: f.Programme,
    rope: Structure,
    lot: list[Ramet],
    values: dict[str, Any],
    code: str,
    pointer: str,
) -> None:
    with refused(code, pointer=pointer):
        count(programme.lead, [{**of(lot, rope, dead=1), **values}])


def test_a_count_before_the_cutting_is_refused_with_both_dates(
    programme: f.Programme, rope: Structure, lot: list[Ramet]
) -> None:
    with refused("before_fragmentation", pointer="#/counts/0/lot") as caught:
        count(programme.lead, [of(lot, rope, alive=60)], when="2021-02")
    assert "1 March 2021" in str(caught.value)
    assert "in February 2021" in str(caught.value)


@pytest.mark.parametrize("bare", [True, False])
def test_nothing_is_counted_twice_in_one_entry(
    programme: f.Programme, rope: Structure, lot: list[Ramet], bare: bool
) -> None:
    row = {"structure": rope.code, "dead": 1} if bare else of(lot, rope, dead=1)
    with refused("named_twice", pointer="#/counts/1/structure"):
        count(programme.lead, [row, {**row, "dead": 2}])


def test_a_lot_and_all_of_a_structure_may_be_counted_together(
    programme: f.Programme, rope: Structure, lot: list[Ramet]
) -> None:
    rows = [of(lot, rope, dead=1), {"structure": rope.code, "alive": 59}]
    event = count(programme.lead, rows)
    assert StructureCount.objects.filter(event=event).count() == 2


def test_more_than_a_thousand_rows_are_refused(programme: f.Programme, rope: Structure) -> None:
    with refused("too_many", pointer="#/counts"):
        count(programme.lead, [{"structure": rope.code, "alive": 1}] * 1001)


def test_staff_count_in_their_own_nursery(programme: f.Programme, rope: Structure) -> None:
    row = {"structure": rope.code, "alive": 0}
    count(f.staff(programme.nursery), [row])
    stranger, field, viewer = f.staff(f.nursery(programme.lead)), f.field(), f.viewer()
    for by in (stranger, field):
        with refused("not_your_nursery", by=NotAllowed):
            count(by, [row])
    with refused("not_allowed", by=NotAllowed):
        count(viewer, [row])


def test_field_staff_count_what_stands_on_the_reef(programme: f.Programme) -> None:
    frame, rock = (f.tray(programme.lead) for _ in range(2))
    f.move_structures(
        programme.lead,
        [
            {"structure": frame.code, "plot": programme.plot.code},
            {"structure": rock.code, "parent": frame.code},
        ],
    )
    rows = [{"structure": row.code, "alive": 0} for row in (frame, rock)]
    count(f.field(), rows)
    staff = f.staff(programme.nursery)
    with refused("not_allowed", by=NotAllowed):
        count(staff, rows[1:])


def test_the_same_count_again_is_answered_and_not_written(
    programme: f.Programme, rope: Structure, lot: list[Ramet]
) -> None:
    first = count(programme.lead, [of(lot, rope, dead=9)], uid=UID)
    stored = everything_stored()
    assert count(programme.lead, [of(lot, rope, dead=9)], uid=UID) == first
    assert everything_stored() == stored
    with refused("uid_taken", by=Conflict, pointer="#/uid"):
        count(programme.lead, [of(lot, rope, dead=8)], uid=UID)


def test_the_number_of_queries_does_not_grow_with_the_count(
    programme: f.Programme, rope: Structure, lot: list[Ramet], django_assert_max_num_queries: Any
) -> None:
    with django_assert_max_num_queries(24):
        count(programme.lead, [of(lot, rope, dead=59)])
    assert counted(lot) == {"dead": 59, "living": 1}
