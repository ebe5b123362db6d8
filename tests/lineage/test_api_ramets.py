"""Ramets by API: lists, one of them, its trace and its descendants."""

import pytest
from pytest_django import DjangoAssertNumQueries
from rest_framework.test import APIClient

from nursery.core.actor import Role
from nursery.donors.models import Genet
from tests import factories as make
from tests.lineage import identities as ids

pytestmark = pytest.mark.django_db


def codes(api: APIClient, address: str) -> list[str]:
    answer = api.get(address)
    assert answer.status_code == 200, answer.content
    return [row["code"] for row in answer.json()["results"]]


def test_a_ramet_is_shown_in_words_and_codes() -> None:
    programme = make.programme()
    (child,) = make.cut(
        programme.lead,
        programme.mothers(),
        into=programme.plate,
        children=[{"cell": "C7", "purpose": "broodstock", "tag": "t7", "base": "disc"}],
    )
    assert make.client(Role.VIEWER).get(f"/api/ramets/{child.code}/").json() == {
        "code": child.code,
        "taxon": programme.taxon.code,
        "origin": "cut",
        "born": str(child.born.uid),
        "born_when": make.CUT,
        "number": 1,
        "pieces": 1,
        "base": "disc",
        "base_now": "disc",
        "purpose": "broodstock",
        "note": "",
        "genet": programme.colony.genet.code,
        "donors": [programme.colony.code],
        "generation": 1,
        "life": "living",
        "cause": None,
        "place": {
            "kind": "structure",
            "name": f"{programme.plate.code} C7",
            "nursery": programme.nursery.code,
            "structure": programme.plate.code,
            "cell": "C7",
            "site": None,
            "plot": None,
        },
        "tags": ["T7"],
    }


def test_a_ramet_without_known_origin_is_shown_without_genet_and_donors() -> None:
    programme = make.programme()
    (stray,) = make.stock(programme.lead, programme.nursery, [{"taxon": programme.taxon.code}])
    body = make.client(Role.VIEWER).get(f"/api/ramets/{stray.code}/").json()
    assert (body["genet"], body["donors"], body["generation"]) == (None, [], None)


def test_a_ramet_is_found_by_tag_and_by_place() -> None:
    programme = make.programme()
    (child,) = make.cut(
        programme.lead,
        programme.mothers(),
        into=programme.plate,
        children=[{"cell": "C7", "tag": "T7"}],
    )
    api = make.client(Role.VIEWER)
    for name in (child.code.lower(), "t7", f"{programme.plate.code} C7"):
        assert api.get(f"/api/ramets/{name}/").json()["code"] == child.code


def handed_on(programme: make.Programme) -> tuple[str, str]:
    """Two ramets, of which the second bears the first's tag from 10 June 2021 on."""
    first, second = programme.mothers(2)
    ids.retag(programme.lead, {"ramet": first.code, "on": "T7"}, when="2021-02-01")
    off_and_on = [{"ramet": first.code, "off": "T7"}, {"ramet": second.code, "on": "T7"}]
    ids.retag(programme.lead, *off_and_on, when="2021-06-10")
    return first.code, second.code


@pytest.mark.parametrize(
    ("query", "which"), [("", 1), ("?on=2021-06-09", 0), ("?on=2021-06-10", 1)]
)
def test_a_tag_that_changed_hands_names_who_bore_it_on_the_day(query: str, which: int) -> None:
    code = handed_on(make.programme())[which]
    answer = make.client(Role.VIEWER).get(f"/api/ramets/t7/{query}")
    assert answer.json()["code"] == code


def test_a_cell_names_who_held_it_on_the_day() -> None:
    programme = make.programme()
    first, second = programme.mothers(2)
    cell = {"structure": programme.plate.code, "cell": "C7"}
    make.move(programme.lead, [{"ramet": first.code, **cell}], when="2021-03-01")
    back = {"structure": programme.tray.code}
    make.move(programme.lead, [{"ramet": first.code, **back}], when="2021-05-01")
    make.move(programme.lead, [{"ramet": second.code, **cell}], when="2021-05-02")
    address = f"/api/ramets/{programme.plate.code} C7/"
    api = make.client(Role.VIEWER)
    assert api.get(address).json()["code"] == second.code
    assert api.get(f"{address}?on=2021-04-01").json()["code"] == first.code


