"""Registers over the API: who looked at an older version does not overwrite a newer one."""

from __future__ import annotations

from typing import Any

import pytest
from rest_framework.test import APIClient

from nursery.core.actor import Role
from nursery.core.registers import edit
from nursery.places import api
from nursery.places.models import Reef
from tests import factories as make

pytestmark = pytest.mark.django_db

AT = "/api/reefs/R9/"


@pytest.fixture
def lead() -> APIClient:
    client = make.client(Role.LEAD)
    client.post("/api/reefs/", {"code": "R9", "name": "Spur"})
    return client


def patched(client: APIClient, tag: str, **given: Any) -> Any:
    return client.patch(AT, {"name": "Bank", **given}, headers={"If-Match": tag})


def test_a_row_comes_with_its_tag_and_an_edit_with_a_new_one(lead: APIClient) -> None:
    seen = lead.get(AT)["ETag"]
    assert seen == lead.get(AT)["ETag"]
    answer = patched(lead, seen)
    assert answer.status_code == 200
    assert answer["ETag"] == lead.get(AT)["ETag"] != seen


def test_a_new_row_comes_with_its_tag(lead: APIClient) -> None:
    answer = lead.post("/api/reefs/", {"code": "R8", "name": "Lee"})
    assert answer["ETag"] == lead.get("/api/reefs/R8/")["ETag"]


def test_an_older_tag_is_refused_and_nothing_overwritten(lead: APIClient) -> None:
    seen = lead.get(AT)["ETag"]
    patched(lead, seen, name="Hers")
    answer = patched(lead, seen, name="His")
    assert (answer.status_code, answer.json()["code"]) == (412, "edited_meanwhile")
    assert answer["Content-Type"] == "application/problem+json"
    assert Reef.objects.get(code="R9").name == "Hers"


@pytest.mark.parametrize("tag", ["*", '"7", "1"', '"1"'])
def test_any_of_several_tags_may_fit(lead: APIClient, tag: str) -> None:
    assert patched(lead, tag).status_code == 200


@pytest.mark.parametrize("tag", ["", "1", 'W/"1"', '"x"', '"1'])
def test_what_is_no_tag_of_the_row_is_refused(lead: APIClient, tag: str) -> None:
    assert patched(lead, tag).status_code == 412


def test_without_a_tag_the_last_one_wins_as_before(lead: APIClient) -> None:
    assert lead.patch(AT, {"name": "Hers"}).status_code == 200
    assert lead.patch(AT, {"name": "His"}).status_code == 200


def test_a_version_in_the_body_is_still_answered_409(lead: APIClient) -> None:
    patched(lead, '"1"')
    answer = patched(lead, "*", version=1)
    assert (answer.status_code, answer.json()["code"]) == (409, "edited_meanwhile")


def test_who_saves_between_the_look_and_the_lock_is_seen(
    lead: APIClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    actor = make.lead()
    found = api.ReefViewSet.get_object

    def looked(view: api.ReefViewSet) -> Any:
        row = found(view)
        edit(actor, Reef.objects.get(pk=row.pk), {"name": "Hers"})
        return row

    monkeypatch.setattr(api.ReefViewSet, "get_object", looked)
    answer = patched(lead, '"1"', name="His")
    assert (answer.status_code, answer.json()["code"]) == (412, "edited_meanwhile")
    assert Reef.objects.get(code="R9").name == "Hers"
