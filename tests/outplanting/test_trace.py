"""The trace of an outplant, with what only the reef knows."""

from __future__ import annotations

from decimal import Decimal

import pytest
from pytest_django.fixtures import DjangoAssertNumQueries

from nursery.core.errors import NotAllowed, Unknown
from nursery.lineage.models import Ramet
from nursery.lineage.words import Place, What
from nursery.outplanting import queries
from tests import factories as f
from tests.refusals import refused

QUERIES_OF_A_TRACE = 1


@pytest.fixture
def outplant(programme: f.Programme) -> Ramet:
    return programme.outplants()[0]


def test_a_trace_shows_where_and_how_it_was_planted(programme: f.Programme) -> None:
    permit = f.permit(programme.lead)
    child = f.cut(programme.lead, [programme.mother()])[0]
    row = {"ramet": child.code, "position": "N 3", "cluster": "a", "fixing": "nail"}
    f.planting(programme.lead, programme.plot, [], outplants=[row], permits=[permit.code])
    found = queries.trace(programme.lead, child.code).outplants[0]
    assert (found.site, found.site_name, found.plot) == (
        programme.site.code,
        programme.site.name,
        programme.plot.code,
    )
    assert (found.position, found.cluster, found.fixing) == ("N 3", "a", "nail")
    assert (found.event.kind, found.event.permits) == ("outplanting", (permit.code,))


def test_a_trace_shows_all_that_was_seen(programme: f.Programme, outplant: Ramet) -> None:
    row = {"ramet": outplant.code, "condition": "alive", "tissue_lost": 10, "size": "5 cm"}
    f.visit(programme.lead, programme.site, {}, observations=[row], when="2021-07-01")
    f.visit(programme.lead, programme.site, {outplant: "dead"}, when="2021-08-01")
    found = queries.trace(programme.lead, outplant.code).observations
    assert [(row.condition, row.cause) for row in found] == [("alive", None), ("dead", "unknown")]
    assert (found[0].tissue_lost, found[0].size_cm) == (Decimal("10.0"), Decimal("5.0"))


def test_what_was_seen_stands_in_the_order_of_the_visits(
    programme: f.Programme, outplant: Ramet
) -> None:
    permit = f.permit(programme.lead)
    for when in ("2021-08-01", "2021-07-01", "2021-09-01"):
        f.visit(
            programme.lead, programme.site, {outplant: "alive"}, when=when, permits=[permit.code]
        )
    found = queries.trace(programme.lead, outplant.code).observations
    assert [str(row.event.when) for row in found] == ["2021-07-01", "2021-08-01", "2021-09-01"]
    assert {row.event.permits for row in found} == {(permit.code,)}


def test_an_outplant_shows_its_whole_way_to_the_colony(
    programme: f.Programme, outplant: Ramet
) -> None:
    found = queries.trace(programme.lead, outplant.code)
    assert found.complete
    assert [donor.colony for donor in found.donors] == [programme.colony.code]
    assert [step.what for step in found.head.steps] == [What.BORN, What.PLANTED]
    assert (found.head.place.kind, found.head.place.plot, found.head.place.site) == (
        Place.PLOT,
        programme.plot.code,
        programme.site.code,
    )


def test_the_plantings_of_others_on_the_way_are_not_its_own(programme: f.Programme) -> None:
    outplant = programme.outplants()[0]
    child = f.cut(programme.lead, [outplant], when="2021-10-01")[0]
    found = queries.trace(programme.lead, child.code)
    assert (found.outplants, found.observations) == ((), ())
    assert found.nodes[1].ramet == outplant.code


def test_what_is_not_there_is_unknown(programme: f.Programme) -> None:
    with refused("unknown_ramet", by=Unknown):
        queries.trace(programme.lead, "nobody")


def test_who_has_no_role_sees_no_trace(programme: f.Programme, outplant: Ramet) -> None:
    nobody = f.actor()
    with refused("no_role", by=NotAllowed):
        queries.trace(nobody, outplant.code)


@pytest.mark.parametrize("depth", [1, 25])
def test_a_long_way_and_many_visits_cost_as_many_queries_as_a_short_one(
    programme: f.Programme, depth: int, django_assert_num_queries: DjangoAssertNumQueries
) -> None:
    ramet = programme.mother()
    for _ in range(depth):
        ramet = f.cut(programme.lead, [ramet], into=programme.tray)[0]
    f.planting(programme.lead, programme.plot, [ramet])
    for day in range(1, depth + 1):
        f.visit(programme.lead, programme.site, {ramet: "alive"}, when=f"2021-07-{day:02d}")
    with django_assert_num_queries(QUERIES_OF_A_TRACE):
        found = queries.trace(programme.lead, ramet.code)
    assert (len(found.nodes), len(found.observations)) == (depth + 1, depth)