def test_the_list_by_tag_tells_all_who_bore_it_or_one_on_a_day() -> None:
    first, second = handed_on(make.programme())
    api = make.client(Role.VIEWER)
    assert codes(api, "/api/ramets/?tag=t7") == [first, second]
    assert codes(api, "/api/ramets/?tag=t7&on=2021-03-01") == [first]
    assert codes(api, "/api/ramets/?tag=t7&on=2021-07-01") == [second]
    assert codes(api, "/api/ramets/?tag=t7&on=2020-01-01") == []


@pytest.mark.parametrize(
    ("query", "code"),
    [
        ("on=2021-03-01", "on_without_tag"),
        ("tag=T7&on=tomorrow", "date_malformed"),
        ("tag=T7&on=", "empty_parameter"),
    ],
)
def test_a_day_that_reads_no_tag_is_refused(query: str, code: str) -> None:
    answer = make.client(Role.VIEWER).get(f"/api/ramets/?{query}")
    assert (answer.status_code, answer.json()["code"]) == (400, code)


def test_a_ramet_shows_the_base_it_was_given_and_no_tag_that_came_off() -> None:
    programme = make.programme()
    mother = programme.mother()
    ids.retag(programme.lead, {"ramet": mother.code, "on": "T7"}, when="2021-02-01")
    row = {"ramet": mother.code, "off": "T7", "lost": True, "on": "T8"}
    ids.retag(programme.lead, row, when="2021-02-02")
    make.move(programme.lead, [{"ramet": mother.code, "base": "cone"}])
    body = make.client(Role.VIEWER).get(f"/api/ramets/{mother.code}/").json()
    assert (body["base"], body["base_now"], body["tags"]) == ("", "cone", ["T8"])


def test_a_code_that_nothing_has_is_answered_with_near_ones() -> None:
    mother = make.programme().mother()
    wrong = mother.code[:-1] + ("A" if mother.code[-1] != "A" else "B")
    answer = make.client(Role.VIEWER).get(f"/api/ramets/{wrong}/")
    assert answer.status_code == 404
    assert mother.code in answer.json()["detail"]


def test_ramets_are_found_by_what_they_are_and_where() -> None:
    programme = make.programme()
    by = programme.lead
    mother = programme.mother()
    kept, planted = make.cut(
        by,
        [mother],
        into=programme.plate,
        children=[{"tag": "T7"}, {}],
    )
    make.cut(by, [make.mothers(by, programme.colony, programme.tray)[0]], used_up=[])
    make.planting(by, programme.plot, [planted])
    make.visit(by, programme.site, {planted: "dead"})
    strange = make.stock(
        by, make.nursery(by), [{"taxon": make.taxon(by).code, "purpose": "reserve"}]
    )
    api = make.client(Role.VIEWER)
    assert codes(api, f"/api/ramets/?structure={programme.plate.code}") == [kept.code]
    assert codes(api, f"/api/ramets/?site={programme.site.code}") == [planted.code]
    assert codes(api, f"/api/ramets/?plot={programme.plot.code}&life=dead") == [planted.code]
    assert codes(api, "/api/ramets/?place=plot") == [planted.code]
    assert codes(api, "/api/ramets/?tag=t7") == [kept.code]
    assert codes(api, "/api/ramets/?purpose=reserve") == [strange[0].code]
    assert codes(api, "/api/ramets/?origin=legacy") == [strange[0].code]
    assert codes(api, f"/api/ramets/?taxon={strange[0].taxon.code}") == [strange[0].code]
    nursery = programme.nursery.code
    assert kept.code in codes(api, f"/api/ramets/?nursery={nursery}&generation=1")
    assert len(codes(api, f"/api/ramets/?donor={programme.colony.code}")) == 5
    assert len(codes(api, f"/api/ramets/?genet={programme.colony.genet.code}")) == 5
    assert len(codes(api, "/api/ramets/?generation__gte=1")) == 3
    assert len(codes(api, "/api/ramets/?generation__lte=0&born=2021-01")) == 2
    system = programme.bay.system.code
    assert kept.code in codes(api, f"/api/ramets/?system={system}")


