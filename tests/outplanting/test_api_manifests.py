"""Manifests, audits, sign-offs and policy by API."""

from __future__ import annotations

import uuid

import pytest

from nursery.core.actor import Role
from nursery.lineage.models import Ramet
from nursery.outplanting.models import Manifest
from tests import factories as f
from tests.pages import cost

pytestmark = pytest.mark.django_db


@pytest.fixture
def children(programme: f.Programme) -> list[Ramet]:
    return f.cut(programme.lead, [programme.mother()], 4, into=programme.plate)


def given(programme: f.Programme, ramets: list[Ramet], **values: object) -> dict[str, object]:
    return {
        "site": programme.site.code,
        "title": "North reef, first day",
        "planned": "2021-06-01/2021-06-03",
        "plot": programme.plot.code,
        "lines": [{"ramet": ramet.code} for ramet in ramets],
        **values,
    }


def test_a_manifest_goes_from_draft_to_planted(
    programme: f.Programme, children: list[Ramet]
) -> None:
    field, lead = f.client(Role.FIELD), f.client(Role.LEAD)
    made = field.post("/api/manifests/", given(programme, children[:3]))
    assert made.status_code == 201, made.content
    row = made.json()
    at = f"/api/manifests/{row['code']}/"
    assert (made["Location"], row["stage"], row["lines"], row["planted"], row["planned"]) == (
        at,
        "draft",
        3,
        0,
        "2021-06-01/2021-06-03",
    )
    seen = field.post(f"{at}audits/")
    assert seen.status_code == 201, seen.content
    audit = seen.json()
    assert (audit["verdict"], audit["stands"], audit["ramets"]) == ("holds", None, 3)
    body = {"audit": audit["audit"], "stock": audit["stock"]}
    refused = field.post(f"{at}sign-offs/", body)
    assert (refused.status_code, refused.json()["code"]) == (403, "not_allowed")
    signed = lead.post(f"{at}sign-offs/", body)
    assert signed.status_code == 201, signed.content
    assert signed.json()["stock"] == audit["stock"]
    planting = {
        "when": f.PLANTED,
        "plot": programme.plot.code,
        "manifest": row["code"],
        "outplants": [{"ramet": children[0].code}],
    }
    planted = field.post("/api/outplantings/", planting)
    assert (planted.status_code, planted.json()["manifest"]) == (201, row["code"])
    shown = field.get(at).json()
    assert (shown["stage"], shown["planted"]) == ("signed", 1)
    lines = field.get(f"{at}lines/").json()["results"]
    assert [(line["ramet"], line["planted"]) for line in lines] == [
        (children[0].code, True),
        (children[1].code, False),
        (children[2].code, False),
    ]


def test_a_failed_rule_is_told_and_overridden(
    programme: f.Programme, children: list[Ramet]
) -> None:
    lead = f.client(Role.LEAD)
    rule = {"rule": "genets_of_site", "value": 2, "since": "2021-01-01"}
    assert lead.post("/api/policies/", rule).status_code == 201
    code = f.manifest(programme.lead, programme.plot, children).code
    audit = lead.post(f"/api/manifests/{code}/audits/").json()
    (failed,) = [each for each in audit["answers"] if each["verdict"] == "fails"]
    assert (failed["rule"], failed["taxon"], failed["limit"], failed["after"]) == (
        "genets_of_site",
        programme.taxon.code,
        2,
        1,
    )
    assert audit["rules"] == [
        {"rule": "genets_of_site", "taxon": None, "value": "2", "since": "2021-01-01"}
    ]
    body = {"audit": audit["audit"], "stock": audit["stock"]}
    answer = lead.post(f"/api/manifests/{code}/sign-offs/", body)
    assert (answer.status_code, answer.json()["code"]) == (400, "rule_fails")
    over = {"rule": failed["rule"], "taxon": failed["taxon"], "reason": "A trial."}
    answer = lead.post(f"/api/manifests/{code}/sign-offs/", {**body, "overrides": [over]})
    assert answer.json()["overrides"] == [over]
    assert lead.get(f"/api/manifests/{code}/sign-offs/").json() == [answer.json()]
    assert lead.get(f"/api/manifests/{code}/audits/").json() == [audit]
    assert lead.get(f"/api/manifests/{code}/audits/{audit['audit']}/").json() == audit


