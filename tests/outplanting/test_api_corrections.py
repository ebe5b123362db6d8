"""Corrections by API: previewed, carried out, told, undone."""

from __future__ import annotations

import uuid
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from rest_framework.test import APIClient

from nursery.core.actor import Role
from nursery.core.models import Event
from nursery.lineage.models import Ramet
from nursery.lineage.words import Life
from tests import factories as f
from tests.refusals import everything_stored

pytestmark = pytest.mark.django_db

WHY = {"reason": "written down twice"}


def correct(api: APIClient, event: Event, how: str, /, **body: Any) -> Any:
    return api.post(f"/api/events/{event.uid}/{how}/", WHY | body)


def cutting(programme: f.Programme) -> Event:
    (child,) = f.cut(programme.lead, programme.mothers())
    return child.born


def test_an_event_is_voided_and_the_answer_says_what_follows(programme: f.Programme) -> None:
    event = cutting(programme)
    child = Ramet.objects.get(born=event)
    answer = correct(f.client(Role.LEAD), event, "void")
    assert answer.status_code == 200, answer.content
    assert answer.json() == {
        "events": [{"event": str(event.uid), "kind": "fragmentation", "when": f.CUT}],
        "changes": [{"ramet": child.code, "field": "life", "before": "living", "after": "never"}],
        "counts": {"life": 1},
    }
    assert Ramet.everything.get(pk=child.pk).life == Life.NEVER


@pytest.mark.parametrize(
    ("how", "body"),
    [
        ("void", {}),
        ("amend", {"when": "2021-02-01"}),
        ("amend", {"note": "by lamplight", "done_by": ["Maru"]}),
    ],
)
def test_a_preview_keeps_nothing_and_says_the_same(
    programme: f.Programme, how: str, body: dict[str, Any]
) -> None:
    event = cutting(programme)
    api = f.client(Role.LEAD)
    before = everything_stored()
    preview = correct(api, event, how, preview=True, **body)
    assert preview.status_code == 200, preview.content
    assert everything_stored() == before
    done = correct(api, event, how, preview=False, **body)
    assert done.json() == preview.json()
    assert everything_stored() != before


def test_a_voided_event_is_restored(programme: f.Programme) -> None:
    event = cutting(programme)
    api = f.client(Role.LEAD)
    correct(api, event, "void")
    assert api.get(f"/api/fragmentations/{event.uid}/").json()["live"] is False
    answer = correct(api, event, "restore")
    assert answer.status_code == 200, answer.content
    assert answer.json()["counts"] == {"life": 1}
    assert api.get(f"/api/fragmentations/{event.uid}/").json()["live"] is True


def test_an_amendment_is_undone(programme: f.Programme) -> None:
    event = cutting(programme)
    api = f.client(Role.LEAD)
    assert correct(api, event, "amend", when="2021-02-01").status_code == 200
    assert api.get(f"/api/events/{event.uid}/").json()["when"] == "2021-02-01"
    before = everything_stored()
    preview = correct(api, event, "undo-amendment", preview=True)
    assert preview.status_code == 200, preview.content
    assert everything_stored() == before
    assert correct(api, event, "undo-amendment").status_code == 200
    assert api.get(f"/api/events/{event.uid}/").json()["when"] == f.CUT


def test_a_cutting_is_given_another_mother(programme: f.Programme) -> None:
    mother, other = programme.mothers(2)
    (child,) = f.cut(programme.lead, [mother])
    swap = {"instead_of": mother.code, "ramet": other.code}
    api = f.client(Role.LEAD)
    assert correct(api, child.born, "amend", sources=[swap]).status_code == 200
    steps = api.get(f"/api/fragmentations/{child.born.uid}/").json()["steps"]
    cut_from = {step["ramet"] for step in steps if step["live"] and step["what"] == "cut_from"}
    assert cut_from == {other.code}


def test_the_corrections_of_an_event_say_who_what_and_why(programme: f.Programme) -> None:
    event = cutting(programme)
    user = f.person(Role.LEAD, name="leda")
    api = APIClient()
    api.force_login(user)
    correct(api, event, "amend", note="by lamplight")
    correct(api, event, "void")
    answer = f.client(Role.VIEWER).get(f"/api/events/{event.uid}/corrections/")
    assert answer.status_code == 200
    first, second = answer.json()
    assert (first["mend"], first["by"], first["reason"]) == ("amended", "leda", WHY["reason"])
    assert first["changes"] == {"note": ["", "by lamplight"]}
    assert (second["mend"], second["changes"]) == ("voided", {})
    assert first["together"] != second["together"]
    assert "undone" not in second


