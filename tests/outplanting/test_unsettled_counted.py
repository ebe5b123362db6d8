"""What is unsettled is counted without being told; and what of it a pool, a label or a count is."""

from __future__ import annotations

from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from nursery.core.errors import NotAllowed
from nursery.lineage.models import Ramet
from nursery.outplanting.actions.settle import SettledIn, accept
from nursery.outplanting.disagreeing import Unsettled
from nursery.outplanting.unsettled import CODES, how_many, unsettled
from tests import factories as f
from tests.lineage.ends import count, lose
from tests.lineage.identities import loose, other_genet, relabel

pytestmark = pytest.mark.django_db


def told(programme: f.Programme, code: str) -> list[Unsettled]:
    return unsettled(programme.lead, [code])


def pooled(programme: f.Programme, count: int = 2, **values: Any) -> list[Ramet]:
    """Children of ramets of two genets."""
    _, stranger = other_genet(programme)
    return f.cut(programme.lead, [programme.mother(), stranger], count, **values)


def everything(programme: f.Programme) -> None:
    """Something to settle of every kind, and of most kinds several."""
    p = programme
    for number, ramet in enumerate(p.outplants(4)):
        f.visit(p.lead, p.site, {ramet: "dead"}, when="2021-08-01")
        if number % 2:
            f.visit(p.lead, p.site, {ramet: "alive"}, when="2021-09-01")
    late = p.outplants(3)
    f.cut(p.lead, late, when="2021-09-01")
    for ramet in late:
        f.visit(p.lead, p.site, {ramet: "dead"}, when="2021-08-01")
    for day in ("2021-05-02", "2021-05-03"):
        count(p.lead, [{"structure": p.plate.code, "alive": 3}], when=day)
    children = pooled(p, 3)
    foreign, _ = other_genet(p)
    relabel(p.lead, children[:1], foreign)
    relabel(p.lead, children[1:2], None)
    tray = f.tray(p.lead, p.bay)
    lose(p.lead, tray, when="2021-05-01")
    moved = {"ramet": p.mother().code, "structure": tray.code}
    f.move(p.lead, [moved], when="2021-03-15")


def test_as_many_are_counted_as_are_told(programme: f.Programme) -> None:
    everything(programme)
    rows = unsettled(programme.lead)
    assert {row.code for row in rows} == CODES.keys()
    assert len({(row.code, row.thing) for row in rows}) == len(rows)
    assert how_many(programme.lead) == len(rows)


def test_what_stands_as_it_is_is_not_counted(programme: f.Programme) -> None:
    everything(programme)
    rows = unsettled(programme.lead)
    for code in CODES:
        thing = next(row.thing for row in rows if row.code == code)
        accept(programme.lead, SettledIn(code=code, thing=thing, reason="looked at"))
    assert how_many(programme.lead) == len(rows) - len(CODES)


def test_nobody_without_a_role_is_told_how_many(programme: f.Programme) -> None:
    with pytest.raises(NotAllowed):
        how_many(f.actor())


def test_a_record_that_agrees_has_none(programme: f.Programme) -> None:
    programme.mother(permits=[f.permit(programme.lead).code])
    assert how_many(programme.lead) == 0


@pytest.mark.parametrize("n", [1, 4])
def test_the_number_of_queries_does_not_grow_with_what_is_counted(
    programme: f.Programme, n: int
) -> None:
    for _ in range(n):
        everything(programme)
    with CaptureQueriesContext(connection) as queries:
        assert how_many(programme.lead) > n
    assert len(queries) == 12


def test_a_death_that_was_contradicted_before_the_act_is_no_act_after_death(
    programme: f.Programme,
) -> None:
    ramet = programme.outplants()[0]
    f.cut(programme.lead, [ramet], when="2021-09-01")
    f.visit(programme.lead, programme.site, {ramet: "alive"}, when="2021-08-15")
    f.visit(programme.lead, programme.site, {ramet: "dead"}, when="2021-08-01")
    assert told(programme, "act_after_death") == []
    assert [row.thing for row in told(programme, "sightings_disagree")] == [ramet.code]
    f.visit(programme.lead, programme.site, {ramet: "missing"}, when="2021-08-20")
    assert [row.thing for row in told(programme, "act_after_death")] == [ramet.code]


def test_of_several_disagreements_of_one_ramet_the_first_is_told(programme: f.Programme) -> None:
    ramet = programme.outplants()[0]
    for when, seen in (
        ("2021-08-01", "dead"),
        ("2021-08-02", "missing"),
        ("2021-08-03", "alive"),
        ("2021-08-04", "dead"),
        ("2021-08-05", "alive"),
    ):
        f.visit(programme.lead, programme.site, {ramet: seen}, when=when)
    (row,) = told(programme, "sightings_disagree")
    assert "2 August 2021" in row.message
    assert "3 August 2021" in row.message


