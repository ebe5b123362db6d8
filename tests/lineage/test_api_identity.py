"""Which individual a ramet is, by API: tags, relabelling, merging, identifying."""

from __future__ import annotations

import uuid
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from nursery.core.actor import Role
from nursery.lineage.models import Ramet
from tests import factories as f
from tests.lineage import identities as ids
from tests.refusals import everything_stored

pytestmark = pytest.mark.django_db


def entry(*rows: dict[str, Any], **values: Any) -> dict[str, Any]:
    return {"uid": str(uuid.uuid4()), "when": ids.LATER, "ramets": list(rows), **values}


def test_a_tagging_shows_what_came_off_and_what_went_on(programme: f.Programme) -> None:
    first, second = programme.mothers(2)
    ids.retag(programme.lead, {"ramet": first.code, "on": "T1"}, when="2021-02-01")
    given = entry({"ramet": first.code, "off": "t1", "lost": True}, {"ramet": "2", "on": "t2"})
    given["ramets"][1]["ramet"] = second.code
    api = f.client(Role.NURSERY, at=programme.nursery)
    answer = api.post("/api/taggings/", given)
    assert answer.status_code == 201, answer.content
    body = answer.json()
    assert body["taken_off"] == [{"text": "T1", "ramet": first.code, "lost": True}]
    assert body["put_on"] == [{"text": "T2", "ramet": second.code}]
    assert [step["what"] for step in body["steps"]] == ["tagged", "tagged"]
    assert api.post("/api/taggings/", given).status_code == 200
    found = api.get(f"/api/taggings/?ramet={second.code}").json()["results"]
    assert [row["uid"] for row in found] == [given["uid"]]


def test_a_tag_that_was_not_on_names_the_row(programme: f.Programme) -> None:
    mother = programme.mother()
    answer = f.client(Role.LEAD).post("/api/taggings/", entry({"ramet": mother.code, "off": "T9"}))
    assert (answer.status_code, answer.json()["code"]) == (400, "tag_not_on")
    assert answer.json()["errors"][0]["pointer"] == "#/ramets/0/off"


def test_a_relabelling_is_previewed_entered_and_found(programme: f.Programme) -> None:
    mother = programme.mother()
    f.cut(programme.lead, [mother], 2)
    genet, _ = ids.other_genet(programme)
    given = entry({"ramet": mother.code}, genet=genet.code)
    api = f.client(Role.NURSERY, at=programme.nursery)
    before = everything_stored()
    effect = api.post("/api/relabellings/preview/", given)
    assert effect.status_code == 200, effect.content
    assert (effect.json()["ramets"], effect.json()["living"]) == (3, 3)
    assert everything_stored() == before
    answer = api.post("/api/relabellings/", given)
    assert answer.status_code == 201, answer.content
    assert answer.json()["genet"] == genet.code
    assert api.post("/api/relabellings/", given).status_code == 200
    assert set(ids.genets(*Ramet.objects.filter(fragmentation__isnull=False))) == {genet.code}
    for query in (f"genet={genet.code}", f"ramet={mother.code}"):
        assert api.get(f"/api/relabellings/?{query}").json()["count"] == 1, query


def test_a_relabelling_to_a_genet_that_is_not_known_has_none(programme: f.Programme) -> None:
    mother = programme.mother()
    answer = f.client(Role.LEAD).post(
        "/api/relabellings/", entry({"ramet": mother.code}, unknown=True)
    )
    assert answer.json()["genet"] is None
    assert ids.genets(mother) == [None]


@pytest.mark.parametrize("address", ["relabellings/", "relabellings/preview/"])
def test_a_genet_of_another_taxon_is_refused_for_each_row(
    programme: f.Programme, address: str
) -> None:
    genet = f.genet(programme.lead, f.taxon(programme.lead))
    given = entry({"ramet": programme.mother().code}, genet=genet.code)
    answer = f.client(Role.LEAD).post(f"/api/{address}", given)
    assert (answer.status_code, answer.json()["code"]) == (400, "genet_other_taxon")
    assert answer.json()["errors"][0]["pointer"] == "#/ramets/0/ramet"


@pytest.mark.parametrize("address", ["relabellings/", "relabellings/preview/"])
def test_field_staff_relabel_nothing(programme: f.Programme, address: str) -> None:
    given = entry({"ramet": programme.mother().code}, unknown=True)
    answer = f.client(Role.FIELD).post(f"/api/{address}", given)
    assert (answer.status_code, answer.json()["code"]) == (403, "not_allowed")


def test_a_merge_is_previewed_entered_and_found_by_either_genet(programme: f.Programme) -> None:
    kept = programme.colony.genet
    merged, other = ids.other_genet(programme)
    f.cut(programme.lead, [programme.mother(), other])
    given = {"uid": str(uuid.uuid4()), "when": ids.LATER, "kept": kept.code, "merged": merged.code}
    api = f.client(Role.LEAD)
    before = everything_stored()
    effect = api.post("/api/genet-merges/preview/", given)
    assert effect.status_code == 200, effect.content
    # The other genet's wild fragment, and the one that was cut from both.
    assert effect.json()["ramets"] == 2
    assert everything_stored() == before
    answer = api.post("/api/genet-merges/", given)
    assert answer.status_code == 201, answer.content
    assert (answer.json()["kept"], answer.json()["merged"]) == (kept.code, merged.code)
    assert api.post("/api/genet-merges/", given).status_code == 200
    assert ids.known_as(merged) == [kept.code]
    for genet in (kept, merged):
        assert api.get(f"/api/genet-merges/?genet={genet.code}").json()["count"] == 1


