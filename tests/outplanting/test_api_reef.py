"""The reef by API: outplantings, visits, observations."""

import pytest

from nursery.core.actor import Role
from nursery.lineage.models import Ramet
from tests import factories as make

pytestmark = pytest.mark.django_db


def test_ramets_are_planted_and_shown_with_their_positions() -> None:
    programme = make.programme()
    (child,) = make.cut(programme.lead, programme.mothers())
    answer = make.client(Role.FIELD).post(
        "/api/outplantings/",
        {
            "when": make.PLANTED,
            "plot": programme.plot.code,
            "fixing": "cement",
            "outplants": [{"ramet": child.code, "position": "12", "cluster": "north"}],
        },
    )
    assert answer.status_code == 201, answer.content
    body = answer.json()
    assert (body["site"], body["plot"]) == (programme.site.code, programme.plot.code)
    assert body["outplants"] == [
        {"ramet": child.code, "position": "12", "cluster": "north", "fixing": "cement"}
    ]


def test_a_ramet_that_is_dead_is_not_planted_and_the_row_is_named() -> None:
    programme = make.programme()
    (planted,) = programme.outplants(1)
    make.visit(programme.lead, programme.site, {planted: "dead"})
    (child,) = make.cut(programme.lead, programme.mothers())
    rows = [{"ramet": child.code}, {"ramet": planted.code}]
    answer = make.client(Role.FIELD).post(
        "/api/outplantings/",
        {"when": "2021-10-01", "plot": programme.plot.code, "outplants": rows},
    )
    assert answer.status_code == 400
    (fault,) = answer.json()["errors"]
    assert (fault["pointer"], fault["row"]) == ("#/outplants/1/ramet", 1)
    child.refresh_from_db()
    assert child.plot is None


def test_outplantings_are_found_by_place_ramet_and_time() -> None:
    programme = make.programme()
    (planted,) = programme.outplants(1)
    api = make.client(Role.VIEWER)
    for query in (
        f"site={programme.site.code}",
        f"plot={programme.plot.code}",
        f"ramet={planted.code}",
        "when=2021-06",
    ):
        assert api.get(f"/api/outplantings/?{query}").json()["count"] == 1, query
    elsewhere = make.plot(programme.lead, make.site(programme.lead))
    assert api.get(f"/api/outplantings/?plot={elsewhere.code}").json()["count"] == 0
    assert api.get("/api/outplantings/?when=2020").json()["count"] == 0


def test_a_visit_is_entered_and_shown_with_what_was_seen() -> None:
    programme = make.programme()
    first, second = programme.outplants(2)
    seen = [
        {"ramet": first.code, "condition": "alive", "size": "12 cm", "tissue_lost": 5},
        {"ramet": second.code, "condition": "dead", "cause": "predation"},
    ]
    answer = make.client(Role.FIELD).post(
        "/api/visits/", {"when": make.SEEN, "site": programme.site.code, "observations": seen}
    )
    assert answer.status_code == 201, answer.content
    alive, dead = answer.json()["observations"]
    assert (alive["condition"], alive["size_cm"], alive["tissue_lost"]) == ("alive", "12.0", "5.0")
    assert (dead["condition"], dead["cause"], dead["plot"]) == (
        "dead",
        "predation",
        programme.plot.code,
    )
    assert Ramet.objects.get(pk=second.pk).living is False


def test_observations_are_found_by_what_was_seen_of_what_and_where() -> None:
    programme = make.programme()
    first, second = programme.outplants(2)
    visit = make.visit(programme.lead, programme.site, {first: "alive", second: "dead"})
    api = make.client(Role.VIEWER)
    for query, count in (
        (f"visit={visit.event.uid}", 2),
        (f"site={programme.site.code}", 2),
        (f"plot={programme.plot.code}", 2),
        (f"ramet={first.code}", 1),
        ("condition=dead", 1),
        ("cause=unknown", 1),
        (f"genet={programme.colony.genet.code}", 2),
        (f"taxon={programme.taxon.code}", 2),
        ("when=2021-09", 2),
        ("when=2020", 0),
    ):
        assert api.get(f"/api/observations/?{query}").json()["count"] == count, query


def test_observations_are_entered_with_their_visit_only() -> None:
    answer = make.client(Role.LEAD).post("/api/observations/", {})
    assert answer.status_code == 405


def test_a_donor_colony_is_looked_at_again() -> None:
    programme = make.programme()
    seen = [{"colony": programme.colony.code, "condition": "alive"}]
    api = make.client(Role.FIELD)
    api.post("/api/visits/", {"when": make.SEEN, "reef": programme.reef.code, "observations": seen})
    (row,) = api.get(f"/api/observations/?colony={programme.colony.code}").json()["results"]
    assert (row["ramet"], row["condition"]) == (None, "alive")
