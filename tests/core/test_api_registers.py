"""Registers by API: entered, looked up, edited, never deleted."""

import pytest
from rest_framework.test import APIClient

from nursery.core.actor import Role
from nursery.core.models import Change
from nursery.places.models import Nursery, Reef, Site
from tests import factories as make

pytestmark = pytest.mark.django_db


@pytest.fixture
def lead() -> APIClient:
    return make.client(Role.LEAD)


def test_a_row_is_entered_and_answered_as_it_stands(lead: APIClient) -> None:
    answer = lead.post(
        "/api/reefs/", {"code": "r9", "name": " Spur ", "latitude": "7°18'S", "longitude": 134.5}
    )
    assert answer.status_code == 201
    assert answer["Location"] == "/api/reefs/R9/"
    assert answer.json() == {
        "code": "R9",
        "note": "",
        "closed_on": None,
        "version": 1,
        "name": "Spur",
        "latitude": "-7.300000",
        "longitude": "134.500000",
    }


def test_a_row_is_found_by_its_code_in_any_case(lead: APIClient) -> None:
    lead.post("/api/reefs/", {"code": "R9.A_B-2", "name": "Spur"})
    assert lead.get("/api/reefs/r9.a_b-2/").json()["name"] == "Spur"


def test_a_reference_is_given_and_shown_as_a_code(lead: APIClient) -> None:
    lead.post("/api/reefs/", {"code": "R9", "name": "Spur"})
    answer = lead.post("/api/sites/", {"code": "S9", "name": "Groove", "reef": "r9"})
    assert answer.json()["reef"] == "R9"


def test_several_references_are_a_list_of_codes(lead: APIClient) -> None:
    programme = make.programme()
    codes = [make.reef(programme.lead).code, programme.reef.code]
    given = {"code": "P-9", "title": "Collecting", "authority": "Harbour", "reefs": codes}
    answer = lead.post("/api/permits/", given)
    assert sorted(answer.json()["reefs"]) == sorted(codes)


def test_a_reference_to_nothing_is_pointed_at(lead: APIClient) -> None:
    answer = lead.post("/api/sites/", {"code": "S9", "name": "Groove", "reef": "R9"})
    assert answer.status_code == 400
    assert answer.json()["errors"][0]["code"] == "unknown_reef"
    assert answer.json()["errors"][0]["pointer"] == "#/reef"


def test_a_code_is_taken_once(lead: APIClient) -> None:
    lead.post("/api/reefs/", {"code": "R9", "name": "Spur"})
    answer = lead.post("/api/reefs/", {"code": "r9", "name": "Groove"})
    assert (answer.status_code, answer.json()["code"]) == (400, "code_taken")


def test_an_edit_changes_what_is_given_and_nothing_else(lead: APIClient) -> None:
    lead.post("/api/reefs/", {"code": "R9", "name": "Spur", "note": "steep"})
    answer = lead.patch("/api/reefs/R9/", {"name": "Spur and groove"})
    assert answer.status_code == 200
    assert answer.json()["name"] == "Spur and groove"
    assert answer.json()["note"] == "steep"
    assert answer.json()["version"] == 2
    change = Change.objects.latest("pk")
    assert (change.before, change.after) == ({"name": "Spur"}, {"name": "Spur and groove"})


def test_an_edit_of_the_version_that_was_seen_is_taken(lead: APIClient) -> None:
    lead.post("/api/reefs/", {"code": "R9", "name": "Spur"})
    answer = lead.patch("/api/reefs/R9/", {"name": "Groove", "version": 1})
    assert answer.status_code == 200


@pytest.mark.parametrize(
    ("name", "given"),
    [
        ("reefs", {"name": "Spur"}),
        ("nurseries", {"name": "Slipway", "kind": "sea"}),
        ("structures", {"kind": "rope"}),
    ],
)
def test_an_edit_of_an_older_version_is_refused(
    lead: APIClient, name: str, given: dict[str, str]
) -> None:
    lead.post(f"/api/{name}/", {"code": "X9", **given})
    lead.patch(f"/api/{name}/X9/", {"note": "hers"})
    answer = lead.patch(f"/api/{name}/X9/", {"note": "his", "version": 1})
    assert (answer.status_code, answer.json()["code"]) == (409, "edited_meanwhile")
    assert lead.get(f"/api/{name}/X9/").json()["note"] == "hers"


def test_a_donor_colony_of_an_older_version_is_not_edited(lead: APIClient) -> None:
    colony = make.programme().colony
    address = f"/api/donors/{colony.code}/"
    lead.patch(address, {"note": "hers", "version": colony.version})
    answer = lead.patch(address, {"note": "his", "version": colony.version})
    assert (answer.status_code, answer.json()["code"]) == (409, "edited_meanwhile")


@pytest.mark.parametrize("version", ["1", 1.5, True, [1]])
def test_a_version_is_a_whole_number(lead: APIClient, version: object) -> None:
    lead.post("/api/reefs/", {"code": "R9", "name": "Spur"})
    answer = lead.patch("/api/reefs/R9/", {"version": version})
    assert answer.json()["errors"][0]["pointer"] == "#/version"


@pytest.mark.parametrize("field", ["id", "nursery", "bay", "plot", "parent", "steps"])
def test_what_the_ledger_works_out_is_not_set_by_hand(lead: APIClient, field: str) -> None:
    answer = lead.post("/api/structures/", {"code": "K9", "kind": "plate", field: 1})
    assert answer.status_code == 400
    assert answer.json()["errors"][0]["code"] == "unknown_field"


def test_a_row_is_closed_by_a_date(lead: APIClient) -> None:
    lead.post("/api/reefs/", {"code": "R9", "name": "Spur"})
    lead.patch("/api/reefs/R9/", {"closed_on": "2021-03-04"})
    answer = lead.patch("/api/reefs/R9/", {"closed_on": None})
    assert answer.json()["closed_on"] is None


def test_a_nursery_gets_its_code_series(lead: APIClient) -> None:
    answer = lead.post(
        "/api/nurseries/", {"code": "N9", "name": "Slipway", "kind": "land", "series": "kb"}
    )
    assert answer.json()["series"] == "KB"
    assert Nursery.objects.get().series is not None
    assert lead.get("/api/series/").json()["results"][0]["prefix"] == "KB"


@pytest.mark.parametrize("role", [Role.VIEWER, Role.FIELD])
@pytest.mark.parametrize("name", ["reefs", "sites", "taxa", "permits", "nurseries"])
def test_who_may_not_enter_it_is_refused_and_nothing_is_kept(role: Role, name: str) -> None:
    answer = make.client(role).post(f"/api/{name}/", {"code": "X9", "name": "Spur"})
    assert (answer.status_code, answer.json()["code"]) == (403, "not_allowed")
    assert not Reef.objects.exists()
    assert not Site.objects.exists()


def test_permission_comes_before_what_is_wrong_with_the_entry() -> None:
    answer = make.client(Role.VIEWER).post("/api/reefs/", {"colour": "blue"})
    assert answer.status_code == 403