def test_genets_that_are_one_already_are_not_merged_again(programme: f.Programme) -> None:
    kept = programme.colony.genet
    merged, _ = ids.other_genet(programme)
    ids.merge(programme.lead, kept, merged)
    answer = f.client(Role.LEAD).post(
        "/api/genet-merges/", {"when": ids.LATER, "kept": kept.code, "merged": merged.code}
    )
    assert (answer.status_code, answer.json()["code"]) == (400, "merged_already")


@pytest.mark.parametrize("address", ["genet-merges/", "genet-merges/preview/"])
@pytest.mark.parametrize("role", [Role.VIEWER, Role.FIELD])
def test_only_leads_merge_genets(programme: f.Programme, address: str, role: Role) -> None:
    merged, _ = ids.other_genet(programme)
    given = {"when": ids.LATER, "kept": programme.colony.genet.code, "merged": merged.code}
    answer = f.client(role).post(f"/api/{address}", given)
    assert (answer.status_code, answer.json()["code"]) == (403, "not_allowed")


def test_an_identification_shows_which_piece_was_which_ramet(programme: f.Programme) -> None:
    known, seen = programme.mothers(2)
    (piece,) = ids.loose(programme)
    given = entry(
        {"ramet": known.code, "found": piece.code},
        {"ramet": seen.code, "structure": programme.plate.code, "cell": "C7"},
    )
    api = f.client(Role.NURSERY, at=programme.nursery)
    answer = api.post("/api/identifications/", given)
    assert answer.status_code == 201, answer.content
    assert answer.json()["ramets"] == [
        {"ramet": known.code, "found": piece.code},
        {"ramet": seen.code, "found": None},
    ]
    assert api.post("/api/identifications/", given).status_code == 200
    for ramet in (known, seen, piece):
        found = api.get(f"/api/identifications/?ramet={ramet.code}").json()
        assert found["count"] == 1


def test_a_ramet_that_was_not_found_loose_is_not_another_one(programme: f.Programme) -> None:
    known, other = programme.mothers(2)
    answer = f.client(Role.LEAD).post(
        "/api/identifications/", entry({"ramet": known.code, "found": other.code})
    )
    assert (answer.status_code, answer.json()["code"]) == (400, "not_found_loose")
    assert answer.json()["errors"][0]["pointer"] == "#/ramets/0/found"


def test_stock_shows_its_programme_and_what_each_ramet_came_in_as(programme: f.Programme) -> None:
    parents = [programme.colony.genet.code, f.genet(programme.lead, programme.taxon).code]
    given = {
        "when": "2021-01-01",
        "nursery": programme.nursery.code,
        "origin": "received",
        "programme": "Outer Banks Corals",
        "ramets": [
            {"taxon": programme.taxon.code},
            {"taxon": programme.taxon.code, "origin": "settled", "parents": parents},
        ],
    }
    answer = f.client(Role.NURSERY, at=programme.nursery).post("/api/stock-entries/", given)
    assert answer.status_code == 201, answer.content
    body = answer.json()
    assert body["programme"] == "Outer Banks Corals"
    assert [(row["origin"], row["parents"]) for row in body["ramets"]] == [
        ("received", []),
        ("settled", sorted(parents)),
    ]


def shown_in(address: str) -> int:
    """How many queries showing it takes."""
    api = f.client(Role.VIEWER)
    with CaptureQueriesContext(connection) as queries:
        answer = api.get(address)
    assert answer.status_code == 200, answer.content
    return len(queries)


def test_what_is_shown_of_many_takes_as_many_queries_as_of_few(programme: f.Programme) -> None:
    by = programme.lead
    genet = f.genet(by, programme.taxon)
    taken: dict[str, list[int]] = {}
    for n in (1, 10):
        mothers, pieces = programme.mothers(n), ids.loose(programme, *({},) * n)
        events = {
            "taggings": ids.retag(
                by, *({"ramet": row.code, "on": f"T{row.pk}"} for row in mothers)
            ),
            "relabellings": ids.relabel(by, mothers, genet),
            "identifications": ids.identify(
                by,
                *(
                    {"ramet": row.code, "found": piece.code}
                    for row, piece in zip(mothers, pieces, strict=True)
                ),
            ),
            "stock-entries": pieces[0].born,
        }
        for name, event in events.items():
            taken.setdefault(name, []).append(shown_in(f"/api/{name}/{event.uid}/"))
    assert taken == {
        "taggings": [8, 8],
        "relabellings": [6, 6],
        "identifications": [7, 7],
        "stock-entries": [8, 8],
    }


def test_a_list_takes_as_many_queries_for_many_as_for_few(programme: f.Programme) -> None:
    by = programme.lead
    taken: dict[str, list[int]] = {}
    for n in (1, 4):
        for _ in range(n):
            mother = programme.mother()
            (piece,) = ids.loose(programme)
            genet, _ = ids.other_genet(programme)
            ids.retag(by, {"ramet": mother.code, "on": f"T{mother.pk}"})
            ids.relabel(by, [mother], genet)
            ids.identify(by, {"ramet": mother.code, "found": piece.code})
            ids.merge(by, programme.colony.genet, genet)
        for name in ("taggings", "relabellings", "identifications", "genet-merges"):
            taken.setdefault(name, []).append(shown_in(f"/api/{name}/"))
    assert taken == {
        name: [6, 6] for name in ("taggings", "relabellings", "identifications", "genet-merges")
    }
