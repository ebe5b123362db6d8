"""Ramets end, each in its way: dead, lost, discarded, sampled, handed over, fused."""

from __future__ import annotations

from typing import Any

import pytest

from nursery.core.errors import Conflict, NotAllowed
from nursery.lineage.models import Ending, Ramet, Step
from nursery.lineage.words import Cause, Life, Place, What
from tests import factories as f
from tests.lineage.ends import EARLIER, ENDED, end, last_step, lives, now
from tests.refusals import everything_stored, refused

UID = "0b5e2a52-6a08-4c7d-9f57-6f2b1d1f9c21"
FATES = ["dead", "lost", "discarded", "sampled", "handed_over", "fused"]


@pytest.fixture
def children(programme: f.Programme) -> list[Ramet]:
    """Three ramets in A1, B1 and C1 of the plate."""
    return f.cut(programme.lead, [programme.mother()], 3, into=programme.plate)


def particulars(fate: str, into: Ramet) -> dict[str, Any]:
    return {"into": into.code} if fate == "fused" else {}


@pytest.mark.parametrize("fate", FATES)
def test_a_ramet_ends_by_one_step_of_its_own(
    programme: f.Programme, children: list[Ramet], fate: str
) -> None:
    event = end(programme.lead, children[:1], fate, **particulars(fate, children[1]))
    step = last_step(children[0])
    assert (step.event, step.what, step.life, step.place) == (
        event,
        What.ENDED,
        Life.of(fate),
        None,
    )
    assert lives(children) == [fate, "living", "living"]
    assert event.kind_word == "ending"


def test_an_ended_ramet_is_kept_where_it_was_last(
    programme: f.Programme, children: list[Ramet]
) -> None:
    end(programme.lead, children[:1], "discarded")
    ended = now(children[0])
    assert (ended.place, ended.structure, str(ended.cell)) == (
        Place.STRUCTURE,
        programme.plate,
        "A1",
    )


def test_its_cell_is_free_for_another(programme: f.Programme, children: list[Ramet]) -> None:
    end(programme.lead, children[:1])
    again = f.cut(programme.lead, [children[1]], into=programme.plate, when="2021-05-02")[0]
    assert str(again.cell) == "A1"


def test_each_row_may_have_its_own_fate_and_cause(
    programme: f.Programme, children: list[Ramet]
) -> None:
    rows = [
        {"ramet": children[0].code},
        {"ramet": children[1].code, "cause": "predation"},
        {"ramet": f"{programme.plate.code} C1", "fate": "sampled"},
    ]
    end(programme.lead, [], "dead", cause="bleaching", ramets=rows)
    assert lives(children) == ["dead", "dead", "sampled"]
    assert [now(child).cause for child in children] == [Cause.BLEACHING, Cause.PREDATION, None]


def test_a_death_without_a_cause_is_of_an_unknown_one(
    programme: f.Programme, children: list[Ramet]
) -> None:
    end(programme.lead, children[:1])
    assert now(children[0]).cause == Cause.UNKNOWN


def test_the_recipient_is_kept(programme: f.Programme, children: list[Ramet]) -> None:
    event = end(programme.lead, children, "handed_over", recipient="Invented Aquarium")
    assert Ending.objects.get(event=event).recipient == "Invented Aquarium"


def test_what_they_fused_into_is_kept_and_lives_on(
    programme: f.Programme, children: list[Ramet]
) -> None:
    event = end(programme.lead, children[:2], "fused", into=children[2].code)
    assert Ending.objects.get(event=event).into == children[2]
    assert lives(children) == ["fused", "fused", "living"]
    assert Step.objects.filter(event=event).count() == 2


def test_nothing_fuses_into_what_ends_with_it(
    programme: f.Programme, children: list[Ramet]
) -> None:
    with refused("fused_into_itself", pointer="#/into"):
        end(programme.lead, children, "fused", into=children[2].code)


