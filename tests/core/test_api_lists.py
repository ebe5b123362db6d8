"""Lists: pages, order, strict parameters, and as many queries for many rows as for one."""

from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from rest_framework.test import APIClient

from nursery.core.actor import Role
from nursery.core.registers import create
from nursery.lineage.models import Ramet
from nursery.places.models import Reef
from tests import factories as make
from tests.lineage import ends
from tests.lineage import identities as ids
from tests.outplanting import reef as on_reef

pytestmark = pytest.mark.django_db

LISTS = {
    # session, person, roles, count, rows, and the queries for what belongs to the rows
    "reefs": 5,
    "nurseries": 5,
    "systems": 5,
    "bays": 5,
    "structures": 5,
    "sites": 5,
    "plots": 5,
    "taxa": 5,
    "permits": 8,  # taxa, reefs, sites
    "genets": 5,
    "donors": 6,  # exact positions
    "ramets": 7,  # donor colonies, tags
    "collections": 8,  # permit links, permits, exact positions
    "intakes": 7,
    "fragmentations": 8,  # and donor colonies
    "moves": 7,
    "structure-moves": 7,
    "stock-entries": 7,
    "outplantings": 7,
    "visits": 7,
    "observations": 5,
    "lifts": 7,
    "endings": 7,
    "counts": 7,
    "structure-losses": 7,
    "taggings": 7,
    "relabellings": 7,
    "genet-merges": 7,
    "identifications": 7,
    "events": 7,
    "series": 5,
    "changes": 5,
}


def grow(programme: make.Programme) -> None:
    """One more row in each list, each with all that a list shows."""
    by = programme.lead
    make.reef(by)
    make.taxon(by)
    permit = make.permit(
        by, taxa=[programme.taxon.code], reefs=[programme.reef.code], sites=[programme.site.code]
    )
    colony = make.colony(
        by, programme.taxon, programme.reef, latitude="7.3456", longitude="134.4567"
    )
    bay = make.bay(by, make.nursery(by))
    plate = make.structure(by)
    make.move_structures(by, [{"structure": plate.code, "bay": bay.code}], permits=[permit.code])
    taken = make.collection(
        by, colony, permits=[permit.code], latitude="7.3456", longitude="134.4567"
    )
    make.intake(by, taken, programme.nursery, programme.tray, permits=[permit.code])
    mothers = make.ramets_of(taken)
    tag = f"T{colony.code}"
    children = make.cut(by, mothers, into=plate, children=[{"tag": tag}], permits=[permit.code])
    make.move(
        by,
        [{"ramet": children[0].code, "structure": plate.code, "cell": "B2"}],
        permits=[permit.code],
    )
    make.stock(
        by,
        programme.nursery,
        [{"taxon": programme.taxon.code, "donors": [colony.code]}],
        permits=[permit.code],
    )
    plot = make.plot(by, make.site(by))
    make.planting(by, plot, children, permits=[permit.code])
    make.visit(by, plot.site, {children[0]: "alive"}, permits=[permit.code])
    grow_later(programme, mothers, children, permit.code)


def grow_later(
    programme: make.Programme, mothers: list[Ramet], children: list[Ramet], permit: str
) -> None:
    """What happens to ramets later on."""
    by, by_permit = programme.lead, {"permits": [permit]}
    on_reef.lift(by, children, programme.tray, when="2021-10-01", **by_permit)
    ends.end(by, mothers, when="2021-11-01", **by_permit)
    lost = make.tray(by, programme.bay)
    ends.count(by, [{"structure": lost.code, "alive": 0}], **by_permit)
    ends.lose(by, lost, **by_permit)
    ids.retag(by, {"ramet": children[0].code, "on": f"N{lost.code}"}, **by_permit)
    genet, same = make.genet(by, programme.taxon), make.genet(by, programme.taxon)
    ids.relabel(by, children, genet, **by_permit)
    ids.merge(by, genet, same, **by_permit)
    (piece,) = ids.loose(programme)
    found = {"ramet": children[0].code, "found": piece.code}
    ids.identify(by, found, when="2021-12-01", **by_permit)


def queries_of(api: APIClient, address: str) -> tuple[int, int]:
    """How many rows the list has, and how many queries it took."""
    with CaptureQueriesContext(
        connection,
    ) as queries:
        answer = api.get(address)
    assert answer.status_code == 200, answer.content
    return answer.json()["count"], len(queries)