def test_children_of_a_pooled_ramet_are_told_with_the_genets_of_the_pool(
    programme: f.Programme,
) -> None:
    other, stranger = other_genet(programme)
    (child,) = f.cut(programme.lead, [programme.mother(), stranger])
    (grandchild,) = f.cut(programme.lead, [], used_up=[child], when="2021-04-01")
    (row,) = told(programme, "pooled")
    both = sorted([programme.colony.genet.code, other.code])
    assert f"their genet is one of {', '.join(both)}." in row.message
    assert row.thing == str(grandchild.born.uid)


def test_one_relabelled_as_unknown_is_without_a_genet_and_no_longer_of_the_pool(
    programme: f.Programme,
) -> None:
    children = pooled(programme, 3)
    relabel(programme.lead, children[:1], None)
    assert [row.message[:8] for row in told(programme, "pooled")] == ["2 living"]
    (row,) = told(programme, "unidentified")
    assert row.message.startswith("1 living cut from the fragmentation")


def test_children_of_what_nobody_knows_are_without_a_genet(programme: f.Programme) -> None:
    (piece,) = loose(programme, when="2021-01-15")
    f.cut(programme.lead, [piece], 2)
    assert told(programme, "pooled") == []
    assert [row.message[:8] for row in told(programme, "unidentified")] == ["2 living", "1 living"]


def test_a_pool_with_one_that_nobody_knows_may_be_yet_another(programme: f.Programme) -> None:
    (piece,) = loose(programme, when="2021-01-15")
    f.cut(programme.lead, [programme.mother(), piece])
    (row,) = told(programme, "pooled")
    own = programme.colony.genet.code
    assert f"one of {own}, or another that is not known." in row.message


def test_a_label_that_a_later_one_replaced_is_not_told(programme: f.Programme) -> None:
    (child,) = pooled(programme, 1)
    foreign, _ = other_genet(programme)
    relabel(programme.lead, [child], foreign)
    assert len(told(programme, "label_not_among_candidates")) == 1
    relabel(programme.lead, [child], programme.colony.genet, when="2021-08-01")
    assert told(programme, "label_not_among_candidates") == []


def test_a_label_of_a_grandchild_that_is_not_of_the_pool_is_told(programme: f.Programme) -> None:
    (child,) = pooled(programme, 1)
    first, second = f.cut(programme.lead, [child], 2, when="2021-04-01")
    foreign, _ = other_genet(programme)
    relabel(programme.lead, [first], programme.colony.genet)
    assert told(programme, "label_not_among_candidates") == []
    relabel(programme.lead, [second], foreign)
    (row,) = told(programme, "label_not_among_candidates")
    assert row.ramets == (second.code,)


def test_two_counts_of_one_visit_are_settled_one_by_one(programme: f.Programme) -> None:
    programme.outplants()
    rows = [
        {"plot": programme.plot.code, "alive": 5, "taxon": programme.taxon.code},
        {"plot": programme.plot.code, "alive": 7},
    ]
    f.visit(programme.lead, programme.site, {}, counts=rows)
    first, second = told(programme, "count_differs")
    given = SettledIn(code=first.code, thing=first.thing, reason="a bare guess")
    accept(programme.lead, given)
    assert told(programme, "count_differs") == [second]


def test_a_count_of_a_genet_is_compared_with_the_ramets_of_that_genet(
    programme: f.Programme,
) -> None:
    programme.outplants(2)
    other, stranger = other_genet(programme)
    f.planting(programme.lead, programme.plot, f.cut(programme.lead, [stranger]))
    own = programme.colony.genet.code
    rows = [
        {"plot": programme.plot.code, "alive": n, "genet": code}
        for code, n in ((own, 2), (other.code, 2))
    ]
    f.visit(programme.lead, programme.site, {}, counts=rows)
    (row,) = told(programme, "count_differs")
    assert other.code in row.message
    assert "only 1 planted" in row.message


@pytest.mark.parametrize("n", [1, 5])
def test_many_counts_cost_as_many_queries_as_one(programme: f.Programme, n: int) -> None:
    for _ in range(n):
        plate = f.structure(programme.lead, programme.bay)
        f.cut(programme.lead, [programme.mother()], 2, into=plate)
        count(programme.lead, [{"structure": plate.code, "alive": 1}], when="2021-05-02")
        f.planting(programme.lead, programme.plot, f.cut(programme.lead, [programme.mother()]))
        rows = [{"plot": programme.plot.code, "alive": 90}]
        f.visit(programme.lead, programme.site, {}, counts=rows)
    with CaptureQueriesContext(connection) as queries:
        assert len(told(programme, "count_differs")) == 2 * n
    assert len(queries) == 7
