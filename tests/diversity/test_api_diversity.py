"""Genet diversity of a site by API."""

from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from rest_framework.test import APIClient

from nursery.core.actor import Role
from tests import factories as make

pytestmark = pytest.mark.django_db


def planted(programme: make.Programme, counts: list[int]) -> None:
    """So many ramets of so many genets in the plot."""
    by = programme.lead
    for count in counts:
        colony = make.colony(by, programme.taxon, programme.reef)
        mothers = make.mothers(by, colony, programme.tray)
        make.planting(by, programme.plot, make.cut(by, mothers, count))


def report(api: APIClient, programme: make.Programme, **query: str) -> dict[str, Any]:
    answer = api.get(f"/api/sites/{programme.site.code}/diversity/", query)
    assert answer.status_code == 200, answer.content
    body: dict[str, Any] = answer.json()
    return body


def test_the_report_tells_genets_and_their_shares() -> None:
    programme = make.programme()
    planted(programme, [3, 1])
    body = report(make.client(Role.VIEWER), programme)
    whole = body["groups"][0]
    assert (whole["ramets"], whole["indices"]["genets"]) == (4, 2)
    # 1 / (0.75² + 0.25²), the Hill number of order 2 (Hill 1973, Ecology 54:427).
    assert whole["indices"]["hill_2"]["value"] == pytest.approx(1.6)
    assert [genet["share"] for genet in whole["genets"]] == [0.75, 0.25]


def test_what_is_undefined_is_null_and_says_why() -> None:
    programme = make.programme()
    body = report(make.client(Role.VIEWER), programme)
    index = body["groups"][0]["indices"]["hill_1"]
    assert index["value"] is None
    assert index["reason"]


def test_the_report_is_asked_for_by_taxon_state_and_day() -> None:
    programme = make.programme()
    planted(programme, [2])
    api = make.client(Role.VIEWER)
    taxon = programme.taxon
    assert report(api, programme, taxon=taxon.code.lower())["groups"][0]["ramets"] == 2
    assert report(api, programme, taxon=taxon.name)["taxon"] == taxon.name
    assert report(api, programme, taxon=make.taxon(programme.lead).code)["groups"][0]["ramets"] == 0
    assert report(api, programme, state="seen")["groups"][0]["ramets"] == 0
    assert report(api, programme, as_of="2021-05-31")["groups"][0]["ramets"] == 0
    assert report(api, programme, as_of=make.PLANTED, state="planted")["groups"][0]["ramets"] == 2


@pytest.mark.parametrize(
    ("query", "code"),
    [
        ("state=asleep", "not_a_choice"),
        ("as_of=2021-03", "date_malformed"),
        ("as_of=yesterday", "date_malformed"),
        ("taxon=none", "unknown_taxon"),
        ("taxa=none", "unknown_parameter"),
        ("state=alive&state=seen", "repeated_parameter"),
    ],
)
def test_a_parameter_that_is_not_understood_is_refused(query: str, code: str) -> None:
    programme = make.programme()
    answer = make.client(Role.VIEWER).get(f"/api/sites/{programme.site.code}/diversity/?{query}")
    assert (answer.status_code, answer.json()["code"]) == (400, code)


def test_a_site_that_is_not_there_is_answered_404() -> None:
    answer = make.client(Role.VIEWER).get("/api/sites/S9/diversity/")
    assert (answer.status_code, answer.json()["code"]) == (404, "unknown_site")


def test_the_report_takes_as_many_queries_for_many_ramets_as_for_few() -> None:
    programme = make.programme()
    api = make.client(Role.VIEWER)
    taken = []
    for counts in ([1], [20, 5, 3]):
        planted(programme, counts)
        with CaptureQueriesContext(connection) as queries:
            report(api, programme)
        taken.append(len(queries))
    assert taken == [13, 13]
