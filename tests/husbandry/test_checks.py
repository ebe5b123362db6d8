"""Checks: how ramets were found decides, whatever the record said; and what cannot be checked."""

from __future__ import annotations

import uuid
from decimal import Decimal

import pytest
from django.db import IntegrityError, connection, transaction
from django.test.utils import CaptureQueriesContext

from nursery.core.actor import Role
from nursery.core.errors import Conflict, NotAllowed
from nursery.core.inputs import read
from nursery.core.models import Event, EventKind
from nursery.husbandry.actions import check
from nursery.husbandry.inputs import CheckIn
from nursery.husbandry.models import Check, Finding, FindingState
from nursery.lineage.models import Ramet, Step
from nursery.lineage.words import Cause, Life, Place, What
from tests import factories as f
from tests.husbandry.plates import LATER, cell_of, cut_into, lives, looked, now, placed, whats
from tests.lineage.ends import end
from tests.lineage.identities import statements
from tests.outplanting.reef import lift
from tests.refusals import refused
from tests.verified import nothing_wrong


@pytest.fixture
def plugs(programme: f.Programme) -> list[Ramet]:
    return cut_into(programme, programme.plate, 4)


def test_how_they_were_found_is_how_they_are(programme: f.Programme, plugs: list[Ramet]) -> None:
    states = ("attached", "loose", "dead", "missing")
    found = f.check(programme.lead, dict(zip(plugs, states, strict=True)))
    assert lives(plugs) == ["living", "living", "dead", "lost"]
    assert [now(plug).cause for plug in plugs] == [None, None, Cause.UNKNOWN, None]
    assert {now(plug).structure for plug in plugs} == {programme.plate}
    rows = Finding.objects.filter(during=found).order_by("pk")
    assert [FindingState(row.state).word for row in rows] == list(states)
    assert [row.ramet_id for row in rows] == [plug.pk for plug in plugs]
    nothing_wrong()


def test_a_finding_keeps_size_note_and_cause(programme: f.Programme, plugs: list[Ramet]) -> None:
    looked(
        programme.lead,
        {"ramet": plugs[0].code, "state": "loose", "size_cm": "1 in", "note": "pressed back"},
        {"ramet": plugs[1].code, "state": "dead", "cause": "overgrowth", "size_cm": "1.5"},
    )
    loose, dead = Finding.objects.order_by("pk")
    assert (loose.size_cm, loose.note) == (Decimal("2.5"), "pressed back")
    assert (dead.size_cm, dead.note) == (Decimal("1.5"), "")
    assert now(plugs[1]).cause == Cause.OVERGROWTH
    assert Step.objects.get(what=What.CHECKED_DEAD).cause == Cause.OVERGROWTH


def test_ramets_are_named_by_code_tag_or_cell(programme: f.Programme) -> None:
    children = [{"tag": "T-7"}, {"cell": "C7"}, {}]
    plugs = f.cut(programme.lead, programme.mothers(), into=programme.plate, children=children)
    place = f"{programme.plate.code} c7"
    names = ("t-7", place, plugs[2].code)
    looked(programme.lead, *({"ramet": name, "state": "loose"} for name in names))
    assert set(Finding.objects.values_list("ramet", flat=True)) == {plug.pk for plug in plugs}


def test_a_cell_is_read_as_on_the_day_of_the_check(programme: f.Programme) -> None:
    first, second = cut_into(programme, programme.plate, 2)
    placed(programme.lead, first, programme.tray, None, LATER)
    placed(programme.lead, second, programme.plate, "A1", "2021-03-21")
    looked(programme.lead, {"ramet": f"{programme.plate.code} A1", "state": "loose"})
    assert Finding.objects.get().ramet == first


def test_a_dead_one_frees_its_cell(programme: f.Programme, plugs: list[Ramet]) -> None:
    f.check(programme.lead, {plugs[0]: "dead"})
    mother = programme.mother()
    placed(programme.lead, mother, programme.plate, "A1", LATER)
    assert cell_of(mother) == f"{programme.plate.code} A1"
    nothing_wrong()


