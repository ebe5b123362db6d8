"""Tokens made and withdrawn by API."""

from typing import Any

import pytest
from rest_framework.test import APIClient

from nursery.access.models import Token
from nursery.core.actor import Role
from tests import factories as make

pytestmark = pytest.mark.django_db


def made(api: APIClient, **given: Any) -> dict[str, Any]:
    answer = api.post("/api/tokens/", {"name": "logger", **given})
    assert answer.status_code == 201, answer.content
    body: dict[str, Any] = answer.json()
    return body


def test_a_key_is_shown_once() -> None:
    api = make.client(Role.VIEWER)
    token = made(api)
    assert "key" in token
    listed = api.get("/api/tokens/").json()["results"]
    assert [row["id"] for row in listed] == [token["id"]]
    assert token["key"] not in str(listed)
    assert "digest" not in listed[0]


def test_the_answer_with_the_key_is_kept_by_no_cache() -> None:
    answer = make.client(Role.VIEWER).post("/api/tokens/", {"name": "logger"})
    assert "no-store" in answer["Cache-Control"]


def test_a_token_makes_no_other_token() -> None:
    api = make.client(Role.VIEWER)
    key = made(api)["key"]
    program = APIClient()
    program.credentials(HTTP_AUTHORIZATION=f"Bearer {key}")
    answer = program.post("/api/tokens/", {"name": "another"})
    assert (answer.status_code, answer.json()["code"]) == (403, "token_makes_no_token")
    assert Token.objects.count() == 1


def test_only_ones_own_tokens_are_listed() -> None:
    made(make.client(Role.LEAD))
    assert make.client(Role.LEAD).get("/api/tokens/").json()["count"] == 0


def test_ones_own_token_is_withdrawn() -> None:
    api = make.client(Role.VIEWER)
    token = made(api)
    answer = api.post(f"/api/tokens/{token['id']}/withdraw/")
    assert answer.status_code == 200
    assert answer.json()["withdrawn_at"] is not None


def test_withdrawing_twice_changes_nothing() -> None:
    api = make.client(Role.VIEWER)
    address = f"/api/tokens/{made(api)['id']}/withdraw/"
    first = api.post(address).json()
    assert api.post(address).json() == first


def test_somebody_elses_token_is_not_found() -> None:
    token = made(make.client(Role.VIEWER))
    answer = make.client(Role.FIELD).post(f"/api/tokens/{token['id']}/withdraw/")
    assert (answer.status_code, answer.json()["code"]) == (404, "unknown_token")


def test_a_lead_withdraws_anybodys_token() -> None:
    token = made(make.client(Role.VIEWER))
    answer = make.client(Role.LEAD).post(f"/api/tokens/{token['id']}/withdraw/")
    assert answer.status_code == 200


def test_a_fault_in_the_wish_is_pointed_at() -> None:
    answer = make.client(Role.VIEWER).post("/api/tokens/", {"name": "logger", "days": 4000})
    assert answer.status_code == 400
    assert answer.json()["errors"][0]["pointer"] == "#/days"
