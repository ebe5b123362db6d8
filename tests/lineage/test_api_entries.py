"""Events by API: entered once, found again, and a thousand children in one call."""

import uuid
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from rest_framework.test import APIClient

from nursery.core.actor import Role
from nursery.core.models import Event
from nursery.lineage.inputs import MOST_ROWS
from nursery.lineage.models import Ramet
from tests import factories as make

pytestmark = pytest.mark.django_db

UID = "4b1c9be2-6e56-4c1f-9b0e-1f3f6c2f8a11"


def entry(programme: make.Programme, **given: Any) -> dict[str, Any]:
    return {"when": "2021-03-04", "colony": programme.colony.code, "count": 2, **given}


def test_an_entry_is_answered_201_with_the_event() -> None:
    programme = make.programme()
    permit = make.permit(programme.lead)
    answer = make.client(Role.FIELD).post(
        "/api/collections/",
        entry(programme, uid=UID, done_by=["Maru", "Ines"], permits=[permit.code], note="calm"),
    )
    assert answer.status_code == 201
    assert answer["Location"] == f"/api/collections/{UID}/"
    body = answer.json()
    header = {name: body[name] for name in ("uid", "kind", "when", "done_by", "permits", "note")}
    assert header == {
        "uid": UID,
        "kind": "collection",
        "when": "2021-03-04",
        "done_by": ["Maru", "Ines"],
        "permits": [permit.code],
        "note": "calm",
    }
    assert [step["what"] for step in body["steps"]] == ["born", "born"]
    assert [step["number"] for step in body["steps"]] == [1, 2]
    assert make.client(Role.VIEWER).get(answer["Location"]).json() == body


def test_the_same_entry_again_is_answered_200_and_kept_once() -> None:
    api = make.client(Role.FIELD)
    given = entry(make.programme(), uid=UID)
    first = api.post("/api/collections/", given)
    again = api.post("/api/collections/", given)
    assert (first.status_code, again.status_code) == (201, 200)
    assert again.json() == first.json()
    assert Ramet.objects.count() == 2


def test_the_same_entry_again_is_answered_as_the_event_stands_now() -> None:
    programme = make.programme()
    api = make.client(Role.FIELD)
    given = entry(programme, uid=UID)
    api.post("/api/collections/", given)
    Event.objects.filter(uid=UID).update(live=False)
    again = api.post("/api/collections/", given)
    assert again.status_code == 200
    assert again.json()["live"] is False


def test_another_spelling_of_the_same_entry_is_the_same_entry() -> None:
    programme = make.programme()
    api = make.client(Role.FIELD)
    api.post("/api/collections/", entry(programme, uid=UID, depth=3))
    spelled = entry(programme, uid=UID.upper(), depth="3.0 m")
    spelled["colony"] = programme.colony.code.lower()
    assert api.post("/api/collections/", spelled).status_code == 200


def refused_without_revealing(answer: Any) -> None:
    assert answer.status_code == 409
    body = answer.json()
    assert body["code"] == "uid_taken"
    assert body["errors"][0]["pointer"] == "#/uid"
    told = answer.content.decode()
    assert "first words" not in told
    assert "collection" not in told


def test_another_entry_under_the_same_uid_is_refused_and_reveals_nothing() -> None:
    programme = make.programme()
    api = make.client(Role.FIELD)
    api.post("/api/collections/", entry(programme, uid=UID, note="first words"))
    refused_without_revealing(api.post("/api/collections/", entry(programme, uid=UID, note="b")))


def test_the_same_entry_by_somebody_else_is_refused_and_reveals_nothing() -> None:
    programme = make.programme()
    given = entry(programme, uid=UID, note="first words")
    make.client(Role.FIELD).post("/api/collections/", given)
    refused_without_revealing(make.client(Role.FIELD).post("/api/collections/", given))


def test_an_entry_of_another_kind_under_the_same_uid_is_refused() -> None:
    programme = make.programme()
    api = make.client(Role.LEAD)
    api.post("/api/collections/", entry(programme, uid=UID, note="first words"))
    visit = {"uid": UID, "when": "2021-03-04", "site": programme.site.code}
    refused_without_revealing(api.post("/api/visits/", visit))


def test_who_may_not_enter_it_learns_nothing_of_a_uid() -> None:
    programme = make.programme()
    given = entry(programme, uid=UID)
    make.client(Role.FIELD).post("/api/collections/", given)
    answer = make.client(Role.VIEWER).post("/api/collections/", given)
    assert (answer.status_code, answer.json()["code"]) == (403, "not_allowed")