def test_each_list_takes_as_many_queries_for_many_rows_as_for_one() -> None:
    programme = make.programme()
    api = make.client(Role.LEAD)
    grow(programme)
    few = {name: queries_of(api, f"/api/{name}/") for name in LISTS}
    for _ in range(3):
        grow(programme)
    many = {name: queries_of(api, f"/api/{name}/") for name in LISTS}
    assert {name: queries for name, (_, queries) in few.items()} == LISTS
    assert {name: queries for name, (_, queries) in many.items()} == LISTS
    assert all(many[name][0] > few[name][0] > 0 for name in LISTS)


@pytest.fixture
def reefs() -> APIClient:
    """Sixty reefs, seen by a viewer."""
    lead = make.lead()
    for number in range(60):
        create(lead, Reef, {"code": f"R{number:02}", "name": f"Reef {number % 3}"})
    return make.client(Role.VIEWER)


def codes(body: dict[str, Any]) -> list[str]:
    return [row["code"] for row in body["results"]]


def test_a_page_has_fifty_rows(reefs: APIClient) -> None:
    body = reefs.get("/api/reefs/").json()
    assert body["count"] == 60
    assert codes(body) == [f"R{number:02}" for number in range(50)]
    assert body["previous"] is None
    assert codes(reefs.get(body["next"]).json()) == [f"R{number:02}" for number in range(50, 60)]


def test_a_page_may_be_cut_to_size(reefs: APIClient) -> None:
    body = reefs.get("/api/reefs/?limit=2&offset=4").json()
    assert codes(body) == ["R04", "R05"]


@pytest.mark.parametrize("limit", ["0", "-1", "501", "ten", "1.5", "١", "99999999999999999999"])
def test_a_bad_limit_is_refused(limit: str) -> None:
    answer = make.client(Role.VIEWER).get("/api/reefs/", {"limit": limit})
    assert (answer.status_code, answer.json()["code"]) == (400, "bad_limit")


@pytest.mark.parametrize("offset", ["-1", "first", "99999999999999999999"])
def test_a_bad_offset_is_refused(offset: str) -> None:
    answer = make.client(Role.VIEWER).get("/api/reefs/", {"offset": offset})
    assert (answer.status_code, answer.json()["code"]) == (400, "bad_offset")


def test_an_unknown_parameter_is_refused_and_the_known_ones_are_listed() -> None:
    answer = make.client(Role.VIEWER).get("/api/reefs/?nmae=spur")
    problem = answer.json()
    assert (answer.status_code, problem["code"]) == (400, "unknown_parameter")
    assert problem["errors"] == [
        {
            "code": "unknown_parameter",
            "detail": "There is no parameter 'nmae'. "
            "Known here: limit, name, offset, open, ordering.",
            "pointer": None,
            "row": None,
            "field": "nmae",
        }
    ]


@pytest.mark.parametrize(
    ("query", "code"),
    [
        ("name=a&name=b", "repeated_parameter"),
        ("name=", "empty_parameter"),
        ("name=%20", "empty_parameter"),
        ("name=a%00b", "control_character"),
        ("name=" + "x" * 300, "too_long"),
        ("open=perhaps", "not_yes_or_no"),
    ],
)
def test_a_parameter_that_is_not_understood_is_refused(query: str, code: str) -> None:
    answer = make.client(Role.VIEWER).get(f"/api/reefs/?{query}")
    assert (answer.status_code, answer.json()["code"]) == (400, code)


def test_a_row_of_its_own_knows_no_parameter() -> None:
    reef = make.programme().reef
    answer = make.client(Role.VIEWER).get(f"/api/reefs/{reef.code}/?name=spur")
    assert answer.json()["code"] == "unknown_parameter"


def test_rows_come_in_the_order_asked_for(reefs: APIClient) -> None:
    found = codes(reefs.get("/api/reefs/?ordering=name,-code&limit=500").json())
    assert found[:2] == ["R57", "R54"]
    assert found[-1] == "R02"


