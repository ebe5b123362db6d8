"""What the API answers when something is wrong: problem details (RFC 9457), always."""

import json
from typing import Any

import pytest
from django.test import Client, RequestFactory, override_settings
from rest_framework.response import Response
from rest_framework.test import APIClient

from nursery.core.actor import Role
from nursery.core.models import Event
from nursery.core.problems import server_error
from nursery.places.models import Reef
from tests import factories as make

pytestmark = pytest.mark.django_db

MEMBERS = {"type", "title", "status", "detail", "code", "errors"}


def problem(answer: Response, status: int, code: str) -> dict[str, Any]:
    """The body of a problem, after a look at its shape."""
    body: dict[str, Any] = json.loads(answer.content)
    assert answer["Content-Type"] == "application/problem+json"
    assert set(body) == MEMBERS
    assert (answer.status_code, body["status"], body["code"]) == (status, status, code)
    assert body["type"] == f"urn:ramet-register:problem:{code}"
    assert all(set(row) == {"code", "detail", "pointer", "row", "field"} for row in body["errors"])
    return body


def send(api: APIClient, body: bytes, content_type: str = "application/json") -> Response:
    return api.generic("POST", "/api/reefs/", body, content_type=content_type)


def test_nobody_logged_in_is_answered_401() -> None:
    answer = APIClient().get("/api/reefs/")
    problem(answer, 401, "not_authenticated")
    assert answer["WWW-Authenticate"] == 'Bearer realm="Ramet Register"'


@pytest.mark.parametrize("address", ["/api/reefs/", "/api/schema/", "/api/docs/", "/api/tokens/"])
def test_an_account_without_a_role_is_answered_403(address: str) -> None:
    problem(make.client().get(address), 403, "no_role")


def test_an_address_that_is_not_there_is_answered_404() -> None:
    problem(make.client(Role.VIEWER).get("/api/wrecks/"), 404, "not_found")


def test_a_missing_slash_at_the_end_is_told() -> None:
    body = problem(make.client(Role.LEAD).post("/api/reefs", {}), 404, "not_found")
    assert "end with a slash" in body["detail"]


def test_nobody_learns_which_addresses_are_there_without_logging_in() -> None:
    problem(APIClient().get("/api/wrecks/"), 401, "not_authenticated")


def test_an_unknown_code_is_answered_404() -> None:
    problem(make.client(Role.VIEWER).get("/api/reefs/R9/"), 404, "unknown_reef")


@pytest.mark.parametrize("address", ["/api/reefs/%00/", "/api/ramets/%00/", "/api/events/%00/"])
def test_a_nul_in_the_address_is_answered_404(address: str) -> None:
    problem(make.client(Role.VIEWER).get(address), 404, "not_found")


@pytest.mark.parametrize("method", ["put", "delete", "options"])
def test_nothing_is_deleted_or_replaced(method: str) -> None:
    answer = getattr(make.client(Role.LEAD), method)("/api/reefs/")
    problem(answer, 405, "method_not_allowed")


def test_another_form_than_json_is_answered_415() -> None:
    answer = send(make.client(Role.LEAD), b"code=R9", "application/x-www-form-urlencoded")
    problem(answer, 415, "unsupported_media_type")


def test_another_form_of_answer_than_json_is_answered_406() -> None:
    answer = make.client(Role.VIEWER).get("/api/reefs/", HTTP_ACCEPT="text/csv")
    problem(answer, 406, "not_acceptable")


@pytest.mark.parametrize(
    "body",
    [
        b"{",
        b"\xff\xfe",
        b'{"code": NaN}',
        b'{"code": 1e999}',
        b'{"code": "R9", "code": "R8"}',
        b"[" * 100_000,
        b'{"code": ' + b"9" * 5000 + b"}",
    ],
    ids=["cut off", "not UTF-8", "NaN", "infinite", "given twice", "too deep", "too long a number"],
)
def test_what_is_not_json_is_answered_400(body: bytes) -> None:
    problem(send(make.client(Role.LEAD), body), 400, "json_malformed")


@pytest.mark.parametrize("body", [b"[]", b'"R9"', b"7", b"null", b"true"])
def test_what_is_no_object_is_answered_400(body: bytes) -> None:
    problem(send(make.client(Role.LEAD), body), 400, "not_an_object")


def test_no_body_at_all_lacks_what_is_required() -> None:
    body = problem(make.client(Role.LEAD).post("/api/reefs/"), 400, "required")
    assert {row["field"] for row in body["errors"]} == {"code", "name"}


@pytest.mark.parametrize("text", ["\\u0000", "a\\ud800b", "\\udfff"])
def test_characters_that_cannot_be_kept_are_pointed_at(text: str) -> None:
    sent = f'{{"code": "R9", "outline": {{"note": ["", "{text}"]}}}}'.encode()
    answer = make.client(Role.LEAD).generic(
        "POST", "/api/sites/", sent, content_type="application/json"
    )
    body = problem(answer, 400, "control_character")
    assert body["errors"][0]["pointer"] == "#/outline/note/1"