def test_nothing_fuses_into_another_taxon(programme: f.Programme, children: list[Ramet]) -> None:
    other = f.colony(programme.lead, f.taxon(programme.lead), programme.reef)
    stranger = f.mothers(programme.lead, other, programme.tray)[0]
    with refused("into_other_taxon", "into_other_taxon", pointer="#/ramets/1/ramet"):
        end(
            programme.lead,
            [],
            "fused",
            into=stranger.code,
            ramets=[
                {"ramet": children[0].code, "fate": "sampled"},
                {"ramet": children[1].code},
                {"ramet": children[2].code},
            ],
        )


def test_nothing_fuses_into_what_has_ended(programme: f.Programme, children: list[Ramet]) -> None:
    end(programme.lead, [children[2]], when="2021-04-15")
    with refused("into_not_living", pointer="#/into") as caught:
        end(programme.lead, children[:1], "fused", into=children[2].code)
    assert "15 April 2021" in str(caught.value)
    assert "1 May 2021" in str(caught.value)


@pytest.mark.parametrize("when", [EARLIER, "2021-04", "2021-04-15"])
def test_it_may_have_ended_since(programme: f.Programme, children: list[Ramet], when: str) -> None:
    end(programme.lead, [children[2]], when="2021-04-15")
    end(programme.lead, children[:1], "fused", into=children[2].code, when=when)
    assert lives(children) == ["fused", "living", "dead"]


def test_nothing_fuses_into_what_was_not_there_yet(
    programme: f.Programme, children: list[Ramet]
) -> None:
    young = f.cut(programme.lead, [children[2]], when="2021-06-05")[0]
    with refused("before_fragmentation", pointer="#/into") as caught:
        end(programme.lead, children[:1], "fused", into=young.code)
    assert "5 June 2021" in str(caught.value)
    assert "1 May 2021" in str(caught.value)


@pytest.mark.parametrize(
    ("values", "codes", "pointer"),
    [
        ({"fate": None}, ["required"] * 3, "#/ramets/0/fate"),
        ({"fate": "eaten"}, ["not_a_choice"], "#/fate"),
        ({"fate": "lost", "cause": "storm"}, ["cause_without_death"], "#"),
        ({"fate": "fused"}, ["required"], "#"),
        ({"fate": "fused", "into": "NONE"}, ["unknown_ramet"], "#/into"),
        ({"fate": "dead", "recipient": "Somebody"}, ["recipient_without_handing_over"], "#"),
        ({"fate": "dead", "into": "NONE"}, ["into_without_fusing"], "#"),
        ({"ramets": []}, ["too_few"], "#/ramets"),
        ({"when": "2021-02-28"}, ["before_fragmentation"] * 3, "#/ramets/0/ramet"),
    ],
    ids=str,
)
def test_an_ending_that_makes_no_sense_is_refused(
    programme: f.Programme,
    children: list[Ramet],
    values: dict[str, Any],
    codes: list[str],
    pointer: str,
) -> None:
    with refused(*codes, pointer=pointer):
        end(programme.lead, children, **values)


@pytest.mark.parametrize("row", [{"fate": "lost", "cause": "cold"}, {"cause": "cold"}], ids=str)
def test_only_a_dead_row_has_a_cause(
    programme: f.Programme, children: list[Ramet], row: dict[str, str]
) -> None:
    rows = [{"ramet": children[0].code, **row}]
    with refused("cause_without_death"):
        end(programme.lead, [], "sampled", ramets=rows)


def test_a_ramet_named_twice_is_refused(programme: f.Programme, children: list[Ramet]) -> None:
    with refused("named_twice", pointer="#/ramets/1/ramet"):
        end(programme.lead, [children[0], children[0]])


def test_more_than_a_thousand_ramets_are_refused(
    programme: f.Programme, children: list[Ramet]
) -> None:
    with refused("too_many", pointer="#/ramets"):
        end(programme.lead, children[:1] * 1001)


def test_a_ramet_ends_once(programme: f.Programme, children: list[Ramet]) -> None:
    end(programme.lead, children[:1], "discarded", when=EARLIER)
    with refused("not_living", pointer="#/ramets/0/ramet") as caught:
        end(programme.lead, children[:1])
    assert "discarded (ending on 1 April 2021)" in str(caught.value)
    assert "1 May 2021" in str(caught.value)