def test_rows_that_tie_keep_their_place_from_page_to_page(reefs: APIClient) -> None:
    pages = [
        codes(reefs.get(f"/api/reefs/?ordering=name&limit=7&offset={offset}").json())
        for offset in range(0, 60, 7)
    ]
    assert sorted(code for page in pages for code in page) == [f"R{n:02}" for n in range(60)]


def test_rows_without_a_value_come_last_both_ways(reefs: APIClient) -> None:
    Reef.objects.filter(code="R05").update(closed_on="2021-03-04")
    for ordering in ("closed_on", "-closed_on"):
        assert codes(reefs.get(f"/api/reefs/?ordering={ordering}").json())[0] == "R05"


@pytest.mark.parametrize("ordering", ["version", "latitude", "password", "--code", "code,", "?"])
def test_an_order_that_is_not_offered_is_refused(ordering: str) -> None:
    answer = make.client(Role.VIEWER).get("/api/reefs/", {"ordering": ordering})
    assert (answer.status_code, answer.json()["code"]) == (400, "unknown_ordering")


def test_the_name_is_searched_in_any_case(reefs: APIClient) -> None:
    assert reefs.get("/api/reefs/?name=REEF 1").json()["count"] == 20


def test_closed_rows_are_told_from_open_ones(reefs: APIClient) -> None:
    Reef.objects.filter(code="R05").update(closed_on="2021-03-04")
    assert codes(reefs.get("/api/reefs/?open=false").json()) == ["R05"]
    assert reefs.get("/api/reefs/?open=true").json()["count"] == 59


def test_a_code_that_nothing_has_is_refused_and_not_answered_with_nothing() -> None:
    answer = make.client(Role.VIEWER).get("/api/sites/?reef=R9")
    assert (answer.status_code, answer.json()["code"]) == (400, "unknown_reef")


def test_a_code_is_understood_in_any_case() -> None:
    programme = make.programme()
    answer = make.client(Role.VIEWER).get(f"/api/sites/?reef={programme.reef.code.lower()}")
    assert codes(answer.json()) == [programme.site.code]


def test_a_choice_that_there_is_not_is_refused() -> None:
    answer = make.client(Role.VIEWER).get("/api/nurseries/?kind=moon")
    assert (answer.status_code, answer.json()["code"]) == (400, "not_a_choice")


def test_the_history_is_for_leads() -> None:
    answer = make.client(Role.FIELD).get("/api/changes/")
    assert (answer.status_code, answer.json()["code"]) == (403, "not_allowed")


def test_the_history_is_searched_by_register_and_code() -> None:
    programme = make.programme()
    found = make.client(Role.LEAD).get(
        "/api/changes/", {"register": "places.reef", "code": programme.reef.code}
    )
    (row,) = found.json()["results"]
    assert row["before"] is None
    assert row["after"]["name"] == programme.reef.name


def test_events_of_all_kinds_are_listed_newest_first() -> None:
    programme = make.programme()
    programme.outplants()
    rows = make.client(Role.VIEWER).get("/api/events/").json()["results"]
    assert [row["kind"] for row in rows][:2] == ["outplanting", "fragmentation"]
    assert [row["earliest"] for row in rows] == sorted((r["earliest"] for r in rows), reverse=True)


def test_events_are_found_by_kind_and_time() -> None:
    programme = make.programme()
    programme.mothers(when="2021-01")
    api = make.client(Role.VIEWER)
    at = "/api/events/?kind=collection&when="
    assert api.get(f"{at}2021-01-15").json()["count"] == 1
    assert api.get(f"{at}2020-12-31/2021-01-01").json()["count"] == 1
    assert api.get(f"{at}2021-02").json()["count"] == 0
    assert api.get(f"{at}yesterday").json()["code"] == "date_malformed"


def test_one_event_is_found_by_its_uid() -> None:
    programme = make.programme()
    taken = make.collection(programme.lead, programme.colony)
    body = make.client(Role.VIEWER).get(f"/api/events/{taken.event.uid}/").json()
    assert body["kind"] == "collection"


@pytest.mark.parametrize("uid", ["7", "00000000-0000-0000-0000-000000000000"])
def test_an_unknown_uid_is_answered_404(uid: str) -> None:
    answer = make.client(Role.VIEWER).get(f"/api/events/{uid}/")
    assert (answer.status_code, answer.json()["code"]) == (404, "unknown_event")
