"""Counts of plots on a visit: kept as they were counted, and no ramet is changed by them."""

from __future__ import annotations

from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from nursery.core.errors import Conflict
from nursery.core.inputs import read
from nursery.donors.models import Genet
from nursery.lineage.models import Ramet, Step
from nursery.lineage.words import Life
from nursery.outplanting import actions
from nursery.outplanting.inputs import VisitIn
from nursery.outplanting.models import PlotCount, Visit
from nursery.places.models import Plot
from tests import factories as f
from tests.outplanting.reef import differences, lift, now
from tests.refusals import everything_stored, refused

UID = "0e4fd9e4-2f5c-4f8b-8d1b-5b1df0d9c4aa"


@pytest.fixture
def outplants(programme: f.Programme) -> list[Ramet]:
    return programme.outplants(3)


def counted(programme: f.Programme, *rows: dict[str, Any], **values: Any) -> Visit:
    """A visit on which plots were counted; a row that names none is of the programme's plot."""
    counts = [{"plot": programme.plot.code, **row} for row in rows]
    return f.visit(programme.lead, programme.site, {}, **{"counts": counts, **values})


def genet_of(ramet: Ramet) -> Genet:
    assert ramet.genet is not None
    return ramet.genet


def test_a_count_keeps_what_was_counted_of_a_genet_a_taxon_and_all(
    programme: f.Programme, outplants: list[Ramet]
) -> None:
    genet = genet_of(outplants[0])
    visit = counted(
        programme,
        {"alive": 2, "dead": 1, "missing": 4, "genet": genet.code, "note": "  two pale "},
        {"alive": 7, "taxon": programme.taxon.code.lower()},
        {"alive": 0, "dead": 0},
    )
    assert [
        (row.plot, row.genet, row.taxon, row.alive, row.dead, row.missing, row.note)
        for row in visit.counts.all()
    ] == [
        (programme.plot, genet, None, 2, 1, 4, "two pale"),
        (programme.plot, None, programme.taxon, 7, None, None, ""),
        (programme.plot, None, None, 0, 0, None, ""),
    ]


def test_a_count_changes_no_ramet(programme: f.Programme, outplants: list[Ramet]) -> None:
    before = list(Ramet.objects.order_by("pk").values())
    steps = Step.objects.count()
    counted(programme, {"alive": 0, "dead": 3})
    assert list(Ramet.objects.order_by("pk").values()) == before
    assert Step.objects.count() == steps
    assert differences() == []


def test_a_visit_both_counts_and_looks_at_single_ones(
    programme: f.Programme, outplants: list[Ramet]
) -> None:
    seen = [{"ramet": outplants[0].code, "condition": "dead"}]
    visit = counted(programme, {"alive": 2}, observations=seen)
    assert (visit.counts.count(), visit.observations.count()) == (1, 1)
    assert now(outplants[0]).life == Life.DEAD


def test_all_plots_of_a_site_are_counted_on_one_visit(programme: f.Programme) -> None:
    other = f.plot(programme.lead, programme.site)
    counted(programme, {"alive": 1}, {"plot": other.code, "alive": 2})
    assert set(PlotCount.objects.values_list("plot", "alive")) == {
        (programme.plot.pk, 1),
        (other.pk, 2),
    }


def test_the_same_plot_is_counted_again_on_another_visit(programme: f.Programme) -> None:
    counted(programme, {"alive": 5})
    counted(programme, {"alive": 4}, when="2021-12-01")
    assert list(PlotCount.objects.values_list("alive", flat=True)) == [5, 4]


def test_a_plot_of_another_site_is_refused(programme: f.Programme) -> None:
    other = f.plot(programme.lead, f.site(programme.lead))
    with refused("other_site", pointer="#/counts/1/plot") as caught:
        counted(programme, {"alive": 1}, {"plot": other.code, "alive": 1})
    assert other.site.code in caught.value.problems[0].message


def test_the_same_counted_twice_is_refused(programme: f.Programme, outplants: list[Ramet]) -> None:
    for of in (
        {},
        {"genet": genet_of(outplants[0]).code},
        {"taxon": programme.taxon.code},
    ):
        rows = [{"alive": 1, **of}, {"alive": 2, **of}]
        with refused("counted_twice", pointer="#/counts/1/plot"):
            counted(programme, *rows)


