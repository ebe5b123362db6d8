"""Planting ramets in a plot: which, when, in which order, by whom."""

from __future__ import annotations

from typing import Any

import pytest

from nursery.core.actor import Role
from nursery.core.errors import NotAllowed
from nursery.lineage.late import InTheWay
from nursery.lineage.models import Ramet, Step
from nursery.lineage.words import Life, Place, What
from nursery.outplanting.models import Fixing, Outplant, Outplanting
from nursery.places.models import Plot, Site
from tests import factories as f
from tests.lineage.ends import end
from tests.refusals import refused


@pytest.fixture
def children(programme: f.Programme) -> list[Ramet]:
    return f.cut(programme.lead, [programme.mother()], 3, into=programme.plate)


def now(ramet: Ramet) -> Ramet:
    return Ramet.objects.get(pk=ramet.pk)


def test_planted_ramets_stand_in_the_plot_and_leave_their_cells(
    programme: f.Programme, children: list[Ramet]
) -> None:
    f.planting(programme.lead, programme.plot, children)
    for child in children:
        after = now(child)
        assert (after.place, after.plot, after.structure, after.cell, after.life) == (
            Place.PLOT,
            programme.plot,
            None,
            None,
            Life.LIVING,
        )
    assert Ramet.objects.filter(structure=programme.plate).count() == 0


def test_a_planting_keeps_what_only_the_reef_knows(
    programme: f.Programme, children: list[Ramet]
) -> None:
    rows = [
        {"ramet": children[0].code, "position": "N 3", "cluster": "a"},
        {"ramet": children[1].code, "fixing": "nail"},
    ]
    found = f.planting(programme.lead, programme.plot, [], outplants=rows, fixing="epoxy")
    assert [(row.position, row.cluster, row.fixing) for row in found.outplants.all()] == [
        ("N 3", "a", Fixing.EPOXY),
        ("", "", Fixing.NAIL),
    ]


def test_each_outplant_has_one_step(programme: f.Programme, children: list[Ramet]) -> None:
    f.planting(programme.lead, programme.plot, children)
    steps = Step.objects.filter(what=What.PLANTED)
    assert {(step.ramet, step.order, step.plot) for step in steps} == {
        (child, 2, programme.plot) for child in children
    }


def test_packed_ramets_are_planted(programme: f.Programme, children: list[Ramet]) -> None:
    f.move(programme.lead, [{"ramet": children[0].code}], packed=True)
    f.planting(programme.lead, programme.plot, children[:1])
    assert now(children[0]).place == Place.PLOT


def test_a_planted_ramet_is_not_planted_again(
    programme: f.Programme, children: list[Ramet]
) -> None:
    f.planting(programme.lead, programme.plot, children)
    other = f.plot(programme.lead, programme.site)
    for plot in (programme.plot, other):
        with refused("already_planted", pointer="#/outplants/0/ramet") as caught:
            f.planting(programme.lead, plot, children[:1], when="2021-07-01")
        assert "1 June 2021" in caught.value.problems[0].message


def test_a_ramet_named_twice_is_refused(programme: f.Programme, children: list[Ramet]) -> None:
    with refused("named_twice", pointer="#/outplants/1/ramet"):
        f.planting(programme.lead, programme.plot, [children[0], children[0]])


def test_a_ramet_that_was_used_up_is_not_planted(
    programme: f.Programme, children: list[Ramet]
) -> None:
    f.cut(programme.lead, [], used_up=[children[0]], when="2021-05-01")
    with refused("not_living", pointer="#/outplants/0/ramet"):
        f.planting(programme.lead, programme.plot, children)


def test_every_ramet_that_cannot_be_planted_is_told(
    programme: f.Programme, children: list[Ramet]
) -> None:
    f.planting(programme.lead, programme.plot, children[:1])
    f.cut(programme.lead, [], used_up=[children[2]], when="2021-05-01")
    with refused("already_planted", "not_living") as caught:
        f.planting(programme.lead, programme.plot, children)
    assert [problem.row for problem in caught.value.problems] == [0, 2]


@pytest.mark.parametrize("purpose", ["broodstock", "reserve"])
def test_only_production_is_planted_unless_it_is_said(programme: f.Programme, purpose: str) -> None:
    mother = programme.mother()
    child = f.cut(programme.lead, [mother], children=[{"purpose": purpose}])[0]
    with refused("not_for_planting", pointer="#/outplants/0/ramet") as caught:
        f.planting(programme.lead, programme.plot, [child])
    assert purpose in caught.value.problems[0].message
    f.planting(programme.lead, programme.plot, [child], other_purposes=True)
    assert now(child).place == Place.PLOT


def test_nothing_is_planted_before_it_was_cut(
    programme: f.Programme, children: list[Ramet]
) -> None:
    with refused("before_fragmentation", pointer="#/outplants/0/ramet") as caught:
        f.planting(programme.lead, programme.plot, children[:1], when="2021-02")
    message = caught.value.problems[0].message
    assert "February 2021" in message
    assert "1 March 2021" in message


@pytest.mark.parametrize("when", ["2021", "2021-03", "2021-03-01", "2021-02-20/2021-03-01"])
def test_a_vague_date_that_can_be_after_the_cutting_is_taken(
    programme: f.Programme, children: list[Ramet], when: str
) -> None:
    f.planting(programme.lead, programme.plot, children, when=when)
    assert now(children[0]).place == Place.PLOT


