"""Visits: what was seen decides, whatever the record said; and what can not have been seen."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

import pytest

from nursery.core.actor import Role
from nursery.core.errors import NotAllowed
from nursery.core.inputs import read
from nursery.lineage.models import Ramet, Step
from nursery.lineage.words import Cause, Life, Place, What
from nursery.outplanting import actions
from nursery.outplanting.inputs import VisitIn
from nursery.outplanting.models import Condition, Observation, Visit
from tests import factories as f
from tests.refusals import refused


@pytest.fixture
def outplants(programme: f.Programme) -> list[Ramet]:
    return programme.outplants(3)


def now(ramet: Ramet) -> Ramet:
    return Ramet.objects.get(pk=ramet.pk)


def looked(programme: f.Programme, *rows: dict[str, Any], **values: Any) -> Visit:
    """A visit whose observations are given row by row."""
    return f.visit(programme.lead, programme.site, {}, **{"observations": list(rows), **values})


def to_reef(programme: f.Programme, *rows: dict[str, Any], **values: Any) -> Visit:
    given = {
        "when": f.SEEN,
        "reef": programme.reef.code,
        "observations": list(rows),
        **values,
    }
    return Visit.objects.get(event=actions.visit(programme.lead, read(VisitIn, given)).event)


def test_what_was_seen_is_what_is_so(programme: f.Programme, outplants: list[Ramet]) -> None:
    alive, dead, missing = outplants
    f.visit(programme.lead, programme.site, {alive: "alive", dead: "dead", missing: "missing"})
    assert [(now(each).life, now(each).cause) for each in outplants] == [
        (Life.LIVING, None),
        (Life.DEAD, Cause.UNKNOWN),
        (Life.LOST, None),
    ]
    assert {now(each).plot for each in outplants} == {programme.plot}


def test_an_observation_keeps_what_was_said_of_it(
    programme: f.Programme, outplants: list[Ramet]
) -> None:
    row = {
        "ramet": outplants[0].code,
        "condition": "dead",
        "cause": "storm",
        "tissue_lost": "100 %",
        "size": "4 in",
        "note": "broken off",
    }
    visit = looked(programme, row)
    seen = Observation.objects.get()
    assert (seen.visit, seen.ramet, seen.plot, seen.colony) == (
        visit,
        outplants[0],
        programme.plot,
        None,
    )
    assert (seen.condition, seen.cause, seen.tissue_lost, seen.size_cm, seen.note) == (
        Condition.DEAD,
        Cause.STORM,
        Decimal("100.0"),
        Decimal("10.2"),
        "broken off",
    )


@pytest.mark.parametrize("before", ["dead", "missing"])
def test_a_ramet_that_is_seen_alive_again_lives_again(
    programme: f.Programme, outplants: list[Ramet], before: str
) -> None:
    ramet = outplants[0]
    f.visit(programme.lead, programme.site, {ramet: before})
    f.visit(programme.lead, programme.site, {ramet: "alive"}, when="2021-10-01")
    after = now(ramet)
    assert (after.life, after.cause, after.place, after.plot) == (
        Life.LIVING,
        None,
        Place.PLOT,
        programme.plot,
    )


def test_the_latest_look_decides_whatever_was_seen_before(
    programme: f.Programme, outplants: list[Ramet]
) -> None:
    ramet = outplants[0]
    for day, seen in enumerate(("dead", "dead", "alive", "missing", "dead", "missing"), start=1):
        f.visit(programme.lead, programme.site, {ramet: seen}, when=f"2021-09-{day:02d}")
    assert (now(ramet).life, now(ramet).cause) == (Life.LOST, None)
    assert [step.what for step in Step.objects.filter(ramet=ramet, order__gt=2)] == [
        What.SEEN_DEAD,
        What.SEEN_DEAD,
        What.SEEN_ALIVE,
        What.SEEN_MISSING,
        What.SEEN_DEAD,
        What.SEEN_MISSING,
    ]


def test_an_outplant_that_was_used_up_may_still_be_seen_alive(
    programme: f.Programme, outplants: list[Ramet]
) -> None:
    ramet = outplants[0]
    f.cut(programme.lead, [], used_up=[ramet], when="2021-07-01")
    f.visit(programme.lead, programme.site, {ramet: "alive"})
    assert now(ramet).life == Life.LIVING


def test_a_visit_may_find_nothing(programme: f.Programme, outplants: list[Ramet]) -> None:
    visit = looked(programme)
    assert (visit.site, visit.observations.count()) == (programme.site, 0)


def test_what_was_never_planted_is_not_seen_on_the_reef(programme: f.Programme) -> None:
    mother = programme.mother()
    with refused("not_planted_here", pointer="#/observations/0/ramet"):
        f.visit(programme.lead, programme.site, {mother: "alive"})


def test_what_was_planted_at_another_site_is_refused(
    programme: f.Programme, outplants: list[Ramet]
) -> None:
    other = f.site(programme.lead)
    with refused("not_planted_here") as caught:
        f.visit(programme.lead, other, {outplants[0]: "alive"})
    assert other.code in caught.value.problems[0].message


def test_nothing_is_seen_before_it_was_planted(
    programme: f.Programme, outplants: list[Ramet]
) -> None:
    with refused("before_outplanting", pointer="#/observations/0/ramet") as caught:
        f.visit(programme.lead, programme.site, {outplants[0]: "alive"}, when="2021-05-31")
    message = caught.value.problems[0].message
    assert "31 May 2021" in message
    assert "1 June 2021" in message


@pytest.mark.parametrize("when", ["2021", "2021-06", "2021-06-01", "2021-05-01/2021-06-01"])
def test_a_vague_visit_that_can_be_after_the_planting_is_taken(
    programme: f.Programme, outplants: list[Ramet], when: str
) -> None:
    f.visit(programme.lead, programme.site, {outplants[0]: "dead"}, when=when)
    assert now(outplants[0]).life == Life.DEAD


def test_a_donor_colony_is_seen_on_a_visit_to_its_reef(programme: f.Programme) -> None:
    row = {"colony": programme.colony.code, "condition": "alive", "tissue_lost": 20}
    visit = to_reef(programme, row)
    seen = Observation.objects.get()
    assert (visit.reef, seen.colony, seen.ramet, seen.condition) == (
        programme.reef,
        programme.colony,
        None,
        Condition.ALIVE,
    )


def test_a_donor_colony_is_seen_on_a_visit_to_a_site_of_its_reef(
    programme: f.Programme, outplants: list[Ramet]
) -> None:
    looked(
        programme,
        {"colony": programme.colony.code, "condition": "dead"},
        {"ramet": outplants[0].code, "condition": "alive"},
    )
    seen = Observation.objects.exclude(colony=None).get()
    assert (seen.colony, seen.cause) == (programme.colony, Cause.UNKNOWN)


def test_a_colony_of_another_reef_is_refused(programme: f.Programme) -> None:
    other = f.colony(programme.lead, programme.taxon, f.reef(programme.lead))
    row = {"colony": other.code, "condition": "alive"}
    with refused("other_reef", pointer="#/observations/0/colony"):
        to_reef(programme, row)
    with refused("other_reef", pointer="#/observations/0/colony"):
        looked(programme, row)


def test_an_outplant_is_not_seen_on_a_visit_to_a_reef(
    programme: f.Programme, outplants: list[Ramet]
) -> None:
    with refused("not_planted_here", pointer="#/observations/0/ramet"):
        to_reef(programme, {"ramet": outplants[0].code, "condition": "alive"})


def test_one_thing_seen_twice_on_a_visit_is_refused(
    programme: f.Programme, outplants: list[Ramet]
) -> None:
    ramet = {"ramet": outplants[0].code, "condition": "alive"}
    with refused("named_twice", pointer="#/observations/1/ramet"):
        looked(programme, ramet, {**ramet, "condition": "dead"})
    colony = {"colony": programme.colony.code, "condition": "alive"}
    with refused("seen_twice", pointer="#/observations/2/colony"):
        looked(programme, ramet, colony, {**colony, "colony": programme.colony.code.lower()})


@pytest.mark.parametrize(
    ("values", "codes"),
    [
        ({"site": "NONE"}, ["unknown_site"]),
        ({"site": None, "reef": "NONE"}, ["unknown_reef"]),
        ({"site": None}, ["site_or_reef"]),
        ({"reef": "R"}, ["site_or_reef"]),
        ({"observations": [{"condition": "alive"}]}, ["ramet_or_colony"]),
        (
            {"observations": [{"ramet": "a", "colony": "b", "condition": "alive"}]},
            ["ramet_or_colony"],
        ),
        ({"observations": [{"ramet": "a", "condition": "ill"}]}, ["not_a_choice"]),
        ({"observations": [{"ramet": "a"}]}, ["required"]),
        (
            {"observations": [{"ramet": "a", "condition": "alive", "cause": "cold"}]},
            ["cause_without_death"],
        ),
        (
            {"observations": [{"ramet": "a", "condition": "missing", "cause": "cold"}]},
            ["cause_without_death"],
        ),
        (
            {"observations": [{"ramet": "a", "condition": "alive", "tissue_lost": 101}]},
            ["percent_out_of_range"],
        ),
        (
            {"observations": [{"ramet": "a", "condition": "alive", "size": "-3"}]},
            ["length_negative"],
        ),
        ({"observations": [{"ramet": "nobody", "condition": "alive"}]}, ["unknown_ramet"]),
        ({"observations": [{"colony": "NONE", "condition": "alive"}]}, ["unknown_donorcolony"]),
        ({"observations": [{"ramet": "a", "condition": "alive"}] * 2001}, ["too_many"]),
        ({"when": "2999"}, ["date_in_future"]),
    ],
    ids=lambda value: str(value)[:60],
)
def test_a_visit_that_makes_no_sense_is_refused(
    programme: f.Programme, values: dict[str, Any], codes: list[str]
) -> None:
    with refused(*codes):
        looked(programme, **values)


def test_one_bad_row_refuses_the_whole_visit(
    programme: f.Programme, outplants: list[Ramet]
) -> None:
    rows = [{"ramet": ramet.code, "condition": "dead"} for ramet in outplants]
    with refused("unknown_donorcolony"):
        looked(programme, *rows, {"colony": "NONE", "condition": "alive"})


@pytest.mark.parametrize(
    ("who", "code"),
    [(Role.VIEWER, "not_allowed"), (Role.NURSERY, "not_allowed"), (None, "no_role")],
)
def test_who_enters_no_visits(
    programme: f.Programme, outplants: list[Ramet], who: Role | None, code: str
) -> None:
    actor = f.actor(*([who] if who else []), at=programme.nursery)
    with refused(code, by=NotAllowed):
        f.visit(actor, programme.site, {outplants[0]: "alive"})


def test_field_staff_enter_visits(programme: f.Programme, outplants: list[Ramet]) -> None:
    f.visit(f.field(), programme.site, {outplants[0]: "dead"})
    assert now(outplants[0]).life == Life.DEAD


def test_a_reading_token_enters_no_visits(programme: f.Programme, outplants: list[Ramet]) -> None:
    reader = f.actor(Role.FIELD, read_only=True)
    with refused("read_only", by=NotAllowed):
        f.visit(reader, programme.site, {outplants[0]: "alive"})