@pytest.mark.parametrize(
    ("query", "code"),
    [
        ("life=asleep", "not_a_choice"),
        ("generation=-1", "out_of_range"),
        ("generation=99999999999999999999", "out_of_range"),
        ("generation=one", "malformed"),
        ("genet=G9", "unknown_genet"),
        ("donor=C9", "unknown_donorcolony"),
        ("row=1", "unknown_parameter"),
    ],
)
def test_a_filter_that_is_not_understood_is_refused(query: str, code: str) -> None:
    answer = make.client(Role.VIEWER).get(f"/api/ramets/?{query}")
    assert (answer.status_code, answer.json()["code"]) == (400, code)


def test_genets_that_are_the_same_are_listed_as_one() -> None:
    programme = make.programme()
    mother = programme.mother()
    other = make.genet(programme.lead, programme.taxon)
    Genet.objects.filter(pk=programme.colony.genet_id).update(canonical=other)
    api = make.client(Role.VIEWER)
    for genet in (other.code, programme.colony.genet.code):
        assert codes(api, f"/api/ramets/?genet={genet}") == [mother.code]
        assert codes(api, f"/api/genets/{genet}/descendants/") == [mother.code]
    assert api.get(f"/api/ramets/{mother.code}/").json()["genet"] == other.code


def test_a_ramet_is_traced_to_its_colony() -> None:
    programme = make.programme()
    (planted,) = programme.outplants(1)
    body = make.client(Role.VIEWER).get(f"/api/ramets/{planted.code}/trace/").json()
    assert body["complete"] is True
    assert [node["generation"] for node in body["nodes"]] == [1, 0]
    assert [donor["colony"] for donor in body["donors"]] == [programme.colony.code]
    assert body["outplants"][0]["event"]["when"] == make.PLANTED
    assert body["nodes"][0]["steps"][0]["what"] == "born"


def test_a_trace_takes_as_many_queries_for_a_long_way_as_for_a_short_one(
    django_assert_num_queries: DjangoAssertNumQueries,
) -> None:
    programme = make.programme()
    line = [programme.mother()]
    for _ in range(6):
        line += make.cut(programme.lead, line[-1:])
    api = make.client(Role.VIEWER)
    for ramet in (line[1], line[6]):
        with django_assert_num_queries(4):
            api.get(f"/api/ramets/{ramet.code}/trace/")


def test_descendants_are_listed_and_counted() -> None:
    programme = make.programme()
    by = programme.lead
    mother, other = programme.mothers(2)
    first, second = make.cut(by, [mother], count=2)
    (pooled,) = make.cut(by, [first, other])
    make.planting(by, programme.plot, [second])
    make.visit(by, programme.site, {second: "dead"})
    api = make.client(Role.VIEWER)
    body = api.get(f"/api/ramets/{mother.code}/descendants/").json()
    assert [row["code"] for row in body["results"]] == [first.code, second.code, pooled.code]
    assert body["count"] == body["summary"]["total"] == 3
    assert body["summary"]["by_life"] == {"living": 2, "dead": 1}
    assert codes(api, f"/api/ramets/{other.code}/descendants/") == [pooled.code]
    whole = api.get(f"/api/donors/{programme.colony.code.lower()}/descendants/").json()
    assert whole["count"] == 5


def test_descendants_are_filtered_and_the_counts_with_them() -> None:
    programme = make.programme()
    (planted,) = programme.outplants(1)
    body = (
        make.client(Role.VIEWER)
        .get(f"/api/donors/{programme.colony.code}/descendants/?site={programme.site.code}")
        .json()
    )
    assert [row["code"] for row in body["results"]] == [planted.code]
    assert body["summary"]["total"] == 1
    assert body["summary"]["by_place"][0]["plot"] == programme.plot.code


def test_descendants_take_as_many_queries_for_many_as_for_few(
    django_assert_num_queries: DjangoAssertNumQueries,
) -> None:
    programme = make.programme()
    mother = programme.mother()
    api = make.client(Role.VIEWER)
    for total in (20, 40):
        make.cut(programme.lead, [mother], count=20)
        with django_assert_num_queries(10):
            assert len(codes(api, f"/api/ramets/{mother.code}/descendants/")) == total


@pytest.mark.parametrize("name", ["ramets", "donors", "genets"])
def test_descendants_of_nothing_are_answered_404(name: str) -> None:
    answer = make.client(Role.VIEWER).get(f"/api/{name}/X9/descendants/")
    assert answer.status_code == 404