def test_a_late_ending_of_one_that_was_cut_later_is_refused_with_both_dates(
    programme: f.Programme, children: list[Ramet]
) -> None:
    f.cut(programme.lead, children[:1], when="2021-05-20")
    with refused("behind_later_entry", pointer="#/ramets/0/ramet") as caught:
        end(programme.lead, children[:1])
    assert "20 May 2021" in str(caught.value)
    assert "1 May 2021" in str(caught.value)


def test_a_late_ending_is_fitted_in_where_only_a_sighting_follows(
    programme: f.Programme,
) -> None:
    outplant = programme.outplants()[0]
    f.visit(programme.lead, programme.site, {outplant: "missing"})
    event = end(programme.lead, [outplant], "sampled", when="2021-07-01")
    steps = list(Step.objects.filter(ramet=outplant, live=True).order_by("order"))
    assert [step.what for step in steps] == [
        What.BORN,
        What.PLANTED,
        What.ENDED,
        What.SEEN_MISSING,
    ]
    assert steps[2].event == event


def test_a_late_ending_frees_the_cell_from_its_own_day_on(
    programme: f.Programme, children: list[Ramet]
) -> None:
    f.move(programme.lead, [{"ramet": children[1].code, "structure": programme.tray.code}])
    f.move(
        programme.lead,
        [{"ramet": children[1].code, "structure": programme.plate.code, "cell": "D1"}],
        when="2021-06-01",
    )
    end(programme.lead, children[:1])
    place = {"structure": programme.plate.code, "cell": "A1"}
    with refused("cell_was_held", pointer="#/ramets/0/ramet") as caught:
        f.move(programme.lead, [{"ramet": children[2].code, **place}], when="2021-04-30")
    assert "1 May 2021" in str(caught.value)
    f.move(programme.lead, [{"ramet": children[2].code, **place}], when="2021-05-02")
    assert str(now(children[2]).cell) == "A1"


def test_nothing_lives_on_in_one_place_after_its_end(
    programme: f.Programme, children: list[Ramet]
) -> None:
    end(programme.lead, children[:1], "lost")
    with refused("not_living"):
        f.move(
            programme.lead,
            [{"ramet": children[0].code}],
            structure=programme.tray.code,
            when="2021-05-02",
        )


def test_field_staff_take_samples_of_outplants(programme: f.Programme) -> None:
    outplant = programme.outplants()[0]
    end(f.field(), [outplant], "sampled", when="2021-07-01")
    ended = now(outplant)
    assert (ended.life, ended.place, ended.plot) == (Life.SAMPLED, Place.PLOT, programme.plot)


def test_nursery_staff_end_no_outplants(programme: f.Programme) -> None:
    outplant = programme.outplants()[0]
    by = f.staff(programme.nursery)
    with refused("not_allowed", by=NotAllowed):
        end(by, [outplant], when="2021-07-01")


def test_staff_end_what_stands_in_their_own_nursery(
    programme: f.Programme, children: list[Ramet]
) -> None:
    end(f.staff(programme.nursery), children[:1])
    stranger, viewer = f.staff(f.nursery(programme.lead)), f.viewer()
    with refused("not_your_nursery", by=NotAllowed):
        end(stranger, children[1:])
    with refused("not_allowed", by=NotAllowed):
        end(viewer, children[1:])


def test_the_same_ending_again_is_answered_and_not_written(
    programme: f.Programme, children: list[Ramet]
) -> None:
    first = end(programme.lead, children[:2], "fused", into=children[2].code, uid=UID)
    stored = everything_stored()
    assert end(programme.lead, children[:2], "fused", into=children[2].code, uid=UID) == first
    assert everything_stored() == stored
    with refused("uid_taken", by=Conflict, pointer="#/uid"):
        end(programme.lead, children[:2], "lost", uid=UID)


def test_the_number_of_queries_does_not_grow_with_the_ramets(
    programme: f.Programme, django_assert_max_num_queries: Any
) -> None:
    children = f.cut(programme.lead, [programme.mother()], 100, into=programme.plate)
    with django_assert_max_num_queries(24):
        end(programme.lead, children)
    assert set(lives(children)) == {"dead"}
    assert {now(child).not_before.date().isoformat() for child in children} == {ENDED}