def test_everything_unknown_is_told_at_once(programme: f.Programme) -> None:
    with refused("unknown_plot", "unknown_genet", "unknown_taxon") as caught:
        counted(
            programme,
            {"plot": "NONE", "alive": 1},
            {"genet": "NONE", "alive": 1},
            {"taxon": "NONE", "alive": 1},
        )
    assert [problem.pointer for problem in caught.value.problems] == [
        "#/counts/0/plot",
        "#/counts/1/genet",
        "#/counts/2/taxon",
    ]


def test_plots_are_not_counted_on_a_visit_to_a_reef(programme: f.Programme) -> None:
    given = {
        "when": f.SEEN,
        "reef": programme.reef.code,
        "counts": [{"plot": programme.plot.code, "alive": 1}],
    }
    with refused("site_or_reef"):
        actions.visit(programme.lead, read(VisitIn, given))


@pytest.mark.parametrize(
    ("row", "codes"),
    [
        ({}, ["required"]),
        ({"alive": -1}, ["out_of_range"]),
        ({"alive": 1_000_001}, ["out_of_range"]),
        ({"alive": "many"}, ["not_a_number"]),
        ({"alive": 1, "dead": -1}, ["out_of_range"]),
        ({"alive": 1, "missing": 1.5}, ["not_a_number"]),
        ({"alive": 1, "genet": "A", "taxon": "B"}, ["genet_or_taxon"]),
        ({"alive": 1, "note": "x" * 201}, ["too_long"]),
        ({"alive": 1, "note": "\x00"}, ["control_character"]),
        ({"alive": 1, "plot": "=1+1"}, ["code_malformed"]),
        ({"alive": 1, "ramet": "A"}, ["unknown_field"]),
    ],
    ids=str,
)
def test_a_count_that_makes_no_sense_is_refused(
    programme: f.Programme, row: dict[str, Any], codes: list[str]
) -> None:
    with refused(*codes):
        counted(programme, row)


@pytest.mark.parametrize("when", ["2021-05-01", "2021", "2021-06"])
def test_a_late_or_vague_count_is_kept_whatever_came_later(
    programme: f.Programme, outplants: list[Ramet], when: str
) -> None:
    lift(programme.lead, outplants, packed=True)
    counted(programme, {"alive": 3}, when=when)
    assert PlotCount.objects.get().alive == 3
    assert differences() == []


def test_a_closed_plot_is_still_counted(programme: f.Programme) -> None:
    Plot.objects.filter(pk=programme.plot.pk).update(closed_on="2021-07-01")
    counted(programme, {"alive": 3})
    assert PlotCount.objects.get().plot == programme.plot


def test_the_same_count_sent_twice_is_one(programme: f.Programme) -> None:
    first = counted(programme, {"alive": 3}, uid=UID)
    stored = everything_stored()
    assert counted(programme, {"alive": 3}, uid=UID) == first
    assert everything_stored() == stored
    with refused("uid_taken", by=Conflict, pointer="#/uid"):
        counted(programme, {"alive": 4}, uid=UID)


def test_one_bad_count_refuses_the_whole_visit(
    programme: f.Programme, outplants: list[Ramet]
) -> None:
    seen = [{"ramet": each.code, "condition": "dead"} for each in outplants]
    with refused("unknown_plot", pointer="#/counts/0/plot"):
        counted(programme, {"plot": "NONE", "alive": 1}, observations=seen)


def test_many_counts_ask_no_more_often_than_one(programme: f.Programme) -> None:
    plots = [f.plot(programme.lead, programme.site) for _ in range(10)]
    asked = []
    for group in (plots[:1], plots[1:]):
        with CaptureQueriesContext(connection) as queries:
            counted(
                programme,
                *({"plot": p.code, "alive": 1, "taxon": programme.taxon.code} for p in group),
            )
        asked.append(len(queries.captured_queries))
    assert asked[0] == asked[1]
