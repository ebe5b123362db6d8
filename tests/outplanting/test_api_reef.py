"""The reef by API: outplantings, visits, observations."""

from uuid import uuid4

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from nursery.core.actor import Role
from nursery.lineage.models import Ramet
from tests import factories as make
from tests.outplanting import reef

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
        {
            "ramet": child.code,
            "position": "12",
            "cluster": "north",
            "fixing": "cement",
            "structure": None,
            "cell": None,
        }
    ]


def test_a_rock_is_planted_and_its_ramets_are_shown_with_their_cells() -> None:
    programme = make.programme()
    rock = reef.rock(programme)
    children = make.cut(programme.lead, programme.mothers(), 2, into=rock)
    api = make.client(Role.LEAD)
    row = {"structure": rock.code, "position": "7"}
    answer = api.post(
        "/api/outplantings/",
        {"when": make.PLANTED, "plot": programme.plot.code, "structures": [row]},
    )
    assert answer.status_code == 201, answer.content
    shown = [
        (row["ramet"], row["structure"], row["cell"], row["position"])
        for row in answer.json()["outplants"]
    ]
    assert shown == [
        (children[0].code, rock.code, "A1", "7"),
        (children[1].code, rock.code, "B1", "7"),
    ]
    assert api.get(f"/api/outplantings/?structure={rock.code}").json()["count"] == 1
    assert api.get(f"/api/outplantings/?structure={programme.plate.code}").json()["count"] == 0


def test_outplants_are_lifted_into_a_structure() -> None:
    programme = make.programme()
    first, second = programme.outplants(2)
    entry = {
        "uid": str(uuid4()),
        "when": reef.LIFTED,
        "structure": programme.plate.code,
        "ramets": [{"ramet": first.code, "cell": "C7"}, {"ramet": second.code}],
    }
    api = make.client(Role.LEAD)
    answer = api.post("/api/lifts/", entry)
    assert answer.status_code == 201, answer.content
    steps = answer.json()["steps"]
    assert [(step["ramet"], step["what"]) for step in steps] == [
        (first.code, "lifted"),
        (second.code, "lifted"),
    ]
    assert steps[0]["place"]["cell"] == "C7"
    again = api.post("/api/lifts/", entry)
    assert (again.status_code, again.json()) == (200, answer.json())
    for query in (f"ramet={first.code}", f"structure={programme.plate.code}", "when=2021-07"):
        assert api.get(f"/api/lifts/?{query}").json()["count"] == 1, query


def test_who_may_not_enter_structures_lifts_packed() -> None:
    programme = make.programme()
    (outplant,) = programme.outplants(1)
    entry = {"when": reef.LIFTED, "ramets": [{"ramet": outplant.code}]}
    api = make.client(Role.FIELD)
    assert api.post("/api/lifts/", entry | {"packed": True}).status_code == 201
    nursery = make.client(Role.NURSERY, at=programme.nursery)
    answer = nursery.post("/api/lifts/", entry | {"packed": True})
    assert (answer.status_code, answer.json()["code"]) == (403, "not_allowed")


def test_what_was_never_planted_is_not_lifted() -> None:
    programme = make.programme()
    mother = programme.mother()
    rows = [{"ramet": mother.code}]
    answer = make.client(Role.LEAD).post(
        "/api/lifts/", {"when": reef.LIFTED, "packed": True, "ramets": rows}
    )
    assert (answer.status_code, answer.json()["code"]) == (400, "not_planted")
    assert answer.json()["errors"][0]["pointer"] == "#/ramets/0/ramet"


def test_a_visit_shows_the_counts_of_its_plots() -> None:
    programme = make.programme()
    programme.outplants(3)
    counts = [
        {"plot": programme.plot.code, "genet": programme.colony.genet.code, "alive": 2, "dead": 1},
        {"plot": programme.plot.code, "alive": 2},
    ]
    answer = make.client(Role.FIELD).post(
        "/api/visits/", {"when": make.SEEN, "site": programme.site.code, "counts": counts}
    )
    assert answer.status_code == 201, answer.content
    of_genet, of_all = answer.json()["counts"]
    assert of_genet == {
        "plot": programme.plot.code,
        "genet": programme.colony.genet.code,
        "taxon": None,
        "alive": 2,
        "dead": 1,
        "missing": None,
        "note": "",
    }
    assert (of_all["genet"], of_all["alive"], of_all["dead"]) == (None, 2, None)


def test_a_visit_of_many_counts_takes_as_many_queries_as_one_of_few() -> None:
    programme = make.programme()
    api = make.client(Role.LEAD)
    taken = []
    for n in (1, 20):
        plots = [make.plot(programme.lead, programme.site) for _ in range(n)]
        counts = [{"plot": plot.code, "alive": 0} for plot in plots]
        entry = {"when": make.SEEN, "site": programme.site.code, "counts": counts}
        address = api.post("/api/visits/", entry)["Location"]
        with CaptureQueriesContext(connection) as queries:
            assert len(api.get(address).json()["counts"]) == n
        taken.append(len(queries))
    assert taken == [7, 7]


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