@pytest.mark.parametrize("before", ["dead", "missing"])
def test_one_that_had_gone_is_found_alive_in_its_cell(
    programme: f.Programme, plugs: list[Ramet], before: str
) -> None:
    f.check(programme.lead, {plugs[0]: before})
    f.check(programme.lead, {plugs[0]: "loose"}, when=LATER)
    row = now(plugs[0])
    assert (row.life, row.cause, cell_of(row)) == (
        Life.LIVING,
        None,
        f"{programme.plate.code} A1",
    )
    nothing_wrong()


@pytest.mark.parametrize("fate", ["dead", "lost", "discarded", "sampled", "handed_over"])
def test_one_that_an_ending_had_ended_lives_again(
    programme: f.Programme, plugs: list[Ramet], fate: str
) -> None:
    end(programme.lead, plugs[:1], fate, when="2021-03-05")
    f.check(programme.lead, {plugs[0]: "attached"})
    assert lives(plugs[:1]) == ["living"]
    nothing_wrong()


def test_one_whose_cell_was_taken_lives_again_without_a_place(
    programme: f.Programme, plugs: list[Ramet]
) -> None:
    first, other = plugs[:2]
    end(programme.lead, [first], when="2021-03-05")
    mother = programme.mother()
    placed(programme.lead, mother, programme.plate, "A1", "2021-03-06")
    f.check(programme.lead, {first: "loose", other: "attached"})
    assert (lives([first]), now(first).place) == (["living"], Place.NOWHERE)
    assert (cell_of(mother), cell_of(other)) == (
        f"{programme.plate.code} A1",
        f"{programme.plate.code} B1",
    )
    nothing_wrong()


def test_one_whose_cell_was_blocked_lives_again_without_a_place(
    programme: f.Programme, plugs: list[Ramet]
) -> None:
    end(programme.lead, plugs[:1], when="2021-03-05")
    plate = programme.plate
    plate.blocked = [*plate.blocked, "A1"]
    plate.save(update_fields=["blocked"])
    f.check(programme.lead, {plugs[0]: "attached"})
    assert (lives(plugs[:1]), now(plugs[0]).place) == (["living"], Place.NOWHERE)


def test_of_two_of_one_cell_the_later_one_keeps_it(programme: f.Programme) -> None:
    (first,) = cut_into(programme, programme.plate, 1)
    end(programme.lead, [first], when="2021-03-05")
    second = programme.mother()
    placed(programme.lead, second, programme.plate, "A1", "2021-03-06")
    end(programme.lead, [second], when="2021-03-07")
    f.check(programme.lead, {first: "attached", second: "attached"})
    assert lives([first, second]) == ["living", "living"]
    assert (now(first).place, cell_of(second)) == (Place.NOWHERE, f"{programme.plate.code} A1")
    nothing_wrong()


def test_a_late_check_sees_one_alive_whose_cell_is_used_later(
    programme: f.Programme, plugs: list[Ramet]
) -> None:
    end(programme.lead, plugs[:1], when="2021-03-05")
    mother = programme.mother()
    placed(programme.lead, mother, programme.plate, "A1", LATER)
    f.check(programme.lead, {plugs[0]: "attached"}, when="2021-03-11")
    assert (lives(plugs[:1]), now(plugs[0]).place) == (["living"], Place.NOWHERE)
    assert cell_of(mother) == f"{programme.plate.code} A1"
    nothing_wrong()


def test_a_late_check_fits_in_before_what_was_entered_already(
    programme: f.Programme, plugs: list[Ramet]
) -> None:
    end(programme.lead, plugs[:1], when=LATER)
    f.planting(programme.lead, programme.plot, plugs[1:2])
    f.check(programme.lead, {plugs[0]: "loose", plugs[1]: "attached"})
    assert whats(plugs[0]) == [What.BORN, What.CHECKED_ALIVE, What.ENDED]
    assert whats(plugs[1]) == [What.BORN, What.CHECKED_ALIVE, What.PLANTED]
    nothing_wrong()


def test_a_late_check_that_found_one_dead_leaves_later_acts(
    programme: f.Programme, plugs: list[Ramet]
) -> None:
    f.planting(programme.lead, programme.plot, plugs[:1])
    f.check(programme.lead, {plugs[0]: "dead"})
    assert lives(plugs[:1]) == ["living"]
    assert now(plugs[0]).place == Place.PLOT
    nothing_wrong()


