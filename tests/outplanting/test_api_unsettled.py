"""What is to be settled, by API."""

from __future__ import annotations

from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from nursery.core.actor import Role
from nursery.outplanting.models import Settled
from tests import factories as f
from tests.refusals import everything_stored

pytestmark = pytest.mark.django_db


def unsettled(query: str = "") -> list[dict[str, Any]]:
    answer = f.client(Role.VIEWER).get(f"/api/unsettled/{query}")
    assert answer.status_code == 200, answer.content
    rows: list[dict[str, Any]] = answer.json()["results"]
    return rows


def planted(programme: f.Programme) -> dict[str, str]:
    """An outplanting without a permit, as it is named among what is to be settled."""
    programme.outplants(1)
    (row,) = unsettled("?code=irregular_outplanting")
    return {"code": row["code"], "thing": row["thing"]}


def test_each_row_says_what_it_is_about_and_which_events_disagree(programme: f.Programme) -> None:
    (ramet,) = programme.outplants(1)
    first = f.visit(programme.lead, programme.site, {ramet: "dead"}, when="2021-09-01").event
    second = f.visit(programme.lead, programme.site, {ramet: "alive"}, when="2021-10-01").event
    (row,) = unsettled("?code=sightings_disagree")
    assert row["thing"] == ramet.code
    assert row["events"] == [str(first.uid), str(second.uid)]
    assert row["ramets"] == [ramet.code]
    assert "1 September 2021" in row["message"]


def test_pages_hold_what_all_together_holds(programme: f.Programme) -> None:
    for _ in range(3):
        programme.outplants(1)
    whole = unsettled("?code=irregular_outplanting")
    assert len(whole) == 3
    answer = f.client(Role.VIEWER).get("/api/unsettled/?code=irregular_outplanting&limit=2").json()
    assert (answer["count"], answer["results"]) == (3, whole[:2])
    assert "offset=2" in answer["next"]
    assert unsettled("?code=irregular_outplanting&limit=2&offset=2") == whole[2:]


def test_a_lead_settles_and_takes_it_back(programme: f.Programme) -> None:
    thing = planted(programme)
    api = f.client(Role.LEAD)
    answer = api.post("/api/unsettled/settle/", {**thing, "reason": "the permit came later"})
    assert answer.status_code == 201, answer.content
    assert answer.json()["reason"] == "the permit came later"
    assert unsettled("?code=irregular_outplanting") == []
    (row,) = unsettled("?code=irregular_outplanting&settled=true")
    assert row["thing"] == thing["thing"]
    assert api.post("/api/unsettled/take-back/", thing).status_code == 204
    assert len(unsettled("?code=irregular_outplanting")) == 1
    assert not Settled.objects.exists()


def test_what_was_settled_is_not_settled_twice(programme: f.Programme) -> None:
    thing = planted(programme) | {"reason": "so it was"}
    api = f.client(Role.LEAD)
    api.post("/api/unsettled/settle/", thing)
    answer = api.post("/api/unsettled/settle/", thing)
    assert (answer.status_code, answer.json()["code"]) == (400, "settled_already")


@pytest.mark.parametrize(
    ("address", "code"), [("settle", "nothing_to_settle"), ("take-back", "not_settled")]
)
def test_what_is_not_there_is_not_settled(address: str, code: str, db: None) -> None:
    body = {"code": "pooled", "thing": "nobody"}
    if address == "settle":
        body["reason"] = "why not"
    answer = f.client(Role.LEAD).post(f"/api/unsettled/{address}/", body)
    assert (answer.status_code, answer.json()["code"]) == (400, code)


@pytest.mark.parametrize("role", [Role.VIEWER, Role.FIELD])
@pytest.mark.parametrize("address", ["settle", "take-back"])
def test_only_leads_settle(programme: f.Programme, role: Role, address: str) -> None:
    body = planted(programme)
    if address == "settle":
        body["reason"] = "so it was"
    api = f.client(role)
    before = everything_stored()
    answer = api.post(f"/api/unsettled/{address}/", body)
    assert (answer.status_code, answer.json()["code"]) == (403, "not_allowed")
    assert everything_stored() == before


@pytest.mark.parametrize(
    ("query", "code"),
    [
        ("code=odd", "not_a_choice"),
        ("settled=perhaps", "not_yes_or_no"),
        ("kind=pooled", "unknown_parameter"),
        ("limit=0", "bad_limit"),
        ("code=pooled&code=unidentified", "repeated_parameter"),
    ],
)
def test_a_parameter_that_is_wrong_is_refused(query: str, code: str, db: None) -> None:
    answer = f.client(Role.VIEWER).get(f"/api/unsettled/?{query}")
    assert (answer.status_code, answer.json()["code"]) == (400, code)


def test_many_take_as_many_queries_as_few(programme: f.Programme) -> None:
    taken = []
    api = f.client(Role.VIEWER)
    for n in (1, 4):
        for _ in range(n):
            programme.outplants(1)
        with CaptureQueriesContext(connection) as queries:
            api.get("/api/unsettled/")
        taken.append(len(queries))
    assert taken[0] == taken[1] <= 25
