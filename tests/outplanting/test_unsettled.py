"""What disagrees or is irregular is told, each with its code, until a lead settles it."""

from __future__ import annotations

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from nursery.core.actor import Role
from nursery.core.errors import NotAllowed
from nursery.lineage.models import Ramet
from nursery.outplanting.actions.settle import SettledIn, accept, take_back
from nursery.outplanting.disagreeing import Unsettled
from nursery.outplanting.unsettled import CODES, unsettled
from tests import factories as f
from tests.lineage.ends import count
from tests.lineage.identities import relabel
from tests.refusals import refused

pytestmark = pytest.mark.django_db


def told(programme: f.Programme, code: str) -> list[Unsettled]:
    return unsettled(programme.lead, [code])


def pooled(programme: f.Programme, count: int = 2) -> list[Ramet]:
    """Children of ramets of two genets."""
    p = programme
    other = f.colony(p.lead, p.taxon, p.reef)
    mothers = [p.mother(), f.mothers(p.lead, other, p.tray)[0]]
    return f.cut(p.lead, mothers, count, into=p.plate)


def test_nothing_is_told_of_a_record_that_agrees(programme: f.Programme) -> None:
    permit = f.permit(programme.lead).code
    mother = programme.mother(permits=[permit])
    child = f.cut(programme.lead, [mother], into=programme.plate)
    f.planting(programme.lead, programme.plot, child, permits=[permit])
    assert unsettled(programme.lead) == []


def test_a_dead_one_that_was_seen_alive_later_is_told(programme: f.Programme) -> None:
    ramet = programme.outplants()[0]
    f.visit(programme.lead, programme.site, {ramet: "dead"}, when="2021-08-01")
    assert told(programme, "sightings_disagree") == []
    f.visit(programme.lead, programme.site, {ramet: "alive"}, when="2021-09-01")
    row = told(programme, "sightings_disagree")[0]
    assert row.thing == ramet.code
    assert "1 August 2021" in row.message
    assert "1 September 2021" in row.message
    assert len(row.events) == 2


def test_an_act_after_a_death_that_was_entered_late_is_told(programme: f.Programme) -> None:
    ramet = programme.outplants()[0]
    f.cut(programme.lead, [ramet], when="2021-09-01")
    assert told(programme, "act_after_death") == []
    f.visit(programme.lead, programme.site, {ramet: "dead"}, when="2021-08-01")
    assert Ramet.objects.get(pk=ramet.pk).living
    row = told(programme, "act_after_death")[0]
    assert row.ramets == (ramet.code,)
    assert "1 September 2021" in row.message


def test_a_count_that_differs_from_the_record_is_told(programme: f.Programme) -> None:
    f.cut(programme.lead, programme.mothers(), 5, into=programme.plate)
    count(programme.lead, [{"structure": programme.plate.code, "alive": 5}], when="2021-05-01")
    assert told(programme, "count_differs") == []
    count(programme.lead, [{"structure": programme.plate.code, "alive": 3}], when="2021-05-02")
    row = told(programme, "count_differs")[0]
    assert "3 alive" in row.message
    assert "5 lived" in row.message


def test_collections_and_outplantings_without_a_permit_are_told(programme: f.Programme) -> None:
    ramet = programme.outplants()[0]
    event = ramet.outplants.get().outplanting.event
    assert [row.thing for row in told(programme, "irregular_outplanting")] == [str(event.uid)]
    assert "No permit" in told(programme, "irregular_collection")[0].message


def test_children_of_several_genets_are_told_with_their_candidates(
    programme: f.Programme,
) -> None:
    children = pooled(programme)
    row = told(programme, "pooled")[0]
    assert row.message.startswith("2 living")
    assert programme.colony.genet.code in row.message
    relabel(programme.lead, children[:1], programme.colony.genet)
    assert told(programme, "pooled")[0].message.startswith("1 living")


def test_a_label_that_none_of_the_sources_has_is_told(programme: f.Programme) -> None:
    children = pooled(programme)
    relabel(programme.lead, children[:1], programme.colony.genet)
    assert told(programme, "label_not_among_candidates") == []
    relabel(programme.lead, children[1:], f.genet(programme.lead, programme.taxon))
    row = told(programme, "label_not_among_candidates")[0]
    assert row.ramets == (children[1].code,)


def test_ramets_without_genet_or_place_are_told(programme: f.Programme) -> None:
    f.stock(programme.lead, programme.nursery, [{"taxon": programme.taxon.code}] * 3)
    assert told(programme, "unidentified")[0].message.startswith("3 living legacy")
    assert told(programme, "without_place")[0].message.startswith("3 living")


def test_what_a_lead_settled_is_told_no_more_until_it_is_taken_back(
    programme: f.Programme,
) -> None:
    programme.outplants()
    row = told(programme, "irregular_outplanting")[0]
    accept(programme.lead, SettledIn(code=row.code, thing=row.thing, reason="a test plot"))
    assert told(programme, "irregular_outplanting") == []
    assert unsettled(programme.lead, [row.code], settled=True) == [row]
    take_back(programme.lead, row.code, row.thing)
    assert told(programme, "irregular_outplanting") == [row]


def test_only_leads_settle(programme: f.Programme) -> None:
    programme.outplants()
    row = told(programme, "irregular_outplanting")[0]
    person = f.field()
    with refused("not_allowed", by=NotAllowed):
        accept(person, SettledIn(code=row.code, thing=row.thing, reason="a test plot"))


@pytest.mark.parametrize("code", ["irregular_outplanting", "no_such_code"])
def test_what_is_not_there_is_not_settled(programme: f.Programme, code: str) -> None:
    with refused("nothing_to_settle"):
        accept(programme.lead, SettledIn(code=code, thing="W0001-B", reason="why not"))
    with refused("not_settled"):
        take_back(programme.lead, code, "W0001-B")


def test_nobody_without_a_role_is_told_anything(programme: f.Programme) -> None:
    with pytest.raises(NotAllowed):
        unsettled(f.actor())
    assert unsettled(f.actor(Role.VIEWER)) == []


@pytest.mark.parametrize("n", [1, 6])
def test_the_number_of_queries_does_not_grow(programme: f.Programme, n: int) -> None:
    for _ in range(n):
        pooled(programme)
    for ramet in programme.outplants(n):
        f.cut(programme.lead, [ramet], when="2021-09-02")
        f.visit(programme.lead, programme.site, {ramet: "dead"}, when="2021-08-01")
    with CaptureQueriesContext(
        connection,
    ) as queries:
        assert {row.code for row in unsettled(programme.lead)} <= CODES.keys()
    assert len(queries) == 17