def test_nothing_is_planted_in_a_closed_plot_or_site(
    programme: f.Programme, children: list[Ramet]
) -> None:
    Plot.objects.filter(pk=programme.plot.pk).update(closed_on="2021-05-31")
    with refused("plot_closed", pointer="#/plot") as caught:
        f.planting(programme.lead, programme.plot, children)
    message = caught.value.problems[0].message
    assert "2021-05-31" in message
    assert "1 June 2021" in message
    Plot.objects.filter(pk=programme.plot.pk).update(closed_on=None)
    Site.objects.filter(pk=programme.site.pk).update(closed_on="2021-05-31")
    with refused("plot_closed", pointer="#/plot"):
        f.planting(programme.lead, programme.plot, children)
    f.planting(programme.lead, programme.plot, children, when="2021-05-31")


@pytest.mark.parametrize("when", ["2021-05", "2021", "2021-05-31/2021-06-10"])
def test_a_vague_planting_that_can_be_before_the_plot_was_closed_is_taken(
    programme: f.Programme, children: list[Ramet], when: str
) -> None:
    Plot.objects.filter(pk=programme.plot.pk).update(closed_on="2021-05-31")
    f.planting(programme.lead, programme.plot, children, when=when)
    assert now(children[0]).plot == programme.plot


def test_a_late_planting_before_the_site_was_closed_is_taken(
    programme: f.Programme, children: list[Ramet]
) -> None:
    f.cut(programme.lead, children[:1], 1, when="2021-08-01")
    Site.objects.filter(pk=programme.site.pk).update(closed_on="2021-07-01")
    with refused("plot_closed", pointer="#/plot"):
        f.planting(programme.lead, programme.plot, children, when="2021-07-02")
    f.planting(programme.lead, programme.plot, children, when="2021-07-01")
    assert now(children[0]).plot == programme.plot


def test_a_late_planting_of_one_that_was_moved_later_is_refused(
    programme: f.Programme, children: list[Ramet]
) -> None:
    row = {"ramet": children[1].code, "structure": programme.tray.code}
    f.move(programme.lead, [row], when="2021-08-01")
    with refused("behind_later_entry", by=InTheWay, pointer="#/outplants/1/ramet") as caught:
        f.planting(programme.lead, programme.plot, children)
    message = caught.value.problems[0].message
    assert "1 June 2021" in message
    assert "1 August 2021" in message


def test_a_late_planting_comes_before_a_death_on_record(
    programme: f.Programme, children: list[Ramet]
) -> None:
    end(programme.lead, children[:1], when="2021-08-01")
    f.planting(programme.lead, programme.plot, children)
    after = now(children[0])
    assert (after.life, after.place, after.plot) == (Life.DEAD, Place.PLOT, programme.plot)


def test_a_thousand_ramets_are_planted_at_once_and_one_more_is_refused(
    programme: f.Programme,
) -> None:
    children = f.cut(programme.lead, [programme.mother()], 1000, into=programme.tray)
    with refused("too_many", pointer="#/outplants"):
        f.planting(programme.lead, programme.plot, [*children, children[0]])
    f.planting(programme.lead, programme.plot, children)
    assert Ramet.objects.filter(plot=programme.plot, life=Life.LIVING).count() == 1000
    assert Outplant.objects.count() == 1000


@pytest.mark.parametrize(
    ("values", "codes"),
    [
        ({"plot": "NONE"}, ["unknown_plot"]),
        ({"plot": "A\x00"}, ["control_character"]),
        ({"plot": "=1+1"}, ["code_malformed"]),
        ({"outplants": []}, ["too_few"]),
        ({"outplants": [{"ramet": "nobody"}]}, ["unknown_ramet"]),
        ({"outplants": [{"ramet": "x", "position": "x" * 41}]}, ["too_long"]),
        ({"outplants": [{"ramet": "x", "cluster": "\x00"}]}, ["control_character"]),
        ({"outplants": [{"ramet": "x", "fixing": "hope"}]}, ["not_a_choice"]),
        ({"fixing": "hope"}, ["not_a_choice"]),
        ({"permits": ["NONE"]}, ["unknown_permit"]),
        ({"when": "2999"}, ["date_in_future"]),
        ({"genet": "G"}, ["unknown_field"]),
    ],
    ids=lambda value: str(value)[:50],
)
def test_a_planting_that_makes_no_sense_is_refused(
    programme: f.Programme, children: list[Ramet], values: dict[str, Any], codes: list[str]
) -> None:
    with refused(*codes):
        f.planting(programme.lead, programme.plot, children, **values)


@pytest.mark.parametrize(
    ("who", "code"),
    [
        (Role.VIEWER, "not_allowed"),
        (Role.NURSERY, "not_allowed"),
        (None, "no_role"),
    ],
)
def test_who_does_not_plant(
    programme: f.Programme, children: list[Ramet], who: Role | None, code: str
) -> None:
    actor = f.actor(*([who] if who else []), at=programme.nursery)
    with refused(code, by=NotAllowed):
        f.planting(actor, programme.plot, children)


def test_field_staff_plant_what_stands_in_any_nursery(
    programme: f.Programme, children: list[Ramet]
) -> None:
    f.planting(f.field(), programme.plot, children)
    assert Outplanting.objects.get().plot == programme.plot


def test_a_reading_token_does_not_plant(programme: f.Programme, children: list[Ramet]) -> None:
    reader = f.actor(Role.FIELD, read_only=True)
    with refused("read_only", by=NotAllowed):
        f.planting(reader, programme.plot, children)
