"""Proposals by API."""

from __future__ import annotations

from pathlib import Path

import pytest
from django.conf import settings

from nursery.core.actor import Role
from nursery.exchange import tasks
from nursery.exchange.models import Task
from nursery.outplanting.models import Manifest
from tests import factories as make
from tests.diversity.proposed import said, stocked
from tests.factories import Programme

pytestmark = pytest.mark.django_db

HERE = "/api/proposals/"


def test_a_proposal_is_asked_for_looked_at_and_drafted(programme: Programme) -> None:
    stock = stocked(programme, 3, 3)
    api = make.client(Role.LEAD)
    answer = api.post(HERE, said(programme, 4), format="json")
    assert answer.status_code == 201, answer.json()
    body = answer.json()
    assert answer["Location"] == f"{HERE}{body['uid']}/"
    (plot,) = body["proposal"]["plots"]
    assert {p["genet"]: p["plugs"] for p in plot["portions"]} == dict.fromkeys(stock.genets, 2)
    (pool,) = body["proposal"]["pools"]
    assert (pool["gap"], pool["broken"], pool["clashes"]) == (0.0, [], [])
    assert api.get(answer["Location"]).json() == body
    for fresh in (True, False):
        drafted = api.post(f"{HERE}{body['uid']}/draft/").json()
        assert [(row["site"], row["fresh"]) for row in drafted] == [(programme.site.code, fresh)]
    assert [row["manifest"] for row in drafted] == [Manifest.objects.get().code]


def test_what_takes_long_is_looked_at_later(
    programme: Programme, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(settings, "TASKS_ROOT", tmp_path)
    monkeypatch.setattr(tasks, "start", lambda task: None)
    stocked(programme, 3)
    api = make.client(Role.LEAD)
    answer = api.post(HERE, said(programme, 5000), format="json")
    assert (answer.status_code, answer.json()["ended"]) == (202, False)
    address = answer["Location"]
    assert api.post(f"{address}draft/").status_code == 404
    tasks.run(str(Task.objects.get().uid))
    body = api.get(address).json()
    assert (body["ended"], body["failed"]) == (True, False)
    (broken,) = body["proposal"]["pools"][0]["broken"]
    assert broken["rule"]["kind"] == "plugs"
    assert (broken["asked"], broken["reached"]) == (5000, 3)


def test_faults_are_told_with_their_place(programme: Programme) -> None:
    api = make.client(Role.LEAD)
    answer = api.post(HERE, said(programme, 0, tolerance=-1), format="json")
    assert answer.status_code == 400
    found = {(row["code"], row["pointer"]) for row in answer.json()["errors"]}
    assert found == {("out_of_range", "#/needs/0/plugs"), ("out_of_range", "#/tolerance")}


def test_others_read_but_do_not_ask(programme: Programme) -> None:
    stocked(programme, 3)
    address = make.client(Role.LEAD).post(HERE, said(programme, 2), format="json")["Location"]
    viewer = make.client(Role.VIEWER)
    assert viewer.get(address).status_code == 200
    assert viewer.post(HERE, said(programme, 2), format="json").status_code == 403
    assert viewer.post(f"{address}draft/").status_code == 403
    assert make.client().get(address).status_code == 403
    assert viewer.get(f"{HERE}nonsense/").json()["errors"][0]["code"] == "unknown_proposal"
