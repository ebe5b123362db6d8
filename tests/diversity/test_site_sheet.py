"""The sheet of a site, its files and its API: planted and alive, genets, cohorts, origins."""

from __future__ import annotations

import csv
import io

import pytest
from django.test import Client

from nursery.core.actor import Role
from nursery.diversity.intervals import hill_interval
from nursery.diversity.measures import ALL
from nursery.donors.models import Genet
from nursery.lineage.models import Ramet
from tests import factories as make
from tests.factories import Programme
from tests.pages import cost, main_of, read, reader

pytestmark = pytest.mark.django_db


@pytest.fixture
def client(db: None) -> Client:
    return reader(Role.VIEWER)


def plant(programme: Programme, *counts: int, when: str = make.PLANTED) -> list[list[Ramet]]:
    """So many ramets of one new genet each, planted in the plot."""
    planted = []
    for count in counts:
        colony = make.colony(programme.lead, programme.taxon, programme.reef)
        mothers = make.mothers(programme.lead, colony, programme.tray)
        children = make.cut(programme.lead, mothers, count)
        make.planting(programme.lead, programme.plot, children, when=when)
        planted.append(children)
    return planted


def sheet_of(programme: Programme) -> str:
    return f"/sites/{programme.site.code}/sheet/"


def file_of(client: Client, address: str) -> list[dict[str, str]]:
    answer = client.get(address)
    assert answer.status_code == 200
    assert answer["Content-Type"] == "text/csv; charset=utf-8"
    return list(csv.DictReader(io.StringIO(answer.getvalue().decode())))


def test_the_sheet_tells_genets_planted_and_alive(programme: Programme, client: Client) -> None:
    first, second = plant(programme, 4, 1)
    make.visit(programme.lead, programme.site, {first[0]: "dead", second[0]: "dead"})
    said = read(client, sheet_of(programme))
    genets = [ramets[0].genet for ramets in (first, second)]
    assert genets[0] is not None
    assert genets[1] is not None
    assert "presumed 4 3 75 %" in said
    assert "presumed 1 0 0 %" in said
    assert "0 confirmed by genotyping, 1 presumed." in said
    Genet.objects.filter(pk=genets[0].pk).update(
        status="confirmed", panel="P", confirmed_on="2021-01-01"
    )
    assert "1 confirmed by genotyping, 0 presumed." in read(client, sheet_of(programme))


def test_effective_genets_have_their_interval_beside_them(
    programme: Programme, client: Client
) -> None:
    plant(programme, 6, 4, 2, 1, 1)
    bounds = hill_interval([6, 4, 2, 1, 1], 1)
    words = f"{bounds.low:.1f} to {bounds.high:.1f}"
    for page in (sheet_of(programme), f"/sites/{programme.site.code}/"):
        assert read(client, page).count(words) == 2


def test_cohorts_are_told_by_year_or_by_planting(programme: Programme, client: Client) -> None:
    plant(programme, 3)
    plant(programme, 2, when="2022-03-04")
    said = read(client, sheet_of(programme))
    assert "2021 3 3 1 1 1.0 1.0" in said
    assert "2022 2 2 1 1 1.0 1.0" in said
    said = read(client, f"{sheet_of(programme)}?by=planting")
    assert f"4 March 2022, {programme.plot.code} 2 2" in said


def test_origins_are_told_and_the_unknown_stand_apart(programme: Programme, client: Client) -> None:
    plant(programme, 3)
    stray = make.stock(programme.lead, programme.nursery, [{"taxon": programme.taxon.code}])
    make.planting(programme.lead, programme.plot, stray)
    said = read(client, sheet_of(programme))
    assert "Of 1 ramet no donor colony is known." in said
    assert f"{programme.reef.name} 3 1" in said
    assert "not known 1 0" in said


def test_a_way_is_told_with_the_uncertainty_of_where_the_colony_is_shown(
    programme: Programme,
) -> None:
    lead = programme.lead
    site = make.site(lead, latitude="-37.951033417", longitude="144.424867889")
    plot = make.plot(lead, site, depth_m="4.5")
    colony = make.colony(
        lead,
        programme.taxon,
        programme.reef,
        latitude="-37.652821139",
        longitude="143.926495528",
        depth_m="7",
    )
    children = make.cut(lead, make.mothers(lead, colony, programme.tray), 2)
    make.planting(lead, plot, children)
    page = f"/sites/{site.code}/sheet/"
    # 54972.271 m, published for these two points, for those who may see where the colony stands.
    exact = read(reader(Role.LEAD), page)
    assert "55.0 km" in exact
    assert "+2.5 m" in exact
    viewer = reader(Role.VIEWER)
    assert "± 1.6 km" in read(viewer, page) or "± 15.7 km" in read(viewer, page)
    # Nothing that a viewer is given is as near to the exact way as a metre.
    (row,) = file_of(viewer, f"{page}colonies.csv")
    assert abs(float(row["distance_m"]) - 54972.271) > 1
    (row,) = file_of(reader(Role.LEAD), f"{page}colonies.csv")
    assert float(row["distance_m"]) == pytest.approx(54972.271, abs=0.1)


def test_other_sites_are_told_with_their_overlap(programme: Programme, client: Client) -> None:
    (children,) = plant(programme, 4)
    other = make.site(programme.lead)
    mother = make.cut(programme.lead, children[:1], 2, when="2022-01-01")
    make.planting(programme.lead, make.plot(programme.lead, other), mother, when="2022-02-01")
    assert f"{other.name} 2 1 1.00" in read(client, sheet_of(programme))