def test_many_corrections_take_as_many_queries_as_one(programme: f.Programme) -> None:
    event = cutting(programme)
    api = f.client(Role.LEAD)
    taken = []
    for n in (1, 6):
        for number in range(n):
            correct(api, event, "amend", note=f"note {n} {number}")
        with CaptureQueriesContext(connection) as queries:
            api.get(f"/api/events/{event.uid}/corrections/")
        taken.append(len(queries))
    assert taken == [5, 5]


def test_a_refusal_names_the_event_in_the_way(programme: f.Programme) -> None:
    children = f.cut(programme.lead, programme.mothers(), 2)
    planting = f.planting(programme.lead, programme.plot, children).event
    answer = correct(f.client(Role.LEAD), children[0].born, "void")
    assert (answer.status_code, answer.json()["code"]) == (400, "behind_later_entry")
    assert answer.json()["in_the_way"] == {
        "uid": str(planting.uid),
        "kind": "outplanting",
        "when": f.PLANTED,
    }


def test_what_is_in_the_way_is_voided_together(programme: f.Programme) -> None:
    children = f.cut(programme.lead, programme.mothers(), 2)
    planting = f.planting(programme.lead, programme.plot, children).event
    api = f.client(Role.LEAD)
    answer = correct(api, children[0].born, "void", together=True)
    assert [row["event"] for row in answer.json()["events"]] == [
        str(planting.uid),
        str(children[0].born.uid),
    ]
    (of_planting,) = api.get(f"/api/events/{planting.uid}/corrections/").json()
    (of_cutting,) = api.get(f"/api/events/{children[0].born.uid}/corrections/").json()
    assert of_planting["together"] == of_cutting["together"]


@pytest.mark.parametrize("how", ["void", "amend"])
def test_field_staff_correct_only_what_they_entered(programme: f.Programme, how: str) -> None:
    other = f.collection(programme.lead, programme.colony).event
    api = f.client(Role.FIELD)
    own = api.post(
        "/api/collections/", {"when": f.COLLECTED, "colony": programme.colony.code, "count": 1}
    ).json()
    body = {"note": "x"} if how == "amend" else {}
    before = everything_stored()
    refused = correct(api, other, how, **body)
    assert (refused.status_code, refused.json()["code"]) == (403, "not_yours")
    assert everything_stored() == before
    assert correct(api, Event.objects.get(uid=own["uid"]), how, **body).status_code == 200


def test_a_viewer_corrects_nothing(programme: f.Programme) -> None:
    answer = correct(f.client(Role.VIEWER), cutting(programme), "void", preview=True)
    assert (answer.status_code, answer.json()["code"]) == (403, "not_allowed")


@pytest.mark.parametrize("how", ["void", "restore", "amend", "undo-amendment"])
@pytest.mark.parametrize("uid", [str(uuid.UUID(int=7)), "seven"])
def test_an_event_that_is_not_there_is_not_found(how: str, uid: str, db: None) -> None:
    body = WHY | ({"note": "x"} if how == "amend" else {})
    answer = f.client(Role.LEAD).post(f"/api/events/{uid}/{how}/", body)
    assert (answer.status_code, answer.json()["code"]) == (404, "unknown_event")
    assert answer.json()["errors"][0]["pointer"] is None


def test_the_corrections_of_nothing_are_not_found(db: None) -> None:
    answer = f.client(Role.LEAD).get(f"/api/events/{uuid.uuid4()}/corrections/")
    assert (answer.status_code, answer.json()["code"]) == (404, "unknown_event")


@pytest.mark.parametrize(
    ("how", "body", "code", "pointer"),
    [
        ("void", {"reason": ""}, "required", "#/reason"),
        ("void", {"event": "x"}, "unknown_field", "#/event"),
        ("void", {"preview": "perhaps"}, "not_yes_or_no", "#/preview"),
        ("restore", {}, "not_voided", None),
        ("amend", {}, "nothing_amended", None),
        ("amend", {"plot": "P"}, "not_of_this_kind", "#/plot"),
        ("amend", {"when": "soon"}, "date_malformed", "#/when"),
        ("undo-amendment", {}, "not_amended", None),
    ],
)
def test_a_correction_that_is_wrong_says_where(
    programme: f.Programme, how: str, body: dict[str, Any], code: str, pointer: str | None
) -> None:
    answer = correct(f.client(Role.LEAD), cutting(programme), how, **body)
    assert (answer.status_code, answer.json()["code"]) == (400, code)
    assert answer.json()["errors"][0]["pointer"] == pointer


def test_lists_tell_voided_events_too_unless_asked_otherwise(programme: f.Programme) -> None:
    event = cutting(programme)
    api = f.client(Role.LEAD)
    correct(api, event, "void")
    for address in ("fragmentations", "events"):
        for query, there in (("", True), ("&live=false", True), ("&live=true", False)):
            found = api.get(f"/api/{address}/?limit=100{query}").json()["results"]
            assert (str(event.uid) in {row["uid"] for row in found}) == there, (address, query)