def test_a_vague_check_stands_after_all_else_of_its_month(
    programme: f.Programme, plugs: list[Ramet]
) -> None:
    end(programme.lead, plugs[:1], when="2021-03-20")
    f.check(programme.lead, {plugs[0]: "loose"}, when="2021-03")
    assert lives(plugs[:1]) == ["living"]


def test_what_is_on_its_way_or_nowhere_is_looked_at_too(programme: f.Programme) -> None:
    packed, nowhere = f.cut(programme.lead, programme.mothers(), 2)
    f.move(programme.lead, [{"ramet": packed.code}], packed=True, when="2021-03-02")
    f.check(programme.lead, {packed: "attached", nowhere: "dead"})
    assert lives([packed, nowhere]) == ["living", "dead"]


def test_what_stands_on_the_reef_is_not_checked(programme: f.Programme, plugs: list[Ramet]) -> None:
    f.planting(programme.lead, programme.plot, plugs[1:3])
    f.visit(programme.lead, programme.site, {plugs[2]: "dead"})
    found = dict.fromkeys(plugs, "attached")
    with refused("on_the_reef", "on_the_reef", pointer="#/findings/1/ramet") as caught:
        f.check(programme.lead, found, when="2021-10-01")
    message = caught.value.problems[0].message
    assert plugs[1].code in message
    assert "1 June 2021" in message
    assert "visit" in message


def test_what_was_lifted_is_checked_again(programme: f.Programme) -> None:
    (outplant,) = programme.outplants(1)
    lift(programme.lead, [outplant], programme.tray)
    f.check(programme.lead, {outplant: "loose"}, when="2021-07-10")
    assert lives([outplant]) == ["living"]


def test_a_planting_does_not_come_before_a_check(
    programme: f.Programme, plugs: list[Ramet]
) -> None:
    f.check(programme.lead, {plugs[0]: "attached"})
    with refused("behind_later_entry") as caught:
        f.planting(programme.lead, programme.plot, plugs[:1], when="2021-03-05")
    assert "11 March 2021" in caught.value.problems[0].message


def test_nothing_is_checked_before_it_was_cut(programme: f.Programme, plugs: list[Ramet]) -> None:
    with refused("before_fragmentation", pointer="#/findings/0/ramet") as caught:
        f.check(programme.lead, {plugs[0]: "attached"}, when="2021-02-20")
    message = caught.value.problems[0].message
    assert "1 March 2021" in message
    assert "20 February 2021" in message


def test_unknown_ones_and_one_named_twice_are_told_row_by_row(
    programme: f.Programme, plugs: list[Ramet]
) -> None:
    code = plugs[0].code
    rows = [{"ramet": name, "state": "loose"} for name in (code, "nothing", code)]
    with refused("unknown_ramet", "named_twice", pointer="#/findings/1/ramet"):
        looked(programme.lead, *rows)


@pytest.mark.parametrize(
    ("row", "code"),
    [
        ({"state": "loose", "cause": "storm"}, "cause_without_death"),
        ({"state": "missing", "size_cm": "2"}, "size_of_missing"),
        ({"state": "dying"}, "not_a_choice"),
        ({"state": "dead", "cause": "boredom"}, "not_a_choice"),
        ({"state": "loose", "size_cm": "-1"}, "length_negative"),
        ({}, "required"),
    ],
)
def test_a_row_that_says_nonsense_is_refused(
    programme: f.Programme, plugs: list[Ramet], row: dict[str, str], code: str
) -> None:
    with refused(code):
        looked(programme.lead, {"ramet": plugs[0].code, **row})


def test_a_check_of_nothing_is_refused(programme: f.Programme) -> None:
    with refused("too_few"):
        looked(programme.lead)


# Who may


def test_staff_of_the_nursery_may_check(programme: f.Programme, plugs: list[Ramet]) -> None:
    f.check(f.staff(programme.nursery), {plugs[0]: "attached"})
    assert Check.objects.count() == 1


