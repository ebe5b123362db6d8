"""How ramets end, by API: endings, counts, losses."""

from __future__ import annotations

import uuid
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from nursery.core.actor import Role
from nursery.lineage.models import Ramet
from nursery.lineage.words import Life
from tests import factories as f
from tests.lineage import ends
from tests.refusals import everything_stored

pytestmark = pytest.mark.django_db


def rows(ramets: list[Ramet]) -> list[dict[str, Any]]:
    return [{"ramet": ramet.code} for ramet in ramets]


def test_ramets_end_and_are_shown_with_how_they_ended(programme: f.Programme) -> None:
    first, second = programme.mothers(2)
    into = programme.mother()
    answer = f.client(Role.NURSERY, at=programme.nursery).post(
        "/api/endings/",
        {
            "when": ends.ENDED,
            "fate": "fused",
            "into": into.code,
            "ramets": [
                {"ramet": first.code},
                {"ramet": second.code, "fate": "dead", "cause": "cold"},
            ],
        },
    )
    assert answer.status_code == 201, answer.content
    body = answer.json()
    assert (body["kind"], body["into"], body["recipient"]) == ("ending", into.code, "")
    assert [(step["what"], step["life"], step["cause"]) for step in body["steps"]] == [
        ("ended", "fused", None),
        ("ended", "dead", "cold"),
    ]
    assert f.client(Role.VIEWER).get(answer["Location"]).json() == body


def test_the_same_ending_again_is_kept_once(programme: f.Programme) -> None:
    api = f.client(Role.LEAD)
    entry = {
        "uid": str(uuid.uuid4()),
        "when": ends.ENDED,
        "fate": "handed_over",
        "recipient": "Basin school",
        "ramets": rows(programme.mothers()),
    }
    first = api.post("/api/endings/", entry)
    before = everything_stored()
    again = api.post("/api/endings/", entry)
    assert (first.status_code, again.status_code) == (201, 200)
    assert again.json() == first.json()
    assert first.json()["recipient"] == "Basin school"
    assert everything_stored() == before


def test_an_ending_without_a_fate_names_the_row(programme: f.Programme) -> None:
    mother = programme.mother()
    answer = f.client(Role.LEAD).post(
        "/api/endings/", {"when": ends.ENDED, "ramets": rows([mother])}
    )
    assert (answer.status_code, answer.json()["code"]) == (400, "required")
    assert answer.json()["errors"][0]["pointer"] == "#/ramets/0/fate"
    assert ends.now(mother).living


def test_nursery_staff_end_ramets_at_their_own_nursery_only(programme: f.Programme) -> None:
    elsewhere = f.nursery(programme.lead)
    entry = {"when": ends.ENDED, "fate": "dead", "ramets": rows(programme.mothers())}
    answer = f.client(Role.NURSERY, at=elsewhere).post("/api/endings/", entry)
    assert (answer.status_code, answer.json()["code"]) == (403, "not_your_nursery")


@pytest.mark.parametrize("address", ["endings", "counts", "structure-losses"])
def test_a_viewer_ends_nothing(programme: f.Programme, address: str) -> None:
    given = {
        "endings": {"fate": "dead", "ramets": rows(programme.mothers())},
        "counts": {"counts": [{"structure": programme.tray.code, "alive": 1}]},
        "structure-losses": {"structures": [{"structure": programme.tray.code}]},
    }[address]
    answer = f.client(Role.VIEWER).post(f"/api/{address}/", {"when": ends.ENDED, **given})
    assert (answer.status_code, answer.json()["code"]) == (403, "not_allowed")


def test_an_entry_that_cannot_stand_names_what_is_in_the_way(programme: f.Programme) -> None:
    (child,) = f.cut(programme.lead, programme.mothers())
    planting = f.planting(programme.lead, programme.plot, [child]).event
    answer = f.client(Role.LEAD).post(
        "/api/endings/", {"when": ends.ENDED, "fate": "discarded", "ramets": rows([child])}
    )
    assert answer.status_code == 400
    assert answer.json()["in_the_way"] == {
        "uid": str(planting.uid),
        "kind": "outplanting",
        "when": f.PLANTED,
    }
    assert answer.json()["errors"][0]["pointer"] == "#/ramets/0/ramet"


def test_another_refusal_names_nothing_in_the_way(programme: f.Programme) -> None:
    answer = f.client(Role.LEAD).post("/api/endings/", {"when": ends.ENDED, "ramets": []})
    assert answer.status_code == 400
    assert "in_the_way" not in answer.json()


def test_endings_are_found_by_ramet_fate_and_what_they_fused_into(programme: f.Programme) -> None:
    first, second, into = programme.mothers(3)
    dead = ends.end(programme.lead, [first])
    fused = ends.end(programme.lead, [second], "fused", into=into.code)
    api = f.client(Role.VIEWER)
    for query, event in (
        (f"ramet={first.code}", dead),
        ("fate=dead", dead),
        ("fate=fused", fused),
        (f"into={into.code}", fused),
    ):
        found = api.get(f"/api/endings/?{query}").json()["results"]
        assert [row["uid"] for row in found] == [str(event.uid)], query
    assert api.get("/api/endings/?fate=living").json()["code"] == "not_a_choice"


