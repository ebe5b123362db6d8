"""Checks by API."""

from uuid import uuid4

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from nursery.core.actor import Role
from nursery.outplanting.actions.correct import void
from nursery.outplanting.corrections import VoidIn
from tests import factories as make
from tests.husbandry.plates import cut_into

pytestmark = pytest.mark.django_db


def test_a_check_is_entered_shown_and_repeated() -> None:
    programme = make.programme()
    first, second = cut_into(programme, programme.plate, 2)
    entry = {
        "uid": str(uuid4()),
        "when": make.CHECKED,
        "done_by": ["Ana Reyes"],
        "findings": [
            {"ramet": first.code, "state": "loose", "size_cm": "1.2", "note": "pressed back"},
            {"ramet": f"{programme.plate.code} B1", "state": "dead", "cause": "overgrowth"},
        ],
    }
    api = make.client(Role.NURSERY, at=programme.nursery)
    answer = api.post("/api/checks/", entry)
    assert answer.status_code == 201, answer.content
    body = answer.json()
    assert (body["kind"], body["when"], body["live"]) == ("check", make.CHECKED, True)
    assert body["findings"] == [
        {
            "ramet": first.code,
            "state": "loose",
            "size_cm": "1.2",
            "note": "pressed back",
            "cause": None,
        },
        {
            "ramet": second.code,
            "state": "dead",
            "size_cm": None,
            "note": "",
            "cause": "overgrowth",
        },
    ]
    assert answer["Location"] == f"/api/checks/{body['uid']}/"
    again = api.post("/api/checks/", entry)
    assert (again.status_code, again.json()) == (200, body)
    assert api.get(answer["Location"]).json() == body
    other = api.post("/api/checks/", entry | {"note": "twice"})
    assert (other.status_code, other.json()["code"]) == (409, "uid_taken")


def test_a_refusal_names_the_row_and_the_rule() -> None:
    programme = make.programme()
    (child,) = cut_into(programme, programme.plate, 1)
    (outplant,) = programme.outplants(1)
    rows = [{"ramet": each.code, "state": "attached"} for each in (child, outplant)]
    answer = make.client(Role.LEAD).post("/api/checks/", {"when": "2021-07-01", "findings": rows})
    assert (answer.status_code, answer.json()["code"]) == (400, "on_the_reef")
    assert answer.json()["errors"][0]["pointer"] == "#/findings/1/ramet"


@pytest.mark.parametrize("role", [Role.FIELD, Role.VIEWER])
def test_who_may_not_check(role: Role) -> None:
    programme = make.programme()
    (child,) = cut_into(programme, programme.plate, 1)
    rows = [{"ramet": child.code, "state": "attached"}]
    answer = make.client(role).post("/api/checks/", {"when": make.CHECKED, "findings": rows})
    assert (answer.status_code, answer.json()["code"]) == (403, "not_allowed")


def test_checks_and_findings_are_listed_and_filtered() -> None:
    programme = make.programme()
    first, second, third = cut_into(programme, programme.plate, 3)
    one = make.check(programme.lead, {first: "loose", second: "dead"}).event
    two = make.check(programme.lead, {first: "attached", third: "missing"}, when="2021-04-01").event
    api = make.client(Role.VIEWER)
    checks = api.get("/api/checks/").json()
    assert [row["uid"] for row in checks["results"]] == [str(two.uid), str(one.uid)]
    assert "findings" not in checks["results"][0]
    for query, number in (
        ("when=2021-04", 1),
        (f"ramet={first.code}", 2),
        (f"ramet={third.code}", 1),
        ("live=false", 0),
    ):
        assert api.get(f"/api/checks/?{query}").json()["count"] == number, query
    findings = api.get("/api/findings/").json()["results"]
    assert [(row["ramet"], row["state"], row["cause"]) for row in findings] == [
        (third.code, "missing", None),
        (first.code, "attached", None),
        (second.code, "dead", "unknown"),
        (first.code, "loose", None),
    ]
    assert {(row["check"], row["when"]) for row in findings} == {
        (str(one.uid), make.CHECKED),
        (str(two.uid), "2021-04-01"),
    }
    genet = programme.colony.genet.code
    for query, number in (
        (f"check={one.uid}", 2),
        ("state=dead", 1),
        (f"ramet={first.code}", 2),
        (f"structure={programme.plate.code}", 4),
        (f"structure={programme.tray.code}", 0),
        (f"genet={genet}", 4),
        (f"taxon={programme.taxon.code}&when=2021-04", 2),
    ):
        assert api.get(f"/api/findings/?{query}").json()["count"] == number, query
    assert api.get("/api/findings/?state=dying").status_code == 400


def test_a_check_shows_in_the_trace_of_its_ramet() -> None:
    programme = make.programme()
    (child,) = cut_into(programme, programme.plate, 1)
    event = make.check(programme.lead, {child: "loose"}).event
    shown = make.client(Role.VIEWER).get(f"/api/ramets/{child.code}/trace/").json()
    last = shown["nodes"][0]["steps"][-1]
    assert (last["what"], last["event"]["uid"]) == ("checked_alive", str(event.uid))
    assert last["event"]["kind"] == "check"


def test_a_void_check_is_shown_as_it_was_and_its_findings_are_not_listed() -> None:
    programme = make.programme()
    (child,) = cut_into(programme, programme.plate, 1)
    event = make.check(programme.lead, {child: "dead"}).event
    void(programme.lead, VoidIn(event=event.uid, reason="another plate"))
    api = make.client(Role.VIEWER)
    shown = api.get(f"/api/checks/{event.uid}/").json()
    assert shown["live"] is False
    assert [(row["state"], row["cause"]) for row in shown["findings"]] == [("dead", "unknown")]
    assert api.get("/api/findings/").json()["count"] == 0


@pytest.mark.parametrize("address", ["/api/checks/", "/api/findings/"])
def test_a_long_list_takes_no_more_queries_than_a_short_one(address: str) -> None:
    programme = make.programme()
    api = make.client(Role.VIEWER)

    def cost() -> int:
        with CaptureQueriesContext(connection) as asked:
            assert api.get(address).status_code == 200
        return len(asked)

    plugs = cut_into(programme, programme.plate, 9)
    make.check(programme.lead, dict.fromkeys(plugs[:1], "dead"))
    short = cost()
    for number, plug in enumerate(plugs[1:], start=1):
        make.check(programme.lead, {plug: "dead"}, when=f"2021-04-0{number}")
    assert cost() == short


def test_a_large_check_is_shown_by_as_many_queries_as_a_small_one() -> None:
    programme = make.programme()
    api = make.client(Role.VIEWER)

    def cost(number: int) -> int:
        plate = make.structure(programme.lead, programme.bay)
        plugs = cut_into(programme, plate, number)
        event = make.check(programme.lead, dict.fromkeys(plugs, "dead")).event
        with CaptureQueriesContext(connection) as asked:
            shown = api.get(f"/api/checks/{event.uid}/").json()
        assert len(shown["findings"]) == number
        return len(asked)

    assert cost(1) == cost(80)