def test_a_pair_of_surrogates_is_one_character() -> None:
    sent = b'{"code": "R9", "name": "Reef \\ud83d\\udc1a"}'
    assert send(make.client(Role.LEAD), sent).status_code == 201
    assert Reef.objects.get().name == "Reef \U0001f41a"


@override_settings(DATA_UPLOAD_MAX_MEMORY_SIZE=1000)
def test_too_large_a_body_is_answered_413() -> None:
    sent = json.dumps({"code": "R9", "name": "x" * 1000}).encode()
    problem(send(make.client(Role.LEAD), sent), 413, "body_too_large")


def test_a_session_without_the_pages_own_mark_does_not_write() -> None:
    api = APIClient(enforce_csrf_checks=True)
    api.force_login(make.person(Role.LEAD))
    problem(api.post("/api/reefs/", {"code": "R9", "name": "Spur"}), 403, "csrf_failed")
    assert not Reef.objects.exists()


def test_all_faults_are_told_at_once_with_their_places() -> None:
    given = {"code": "R 9", "name": "", "latitude": "97", "colour": "blue"}
    body = problem(make.client(Role.LEAD).post("/api/reefs/", given), 400, "code_malformed")
    told = {row["pointer"]: row["code"] for row in body["errors"]}
    assert told["#/colour"] == "unknown_field"
    assert set(told) >= {"#/code", "#/latitude", "#/colour"}
    assert body["detail"].startswith(f"{len(body['errors'])} problems.")


def test_a_fault_in_a_row_names_the_row() -> None:
    given = {
        "when": "2021-03-04",
        "sources": [{"ramet": "KB0001"}, {"used_up": "perhaps"}],
        "count": 1,
    }
    body = problem(make.client(Role.LEAD).post("/api/fragmentations/", given), 400, "required")
    rows = [(row["pointer"], row["row"], row["field"]) for row in body["errors"]]
    assert rows == [("#/sources/1/ramet", 1, "ramet"), ("#/sources/1/used_up", 1, "used_up")]


def test_a_pointer_is_escaped() -> None:
    given = {"code": "R9", "name": "Spur", "a/b~c d": 1}
    body = problem(make.client(Role.LEAD).post("/api/reefs/", given), 400, "unknown_field")
    assert body["errors"][0]["pointer"] == "#/a~1b~0c%20d"


@pytest.mark.parametrize(
    ("field", "value"),
    [
        ("name", {"en": "Spur"}),
        ("name", ["Spur"]),
        ("name", True),
        ("code", {"a": 1}),
        ("latitude", [7]),
        ("latitude", True),
        ("closed_on", 20210304),
        ("closed_on", "2021-13-04"),
        ("name", "x" * 500),
        ("latitude", 10**40),
    ],
)
def test_a_value_of_the_wrong_kind_is_refused(field: str, value: object) -> None:
    given = {"code": "R9", "name": "Spur", field: value}
    answer = make.client(Role.LEAD).post("/api/reefs/", given)
    assert answer.status_code == 400, answer.content
    assert answer.json()["errors"][0]["field"] == field


@pytest.mark.parametrize("value", [[], {"a": 1}, 5, None, "99999999 m"])
def test_a_size_of_the_wrong_kind_is_refused(value: object) -> None:
    given = {"when": "2021-03-04", "reef": "R1", "taxon": "T", "count": 1, "piece_size": value}
    answer = make.client(Role.FIELD).post("/api/collections/", given)
    if value in (5, None):
        assert answer.json()["code"] == "unknown_reef"
    else:
        assert answer.json()["errors"][0]["field"] == "piece_size"
    assert answer.status_code == 400
    assert not Event.objects.exists()


def test_a_fault_of_ours_is_a_problem_under_the_api() -> None:
    answer = server_error(RequestFactory().get("/api/reefs/"))
    assert answer.status_code == 500
    assert answer["Content-Type"] == "application/problem+json"
    assert json.loads(answer.content)["code"] == "server_error"


def test_a_fault_of_ours_is_a_page_elsewhere() -> None:
    answer = server_error(RequestFactory().get("/reefs/"))
    assert answer.status_code == 500
    assert answer["Content-Type"].startswith("text/html")


def test_a_fault_of_ours_reaches_that_answer(monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(*_: object) -> None:
        raise RuntimeError("the pump stopped")

    client = Client(raise_request_exception=False)
    client.force_login(make.person(Role.LEAD))
    monkeypatch.setattr("nursery.core.registers.create", broken)
    answer = client.post(
        "/api/reefs/", {"code": "R9", "name": "Spur"}, content_type="application/json"
    )
    assert answer.status_code == 500
    assert answer.json()["code"] == "server_error"
    assert "pump" not in answer.content.decode()
