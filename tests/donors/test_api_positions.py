"""Exact donor positions reach field staff and leads, and nobody else by any way."""

from typing import Any

import pytest
from rest_framework.test import APIClient

from nursery.core.actor import Role
from nursery.core.models import Change
from tests import factories as make
from tests.chance import without_chance

pytestmark = pytest.mark.django_db

LATITUDE, LONGITUDE = "7.3456789", "134.4567891"
DIGITS = ("3456", "4567")
"""Digits of the exact position that no rounded one has."""


class World:
    """A colony and a loose collection with exact positions, and all that came of them."""

    def __init__(self) -> None:
        self.programme = make.programme()
        by = self.programme.lead
        at = {"latitude": LATITUDE, "longitude": LONGITUDE}
        self.colony = make.colony(by, self.programme.taxon, self.programme.reef, **at)
        self.taken = make.collection(by, self.colony, **at)
        self.loose = make.collection(
            by,
            reef=self.programme.reef.code,
            taxon=self.programme.taxon.code,
            uncertainty_m=5,
            **at,
        )
        make.intake(by, self.taken, self.programme.nursery, self.programme.tray)
        make.intake(by, self.loose, self.programme.nursery, self.programme.tray)
        self.child = make.cut(by, make.ramets_of(self.taken))[0]
        self.stray = make.cut(by, make.ramets_of(self.loose))[0]

    def addresses(self) -> list[str]:
        lists = (
            "reefs nurseries systems bays structures sites plots taxa permits genets donors ramets "
            "collections intakes fragmentations moves structure-moves stock-entries outplantings "
            "visits observations events series"
        )
        return [
            *(f"/api/{name}/" for name in lists.split()),
            f"/api/donors/{self.colony.code}/",
            f"/api/donors/{self.colony.code}/descendants/",
            f"/api/collections/{self.taken.event.uid}/",
            f"/api/collections/{self.loose.event.uid}/",
            f"/api/events/{self.loose.event.uid}/",
            f"/api/ramets/{self.child.code}/",
            f"/api/ramets/{self.child.code}/trace/",
            f"/api/ramets/{self.stray.code}/trace/",
            f"/api/genets/{self.colony.genet.code}/descendants/",
        ]


def exact(api: APIClient, address: str) -> bool:
    answer = api.get(address)
    assert answer.status_code == 200, answer.content
    text = without_chance(answer.content.decode())
    return any(digits in text for digits in DIGITS)


@pytest.mark.parametrize("role", [Role.VIEWER, Role.NURSERY])
def test_others_see_an_exact_position_nowhere(role: Role) -> None:
    world = World()
    api = make.client(role, at=world.programme.nursery)
    assert [address for address in world.addresses() if exact(api, address)] == []


@pytest.mark.parametrize("role", [Role.FIELD, Role.LEAD])
def test_field_staff_and_leads_see_it_where_positions_are_shown(role: Role) -> None:
    world = World()
    api = make.client(role)
    assert [address for address in world.addresses() if exact(api, address)] == [
        "/api/donors/",
        "/api/collections/",
        f"/api/donors/{world.colony.code}/",
        f"/api/collections/{world.taken.event.uid}/",
        f"/api/collections/{world.loose.event.uid}/",
        f"/api/ramets/{world.child.code}/trace/",
        f"/api/ramets/{world.stray.code}/trace/",
    ]


def position(role: Role, address: str) -> dict[str, Any]:
    body: dict[str, Any] = make.client(role).get(address).json()
    found: dict[str, Any] = body["position"]
    return found


def test_a_viewer_sees_the_rounded_position_and_that_it_is_rounded() -> None:
    world = World()
    seen = position(Role.VIEWER, f"/api/donors/{world.colony.code}/")
    statement = seen.pop("statement")
    assert seen == {"latitude": 7.35, "longitude": 134.46, "uncertainty_m": 1570, "exact": False}
    assert "rounded" in statement


def test_the_rounded_position_keeps_the_uncertainty_of_the_exact_one() -> None:
    world = World()
    seen = position(Role.VIEWER, f"/api/collections/{world.loose.event.uid}/")
    assert (seen["uncertainty_m"], seen["exact"]) == (1575, False)


def test_a_colony_without_position_has_none() -> None:
    programme = make.programme()
    answer = make.client(Role.LEAD).get(f"/api/donors/{programme.colony.code}/")
    assert answer.json()["position"] is None


@pytest.mark.parametrize(
    "query",
    [
        "ordering=latitude",
        "ordering=position",
        "ordering=rounded_latitude",
        "ordering=position__latitude",
        "latitude=7.3",
        "latitude__gte=7.3",
        "rounded_latitude=7.35",
        "position=7.3",
        "near=7.3,134.4",
    ],
)
@pytest.mark.parametrize("name", ["donors", "collections"])
def test_nothing_is_ordered_or_found_by_position(name: str, query: str) -> None:
    answer = make.client(Role.VIEWER).get(f"/api/{name}/?{query}")
    assert answer.status_code == 400
    assert answer.json()["code"] in ("unknown_parameter", "unknown_ordering")


def test_the_history_of_a_colony_holds_no_position() -> None:
    World()
    kept = str(list(Change.objects.values_list("before", "after")))
    assert not any(digits in kept for digits in DIGITS)


def test_a_conflict_says_nothing_of_a_position() -> None:
    programme = make.programme()
    uid = "4b1c9be2-6e56-4c1f-9b0e-1f3f6c2f8a11"
    at = {"latitude": LATITUDE, "longitude": LONGITUDE}
    make.collection(programme.lead, programme.colony, uid=uid, **at)
    given = {"uid": uid, "when": "2021-01-10", "colony": programme.colony.code, "count": 1}
    answer = make.client(Role.FIELD).post("/api/collections/", given)
    assert answer.status_code == 409
    assert not any(digits in answer.content.decode() for digits in DIGITS)


def test_a_colony_is_entered_with_its_position_and_a_presumed_genet() -> None:
    programme = make.programme()
    answer = make.client(Role.FIELD).post(
        "/api/donors/",
        {
            "code": "c9",
            "taxon": programme.taxon.code,
            "reef": programme.reef.code,
            "latitude": "7°20.74' N",
            "longitude": "134°27.41' E",
            "uncertainty_m": 4,
            "depth_m": "12 ft",
        },
    )
    assert answer.status_code == 201, answer.content
    body = answer.json()
    assert body["genet"] == "G-C9"
    assert body["depth_m"] == "3.7"
    assert body["position"]["exact"] is True
    assert body["position"]["uncertainty_m"] == 4


def test_half_a_position_is_refused() -> None:
    programme = make.programme()
    given = {"code": "C9", "taxon": programme.taxon.code, "reef": programme.reef.code}
    answer = make.client(Role.FIELD).post("/api/donors/", {**given, "latitude": "7.3"})
    assert answer.json()["errors"][0]["pointer"] == "#/longitude"
    assert answer.status_code == 400


def test_rounded_values_are_not_set_by_hand() -> None:
    programme = make.programme()
    answer = make.client(Role.LEAD).patch(
        f"/api/donors/{programme.colony.code}/", {"rounded_latitude": "1.5"}
    )
    assert (answer.status_code, answer.json()["code"]) == (400, "unknown_field")


def test_collections_tell_what_is_irregular_about_them() -> None:
    world = World()
    body = make.client(Role.VIEWER).get(f"/api/collections/{world.taken.event.uid}/").json()
    assert [flag["code"] for flag in body["flags"]] == ["no_permit"]
