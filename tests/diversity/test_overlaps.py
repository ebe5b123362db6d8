"""How alike the sites are in their genets: query, page, file and API."""

from __future__ import annotations

from dataclasses import dataclass

import pytest
from django.test import Client
from pytest_django.fixtures import DjangoAssertNumQueries

from nursery.core.actor import Role
from nursery.core.errors import NotAllowed
from nursery.diversity.overlaps import overlaps
from nursery.donors.models import DonorColony, Genet
from nursery.outplanting.counts import Stand
from nursery.places.models import Plot, Site
from tests import factories as f
from tests.factories import Programme
from tests.outplanting.reef import lift
from tests.pages import cost, main_of, read, reader
from tests.refusals import refused

pytestmark = pytest.mark.django_db


@dataclass(frozen=True)
class Scene:
    """Two sites planted as in the worked example: x = [10, 5, 0, 3] and y = [2, 8, 4, 0]."""

    programme: Programme
    here: Site
    there: Site
    colonies: list[DonorColony]
    plots: list[Plot]


@pytest.fixture
def scene(programme: Programme) -> Scene:
    lead = programme.lead
    # Codes are in the order of letters, not of numbers: this one stands last.
    there = f.site(lead, code="ZZ")
    plots = [programme.plot, f.plot(lead, there)]
    colonies = [f.colony(lead, programme.taxon, programme.reef) for _ in range(4)]
    for colony, counts in zip(colonies, ((10, 2), (5, 8), (0, 4), (3, 0)), strict=True):
        mothers = f.mothers(lead, colony, programme.tray)
        for plot, n in zip(plots, counts, strict=True):
            if n:
                f.planting(lead, plot, f.cut(lead, mothers, n))
    return Scene(programme, programme.site, there, colonies, plots)


@pytest.fixture
def client(db: None) -> Client:
    return reader(Role.VIEWER)


def test_two_sites_overlap_as_the_worked_example_says(scene: Scene) -> None:
    # Horn 1966; 0.5654450261780105 computed in two ways.
    found = overlaps(scene.programme.lead)
    assert [(row.ramets, row.genets) for row in found.sites] == [(18, 3), (14, 3)]
    assert found.rows[0][1].value == pytest.approx(0.5654450261780105, abs=1e-12)
    assert found.rows[1][0] == found.rows[0][1]
    assert found.rows[0][0].value == pytest.approx(1)


def test_the_dead_are_of_the_planted_alone(scene: Scene) -> None:
    lead = scene.programme.lead
    ramets = scene.plots[1].ramets.all()
    f.visit(lead, scene.there, dict.fromkeys(ramets, "dead"))
    assert [row.site for row in overlaps(lead).sites] == [scene.here.code]
    planted = overlaps(lead, Stand.PLANTED)
    assert planted.rows[0][1].value == pytest.approx(0.5654450261780105, abs=1e-12)


def test_a_ramet_planted_twice_at_a_site_is_one(scene: Scene) -> None:
    lead = scene.programme.lead
    ramets = list(scene.plots[0].ramets.all())
    lift(lead, ramets[:4], scene.programme.tray)
    f.planting(lead, f.plot(lead, scene.here), ramets[:4], when="2022-01-01")
    assert overlaps(lead, Stand.PLANTED).sites[0].ramets == 18


def test_merged_genets_are_one(scene: Scene) -> None:
    first, second = scene.colonies[:2]
    Genet.objects.filter(pk=second.genet_id).update(canonical=first.genet)
    for state in (Stand.ALIVE, Stand.PLANTED):
        found = overlaps(scene.programme.lead, state)
        assert [row.genets for row in found.sites] == [2, 2]


def test_the_others_of_a_site_come_most_alike_first(scene: Scene) -> None:
    lead = scene.programme.lead
    third = f.site(lead)
    mothers = f.mothers(lead, scene.colonies[0], scene.programme.tray)
    f.planting(lead, f.plot(lead, third), f.cut(lead, mothers, 2))
    others = overlaps(lead).of(scene.here.code)
    assert [row.site for row, _value in others] == [third.code, scene.there.code]
    assert overlaps(lead).of("NOWHERE") == []


def test_what_was_seen_is_no_state_to_compare_in(scene: Scene) -> None:
    with pytest.raises(ValueError, match="what lives there"):
        overlaps(scene.programme.lead, Stand.SEEN)


def test_many_sites_cost_two_queries(
    scene: Scene, django_assert_num_queries: DjangoAssertNumQueries
) -> None:
    lead = scene.programme.lead
    for _ in range(3):
        mothers = f.mothers(lead, scene.colonies[0], scene.programme.tray)
        f.planting(lead, f.plot(lead, f.site(lead)), f.cut(lead, mothers, 2))
    for state in (Stand.ALIVE, Stand.PLANTED):
        with django_assert_num_queries(2):
            assert len(overlaps(lead, state).sites) == 5


def test_nobody_without_a_role_is_told() -> None:
    nobody = f.actor()
    with refused("no_role", by=NotAllowed):
        overlaps(nobody)


# Page, file and API


def test_the_page_shows_each_site_with_each(scene: Scene, client: Client) -> None:
    said = read(client, "/overlap/")
    assert "are most alike: they overlap by 0.57." in said
    assert f"{scene.here.name} 3 1.00 0.57" in said
    assert 'href="/measures/#morisita_horn"' in main_of(client, "/overlap/")


def test_the_page_without_sites_says_so(client: Client) -> None:
    assert "There are no two sites to compare." in read(client, "/overlap/")


def test_the_file_has_a_row_for_each_two_sites(scene: Scene, client: Client) -> None:
    answer = client.get("/overlap.csv")
    assert answer["Content-Type"] == "text/csv; charset=utf-8"
    assert answer.getvalue().decode().splitlines() == [
        "site,other_site,overlap",
        f"{scene.here.code},{scene.there.code},0.565445",
    ]


def test_the_api_tells_the_same(scene: Scene) -> None:
    api = f.client(Role.VIEWER)
    body = api.get("/api/overlap/", {"state": "planted"}).json()
    assert [row["site"] for row in body["sites"]] == [scene.here.code, scene.there.code]
    assert body["rows"][0][1]["value"] == pytest.approx(0.5654450261780105)


@pytest.mark.parametrize(
    ("query", "code"),
    [
        ("state=seen", "not_a_choice"),
        ("taxon=NONE", "unknown_taxon"),
        ("colour=red", "unknown_parameter"),
    ],
)
def test_what_is_not_understood_is_refused(client: Client, query: str, code: str) -> None:
    assert code in read(client, f"/overlap/?{query}", 400)
    assert f.client(Role.VIEWER).get(f"/api/overlap/?{query}").json()["code"] == code


def test_the_page_costs_the_same_for_few_and_for_many(scene: Scene, client: Client) -> None:
    few = cost(client, "/overlap/")
    lead = scene.programme.lead
    for _ in range(3):
        mothers = f.mothers(lead, scene.colonies[0], scene.programme.tray)
        f.planting(lead, f.plot(lead, f.site(lead)), f.cut(lead, mothers, 2))
    assert few == cost(client, "/overlap/")