def test_a_refused_entry_keeps_nothing_and_leaves_its_uid_free() -> None:
    programme = make.programme()
    before = Event.objects.count()
    api = make.client(Role.FIELD)
    answer = api.post("/api/collections/", entry(programme, uid=UID, permits=["NONE"]))
    assert (answer.status_code, answer.json()["code"]) == (400, "unknown_permit")
    assert Event.objects.count() == before
    assert api.post("/api/collections/", entry(programme, uid=UID)).status_code == 201


def test_an_event_is_found_only_among_its_kind() -> None:
    programme = make.programme()
    taken = make.collection(programme.lead, programme.colony)
    api = make.client(Role.VIEWER)
    assert api.get(f"/api/collections/{taken.event.uid}/").status_code == 200
    for kind in ("moves", "fragmentations", "visits"):
        answer = api.get(f"/api/{kind}/{taken.event.uid}/")
        assert (answer.status_code, answer.json()["code"]) == (404, "unknown_event")


def test_an_intake_tells_what_became_of_the_pieces() -> None:
    programme = make.programme()
    taken = make.collection(programme.lead, programme.colony, count=2)
    api = make.client(Role.NURSERY, at=programme.nursery)
    answer = api.post(
        "/api/intakes/",
        {
            "when": "2021-01-11",
            "collection": str(taken.event.uid),
            "nursery": programme.nursery.code,
            "structure": programme.plate.code,
            "pieces": [{"ramet": "1"}, {"ramet": "2", "outcome": "dead", "cause": "handling"}],
        },
    )
    assert answer.status_code == 201, answer.content
    body = answer.json()
    assert body["collection"] == str(taken.event.uid)
    first, second = body["steps"]
    assert (first["what"], first["place"]["cell"]) == ("received", "A1")
    assert (second["what"], second["life"], second["cause"]) == ("ended", "dead", "handling")


def test_nursery_staff_act_at_their_own_nursery_only() -> None:
    programme = make.programme()
    mother = programme.mother()
    elsewhere = make.nursery(programme.lead)
    given = {"when": "2021-03-04", "sources": [{"ramet": mother.code}], "count": 1}
    answer = make.client(Role.NURSERY, at=elsewhere).post("/api/fragmentations/", given)
    assert (answer.status_code, answer.json()["code"]) == (403, "not_your_nursery")
    answer = make.client(Role.NURSERY, at=programme.nursery).post("/api/fragmentations/", given)
    assert answer.status_code == 201


def cut_of(programme: make.Programme, mother: Ramet, count: int) -> dict[str, Any]:
    return {
        "uid": str(uuid.uuid4()),
        "when": "2021-03-04",
        "sources": [{"ramet": mother.code}],
        "children": [{"structure": programme.tray.code} for _ in range(count)],
    }


def test_a_thousand_children_are_cut_in_one_call() -> None:
    programme = make.programme()
    mother = programme.mother()
    api = make.client(Role.NURSERY, at=programme.nursery)
    given = cut_of(programme, mother, MOST_ROWS)
    with CaptureQueriesContext(connection) as queries:
        answer = api.post("/api/fragmentations/", given)
    assert answer.status_code == 201, answer.content
    # SQLite takes a limited number of values a statement, so its inserts come in parts.
    assert len(queries) <= 80
    born = [step["ramet"] for step in answer.json()["steps"] if step["what"] == "born"]
    assert len(set(born)) == MOST_ROWS == answer.json()["children_count"]
    assert Ramet.objects.filter(code__in=born, generation=1).count() == MOST_ROWS
    assert api.post("/api/fragmentations/", given).status_code == 200


def test_one_more_than_a_thousand_is_refused() -> None:
    programme = make.programme()
    given = cut_of(programme, programme.mother(), MOST_ROWS + 1)
    answer = make.client(Role.LEAD).post("/api/fragmentations/", given)
    assert (answer.status_code, answer.json()["code"]) == (400, "too_many")


def test_a_cutting_of_many_is_shown_in_as_many_queries_as_one_of_few() -> None:
    programme = make.programme()
    mother = programme.mother()
    api = make.client(Role.LEAD)
    taken = []
    for count in (1, 300):
        given = cut_of(programme, mother, count)
        api.post("/api/fragmentations/", given)
        with CaptureQueriesContext(connection) as queries:
            body = api.get(f"/api/fragmentations/{given['uid']}/").json()
        assert len(body["steps"]) == count + 1
        taken.append(len(queries))
    assert taken == [7, 7]