def test_a_count_of_a_lot_ends_as_many_of_it(programme: f.Programme) -> None:
    lot = f.cut(programme.lead, programme.mothers(), 10, into=programme.tray)
    cutting = str(lot[0].born.uid)
    entry = {
        "when": ends.ENDED,
        "counts": [
            {"structure": programme.tray.code, "lot": cutting, "alive": 7, "dead": 2, "missing": 1},
            {"structure": programme.plate.code, "alive": 0, "note": "washed"},
        ],
    }
    answer = f.client(Role.NURSERY, at=programme.nursery).post("/api/counts/", entry)
    assert answer.status_code == 201, answer.content
    body = answer.json()
    assert body["counts"] == [
        {
            "structure": programme.tray.code,
            "lot": cutting,
            "alive": 7,
            "dead": 2,
            "missing": 1,
            "note": "",
        },
        {
            "structure": programme.plate.code,
            "lot": None,
            "alive": 0,
            "dead": 0,
            "missing": 0,
            "note": "washed",
        },
    ]
    assert [step["what"] for step in body["steps"]] == [
        "counted_dead",
        "counted_dead",
        "counted_missing",
    ]
    assert Ramet.objects.filter(fragmentation__event__uid=cutting, life=Life.LIVING).count() == 7
    api = f.client(Role.VIEWER)
    for query, count in (
        (f"structure={programme.tray.code}", 1),
        (f"structure={programme.plate.code}", 1),
        (f"nursery={programme.nursery.code}", 1),
        (f"lot={cutting}", 1),
        (f"lot={uuid.uuid4()}", 0),
        (f"ramet={lot[0].code}", 1),
        (f"ramet={lot[9].code}", 0),
    ):
        assert api.get(f"/api/counts/?{query}").json()["count"] == count, query


def test_an_unknown_lot_names_the_row(programme: f.Programme) -> None:
    row = {"structure": programme.tray.code, "lot": str(uuid.uuid4()), "dead": 1}
    answer = f.client(Role.LEAD).post("/api/counts/", {"when": ends.ENDED, "counts": [row]})
    assert (answer.status_code, answer.json()["code"]) == (400, "unknown_lot")
    assert answer.json()["errors"][0]["pointer"] == "#/counts/0/lot"


def test_a_lost_structure_is_shown_with_all_it_took(programme: f.Programme) -> None:
    mother = programme.mother()
    entry = {
        "uid": str(uuid.uuid4()),
        "when": ends.ENDED,
        "structures": [{"structure": programme.tray.code}],
    }
    api = f.client(Role.LEAD)
    answer = api.post("/api/structure-losses/", entry)
    assert answer.status_code == 201, answer.content
    body = answer.json()
    (standing,) = body["structures"]
    assert (standing["structure"], standing["lost"]) == (programme.tray.code, True)
    assert [(step["ramet"], step["life"]) for step in body["steps"]] == [(mother.code, "lost")]
    assert api.post("/api/structure-losses/", entry).status_code == 200
    found = api.get(f"/api/structure-losses/?structure={programme.tray.code}").json()
    assert found["count"] == 1


def shown_in(address: str) -> int:
    """How many queries showing an event takes."""
    api = f.client(Role.VIEWER)
    with CaptureQueriesContext(connection) as queries:
        answer = api.get(address)
    assert answer.status_code == 200, answer.content
    return len(queries)


def test_what_is_shown_of_many_takes_as_many_queries_as_of_few(programme: f.Programme) -> None:
    taken: dict[str, list[int]] = {"endings": [], "counts": [], "structure-losses": []}
    for n in (1, 20):
        lot = f.cut(programme.lead, programme.mothers(), 2 * n, into=programme.tray)
        ended = ends.end(programme.lead, lot[:n])
        taken["endings"].append(shown_in(f"/api/endings/{ended.uid}/"))
        trays = [f.tray(programme.lead, programme.bay) for _ in range(n)]
        here = [{"structure": tray.code, "alive": 0} for tray in trays]
        here.append(
            {"structure": programme.tray.code, "lot": str(lot[0].born.uid), "dead": n, "alive": 0}
        )
        counted = ends.count(programme.lead, here)
        taken["counts"].append(shown_in(f"/api/counts/{counted.uid}/"))
        lost = ends.lose(programme.lead, *trays)
        taken["structure-losses"].append(shown_in(f"/api/structure-losses/{lost.uid}/"))
    assert taken == {"endings": [6, 6], "counts": [7, 7], "structure-losses": [7, 7]}


@pytest.mark.parametrize("address", ["endings", "counts", "structure-losses"])
def test_a_list_takes_as_many_queries_for_many_as_for_few(
    programme: f.Programme, address: str
) -> None:
    taken = []
    for n in (1, 5):
        for _ in range(n):
            tray = f.tray(programme.lead, programme.bay)
            ends.end(programme.lead, programme.mothers())
            ends.count(programme.lead, [{"structure": tray.code, "alive": 0}])
            ends.lose(programme.lead, tray)
        taken.append(shown_in(f"/api/{address}/"))
    assert taken == [6, 6]