def test_staff_of_another_nursery_may_not(programme: f.Programme, plugs: list[Ramet]) -> None:
    stranger = f.staff(f.nursery(programme.lead))
    with refused("not_your_nursery", by=NotAllowed):
        f.check(stranger, {plugs[0]: "attached"})


@pytest.mark.parametrize("roles", [(Role.FIELD,), (Role.VIEWER,), ()])
def test_who_works_at_no_nursery_may_not(
    programme: f.Programme, plugs: list[Ramet], roles: tuple[Role, ...]
) -> None:
    actor = f.actor(*roles)
    with refused("not_allowed" if roles else "no_role", by=NotAllowed):
        f.check(actor, {plugs[0]: "attached"})


def test_staff_may_enter_late_what_they_saw_of_one_that_has_been_planted(
    programme: f.Programme, plugs: list[Ramet]
) -> None:
    f.planting(programme.lead, programme.plot, plugs[:1])
    f.check(f.staff(programme.nursery), {plugs[0]: "attached"})
    assert whats(plugs[0]) == [What.BORN, What.CHECKED_ALIVE, What.PLANTED]


# The same again, and many


def test_the_same_check_again_is_the_same_event(programme: f.Programme, plugs: list[Ramet]) -> None:
    values = {"uid": str(uuid.uuid4())}
    first = f.check(programme.lead, {plugs[0]: "loose"}, **values)
    assert f.check(programme.lead, {plugs[0]: "loose"}, **values) == first
    assert Event.objects.filter(kind=EventKind.CHECK).count() == 1
    assert Finding.objects.count() == 1
    with refused("uid_taken", by=Conflict):
        f.check(programme.lead, {plugs[0]: "dead"}, **values)


def test_a_large_check_takes_no_more_queries_than_a_small_one(programme: f.Programme) -> None:
    """Some of them dead, some alive again, in cells and without."""

    def cost(count: int) -> int:
        plates = [f.structure(programme.lead, programme.bay) for _ in range(1 + count // 117)]
        mother = programme.mothers()
        plugs: list[Ramet] = []
        for number, plate in enumerate(plates):
            here = count // len(plates) + (number < count % len(plates))
            plugs += f.cut(programme.lead, mother, here, into=plate)
        end(programme.lead, plugs[::4], when="2021-03-05")
        states = ("attached", "loose", "dead", "missing")
        given = read(
            CheckIn,
            {
                "when": f.CHECKED,
                "findings": [
                    {"ramet": plug.code, "state": states[number % 4]}
                    for number, plug in enumerate(plugs)
                ],
            },
        )
        with CaptureQueriesContext(connection) as asked:
            check(programme.lead, given)
        assert Finding.objects.filter(during__event__kind=EventKind.CHECK).count() >= count
        return statements(asked)

    small, large = cost(8), cost(400)
    assert small == large
    assert large <= 16


def test_a_check_of_living_ones_is_cheap(programme: f.Programme) -> None:
    plugs = cut_into(programme, programme.plate, 100)
    given = read(
        CheckIn,
        {
            "when": f.CHECKED,
            "findings": [{"ramet": plug.code, "state": "attached"} for plug in plugs],
        },
    )
    with CaptureQueriesContext(connection) as asked:
        check(programme.lead, given)
    assert statements(asked) <= 10


# What the database holds


def test_a_ramet_is_found_once_by_a_check(programme: f.Programme, plugs: list[Ramet]) -> None:
    row = f.check(programme.lead, {plugs[0]: "loose"})
    with pytest.raises(IntegrityError), transaction.atomic():
        Finding.objects.create(during=row, ramet=plugs[0], state=FindingState.DEAD)


@pytest.mark.parametrize(
    "values",
    [
        {"state": 9},
        {"state": FindingState.MISSING, "size_cm": 2},
        {"state": FindingState.LOOSE, "size_cm": -1},
    ],
)
def test_findings_that_make_no_sense_are_not_kept(
    programme: f.Programme, plugs: list[Ramet], values: dict[str, int]
) -> None:
    row = f.check(programme.lead, {plugs[0]: "loose"})
    with pytest.raises(IntegrityError), transaction.atomic():
        Finding.objects.create(during=row, ramet=plugs[1], **values)