def test_a_thousand_faults_are_told_at_once() -> None:
    programme = make.programme()
    given = cut_of(programme, programme.mother(), MOST_ROWS)
    for child in given["children"]:
        child["cell"] = "C7"
    answer = make.client(Role.LEAD).post("/api/fragmentations/", given)
    assert answer.status_code == 400
    assert len(answer.json()["errors"]) == MOST_ROWS
    assert answer.json()["errors"][-1]["pointer"] == f"#/children/{MOST_ROWS - 1}/cell"


def test_structures_are_moved_and_shown_where_they_stand() -> None:
    programme = make.programme()
    rock = make.structure(programme.lead, kind="rock", rows=1, columns=3)
    api = make.client(Role.NURSERY, at=programme.nursery)
    row = {"structure": rock.code, "parent": programme.plate.code, "cell": "C7"}
    answer = api.post("/api/structure-moves/", {"when": "2021-03-04", "structures": [row]})
    assert answer.status_code == 201, answer.content
    (shown,) = answer.json()["structures"]
    assert (shown["structure"], shown["parent"], shown["parent_cell"]) == (
        rock.code,
        programme.plate.code,
        "C7",
    )
    assert api.get(f"/api/structures/{rock.code}/").json()["parent_cell"] == "C7"


def test_ramets_are_moved_between_cells() -> None:
    programme = make.programme()
    mother = programme.mother()
    row = {"ramet": mother.code, "structure": programme.plate.code, "cell": "C7"}
    answer = make.client(Role.LEAD).post("/api/moves/", {"when": "2021-03-04", "ramets": [row]})
    assert answer.json()["steps"][0]["place"]["name"] == f"{programme.plate.code} C7"


def test_stock_without_recorded_cuttings_is_entered() -> None:
    programme = make.programme()
    row = {"taxon": programme.taxon.code, "donors": [programme.colony.code], "tag": "old 7"}
    answer = make.client(Role.NURSERY, at=programme.nursery).post(
        "/api/stock-entries/",
        {"when": "2020", "nursery": programme.nursery.code, "ramets": [row]},
    )
    assert answer.status_code == 201, answer.content
    assert answer.json()["when"] == "2020"
    assert len(answer.json()["steps"]) == 1


def uids(api: APIClient, address: str) -> list[str]:
    answer = api.get(address)
    assert answer.status_code == 200, answer.content
    return [row["uid"] for row in answer.json()["results"]]


def test_collections_are_found_by_colony_collector_permit_and_reef() -> None:
    programme = make.programme()
    by = programme.lead
    permit = make.permit(by)
    here = make.collection(by, programme.colony, done_by=["Maru Tekoa"], permits=[permit.code])
    reef = make.reef(by)
    there = make.collection(by, make.colony(by, programme.taxon, reef), done_by=["Ines"])
    api = make.client(Role.VIEWER)
    for query in (
        f"colony={programme.colony.code}",
        "done_by=maru",
        f"permit={permit.code}",
        f"reef={programme.reef.code}",
        f"genet={programme.colony.genet.code}",
    ):
        assert uids(api, f"/api/collections/?{query}") == [str(here.event.uid)], query
    assert set(uids(api, f"/api/collections/?taxon={programme.taxon.code}")) == {
        str(here.event.uid),
        str(there.event.uid),
    }


def test_cuttings_are_found_by_what_they_touched() -> None:
    programme = make.programme()
    by = programme.lead
    mother = programme.mother()
    (child,) = make.cut(by, [mother], into=programme.plate)
    other = make.taxon(by)
    stray = make.stock(by, programme.nursery, [{"taxon": other.code}])
    make.cut(by, stray)
    api = make.client(Role.VIEWER)
    uid = str(child.born.uid)
    for query in (
        f"ramet={mother.code}",
        f"ramet={child.code}",
        f"structure={programme.plate.code}",
        f"nursery={programme.nursery.code}",
        f"genet={programme.colony.genet.code}",
        f"taxon={programme.taxon.code}",
        f"donor={programme.colony.code}",
    ):
        assert uids(api, f"/api/fragmentations/?{query}") == [uid], query
    assert len(uids(api, "/api/fragmentations/")) == 2