def test_the_same_draft_is_answered_as_it_stands(
    programme: f.Programme, children: list[Ramet]
) -> None:
    api = f.client(Role.FIELD)
    body = given(programme, children, uid=str(uuid.uuid4()))
    first = api.post("/api/manifests/", body)
    again = api.post("/api/manifests/", body)
    assert (first.status_code, again.status_code) == (201, 200)
    assert again.json() == first.json()
    other = api.post("/api/manifests/", {**body, "title": "Another"})
    assert (other.status_code, other.json()["code"]) == (409, "uid_taken")


def test_lines_are_changed_and_a_manifest_is_cancelled(
    programme: f.Programme, children: list[Ramet]
) -> None:
    api = f.client(Role.LEAD)
    code = f.manifest(programme.lead, programme.plot, children[:2]).code
    swap = {"off": children[0].code, "on": children[2].code}
    answer = api.post(f"/api/manifests/{code}/change-lines/", {"swap": [swap]})
    assert (answer.status_code, answer.json()["lines"]) == (200, 2)
    bad = api.post(f"/api/manifests/{code}/change-lines/", {"remove": [children[0].code]})
    assert bad.json()["code"] == "not_on_manifest"
    answer = api.post(f"/api/manifests/{code}/cancel/", {"reason": "Storm"})
    assert answer.json()["stage"] == "cancelled"


def test_manifests_are_found_by_site_stage_day_and_ramet(
    programme: f.Programme, children: list[Ramet]
) -> None:
    api = f.client(Role.VIEWER)
    first = f.manifest(programme.lead, programme.plot, children[:1])
    f.manifest(programme.lead, programme.plot, children[1:2], planned="2022-01-01")
    for query in (
        f"site={programme.site.code}&planned=2021",
        f"ramet={children[0].code}",
        "stage=draft&planned=2021-06",
    ):
        found = api.get(f"/api/manifests/?{query}").json()["results"]
        assert [row["code"] for row in found] == [first.code], query
    assert api.get("/api/manifests/?stage=signed").json()["count"] == 0
    assert api.get("/api/manifests/?colour=red").status_code == 400


def test_lists_take_a_constant_number_of_queries(
    programme: f.Programme, children: list[Ramet]
) -> None:
    api = f.client(Role.VIEWER)
    f.rule(programme.lead, "genets_of_site", 1)
    first = f.manifest(programme.lead, programme.plot, children[:1])
    f.signed(programme.lead, first)
    pages = [
        "/api/manifests/",
        "/api/policies/",
        *(f"/api/manifests/{first.code}/{part}/" for part in ("lines", "audits", "sign-offs")),
    ]
    before = [cost(api, page) for page in pages]
    f.rule(programme.lead, "largest_share", 100)
    f.diversity.audit(programme.lead, first)
    given_lines = {"plot": programme.plot.code, "add": [{"ramet": children[1].code}]}
    f.client(Role.LEAD).post(f"/api/manifests/{first.code}/change-lines/", given_lines)
    f.signed(programme.lead, first)
    f.manifest(programme.lead, programme.plot, children[2:])
    assert [cost(api, page) for page in pages] == before


def test_policy_rows_are_told_with_their_past(programme: f.Programme) -> None:
    lead = f.client(Role.LEAD)
    for value, since in ((10, "2021-01-01"), ("12", "2021-06-01")):
        body = {"rule": "genets_of_plot", "value": value, "since": since}
        assert lead.post("/api/policies/", body).status_code == 201
    flag = lead.post("/api/policies/", {"rule": "manifest_demanded", "value": True})
    assert flag.json()["value"] == "yes"
    rows = lead.get("/api/policies/?rule=genets_of_plot").json()["results"]
    assert [(row["value"], row["since"], row["until"]) for row in rows] == [
        ("12", "2021-06-01", None),
        ("10", "2021-01-01", "2021-05-31"),
    ]
    staff = f.client(Role.FIELD)
    assert staff.post("/api/policies/", {"rule": "least_age", "value": 1}).status_code == 403
    assert staff.get("/api/policies/").status_code == 200


@pytest.mark.parametrize(
    "address",
    ["/api/manifests/NONE/", "/api/manifests/NONE/lines/", "/api/manifests/NONE/audits/"],
)
def test_what_is_unknown_is_told(programme: f.Programme, address: str) -> None:
    assert f.client(Role.VIEWER).get(address).status_code == 404


def test_an_unknown_audit_is_told(programme: f.Programme, children: list[Ramet]) -> None:
    code = f.manifest(programme.lead, programme.plot, children).code
    api = f.client(Role.VIEWER)
    for number in ("1", "x", "9" * 30):
        answer = api.get(f"/api/manifests/{code}/audits/{number}/")
        assert answer.status_code == 404, number
        assert answer.json()["code"] == "unknown_audit"
    assert Manifest.objects.count() == 1