def test_an_empty_site_says_why_there_are_no_numbers(programme: Programme, client: Client) -> None:
    said = read(client, sheet_of(programme))
    assert "none: There are no ramets." in said
    assert "No ramet of a known genet was planted here." in said


def test_each_number_leads_to_what_it_is(programme: Programme, client: Client) -> None:
    plant(programme, 2, 1)
    told = main_of(client, "/measures/")
    for page in (sheet_of(programme), f"/sites/{programme.site.code}/"):
        html = main_of(client, page)
        for key in ("hill_1", "evenness_e5", "pareto_beta", "chao1"):
            assert f'href="/measures/#{key}"' in html
    for measure in ALL:
        assert f'id="{measure.key}"' in told
    assert f"{len(ALL)} measures are shown" in read(client, "/measures/")


# Files


def test_the_files_hold_what_the_sheet_shows(programme: Programme, client: Client) -> None:
    first, _second = plant(programme, 3, 1)
    make.visit(programme.lead, programme.site, {first[0]: "dead"})
    base = sheet_of(programme)
    genets = file_of(client, f"{base}genets.csv")
    assert [(row["planted"], row["alive"]) for row in genets] == [("3", "2"), ("1", "1")]
    whole = file_of(client, f"{base}groups.csv")[0]
    assert (whole["plot"], whole["ramets"], whole["hill_0"]) == ("", "3", "2.000000")
    # 1 / (4/9 + 1/9), by hand.
    assert float(whole["hill_2"]) == pytest.approx(1.8)
    (cohort,) = file_of(client, f"{base}cohorts.csv")
    assert (cohort["name"], cohort["planted_ramets"], cohort["alive_ramets"]) == ("2021", "4", "3")
    (reef,) = file_of(client, f"{base}reefs.csv")
    assert (reef["code"], reef["ramets"]) == (programme.reef.code, "3")
    assert len(file_of(client, f"{base}colonies.csv")) == 2
    assert file_of(client, f"{base}sites.csv") == []


def test_a_file_is_of_the_day_and_state_asked_for(programme: Programme, client: Client) -> None:
    plant(programme, 3)
    (row,) = file_of(client, f"{sheet_of(programme)}reefs.csv?state=planted")
    assert row["ramets"] == "3"
    assert file_of(client, f"{sheet_of(programme)}genets.csv?as_of=2021-01-01") == []


def test_what_has_no_number_is_empty_in_a_file(programme: Programme, client: Client) -> None:
    whole = file_of(client, f"{sheet_of(programme)}groups.csv")[0]
    assert (whole["ramets"], whole["hill_1"], whole["pareto_beta"]) == ("0", "", "")


def test_a_file_that_is_not_there_names_those_that_are(
    programme: Programme, client: Client
) -> None:
    assert "genets, groups, cohorts" in read(client, f"{sheet_of(programme)}fish.csv", 404)


@pytest.mark.parametrize(
    ("query", "code"),
    [
        ("by=colour", "not_a_choice"),
        ("state=dead", "not_a_choice"),
        ("as_of=yesterday", "date_malformed"),
        ("colour=red", "unknown_parameter"),
    ],
)
def test_what_is_not_understood_is_refused(
    programme: Programme, client: Client, query: str, code: str
) -> None:
    assert code in read(client, f"{sheet_of(programme)}?{query}", 400)
    assert code in read(client, f"{sheet_of(programme)}genets.csv?{query}", 400)
    answer = make.client(Role.VIEWER).get(f"/api/sites/{programme.site.code}/report/?{query}")
    assert (answer.status_code, answer.json()["code"]) == (400, code)


def test_the_code_of_a_site_is_taken_in_any_case(programme: Programme, client: Client) -> None:
    answer = client.get(f"/sites/{programme.site.code.lower()}/sheet/genets.csv?state=planted")
    assert answer["Location"] == f"{sheet_of(programme)}genets.csv?state=planted"


# API


def test_the_api_tells_all_of_the_sheet(programme: Programme) -> None:
    first, _second = plant(programme, 3, 1)
    make.visit(programme.lead, programme.site, {first[0]: "dead"})
    answer = make.client(Role.VIEWER).get(f"/api/sites/{programme.site.code}/report/")
    assert answer.status_code == 200
    body = answer.json()
    assert body["planned"]["group"]["ramets"] == 0
    assert [side["state"] for side in body["sides"]] == ["planted", "alive"]
    low, high = (body["sides"][0]["intervals"][1][end] for end in ("low", "high"))
    assert low <= body["sides"][0]["group"]["indices"]["hill_1"]["value"] <= high
    assert [(row["planted"], row["alive"]) for row in body["genets"]] == [(3, 2), (1, 1)]
    assert body["cohorts"][0]["name"] == "2021"
    assert body["origins"]["reefs"][0]["ramets"] == 3
    assert body["others"] == []


@pytest.mark.parametrize("query", ["", "?state=planted&as_of=2024-01-01&by=planting"])
def test_a_full_sheet_costs_as_many_queries_as_a_small_one(
    programme: Programme, client: Client, query: str
) -> None:
    (children,) = plant(programme, 2)
    make.visit(programme.lead, programme.site, dict.fromkeys(children, "alive"))
    few = cost(client, sheet_of(programme) + query)
    for children in plant(programme, 9, 8, 7, when="2022-01-01"):
        make.visit(programme.lead, programme.site, dict.fromkeys(children, "alive"), when="2022-05")
    assert few == cost(client, sheet_of(programme) + query)
