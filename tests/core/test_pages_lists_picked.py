"""Rows of a list that are picked, one by one or all that match, and what is done with them."""

from __future__ import annotations

from typing import Any
from urllib.parse import parse_qs, urlsplit

import pytest

from nursery.core.actor import Role
from nursery.core.models import Event, EventKind
from nursery.core.views import picking
from nursery.lineage.models import Ramet
from nursery.lineage.words import Life
from tests import factories as make
from tests.lineage.ends import end
from tests.pages import cost, main_of, read, reader, words_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def cut() -> list[Ramet]:
    begun = make.programme()
    return make.cut(begun.lead, [begun.mother()], 5, into=begun.plate)


def at(act: str, *ramets: Ramet, query: str = "") -> str:
    picked = "".join(f"&pick={ramet.code}" for ramet in ramets)
    return f"/ramets/?{query}act={act}{picked}"


def arrived(answer: Any) -> tuple[str, dict[str, list[str]]]:
    """Where an answer led in the end, and what the address says."""
    address = urlsplit(answer.redirect_chain[-1][0])
    return address.path, parse_qs(address.query)


def test_every_row_has_a_box_with_its_name(cut: list[Ramet]) -> None:
    html = main_of(reader(Role.VIEWER), "/ramets/")
    for ramet in cut:
        assert f'value="{ramet.code}"' in html
        assert f'aria-label="Pick {ramet.code}"' in html


def test_picked_rows_are_shown_alone_with_the_columns_that_were_chosen(cut: list[Ramet]) -> None:
    client = reader(Role.VIEWER)
    address = at("show", *cut[:2], query="life=living&columns=ramet,state&ordering=-code&")
    answer = client.get(address, follow=True)
    path, query = arrived(answer)
    assert path == "/ramets/"
    assert query == {
        "columns": ["ramet,state"],
        "ordering": ["-code"],
        "only": [f"{cut[0].code},{cut[1].code}"],
    }
    words = words_of(answer)
    assert "2 ramets, picked one by one." in words
    assert cut[2].code not in words


def test_picked_rows_are_taken_along_as_a_file(cut: list[Ramet]) -> None:
    answer = reader(Role.VIEWER).get(at("csv", cut[3], query="columns=ramet&"), follow=True)
    assert b"".join(answer.streaming_content).decode().split() == ["Ramet", cut[3].code]


def test_all_that_match_are_taken_along_though_the_page_shows_a_few(cut: list[Ramet]) -> None:
    query = "generation=1&columns=ramet&limit=2&all=5&"
    answer = reader(Role.VIEWER).get(at("csv", query=query), follow=True)
    assert len(b"".join(answer.streaming_content).decode().split()) == 6


def test_what_is_printed_holds_all_rows_and_no_boxes(cut: list[Ramet]) -> None:
    answer = reader(Role.VIEWER).get(at("print", query="generation=1&all=5&"), follow=True)
    html = answer.content.decode()
    assert all(ramet.code.partition("-")[0] in html for ramet in cut)
    assert 'name="pick"' not in html
    assert "5 ramets with generation 1." in words_of(answer)


def test_other_rows_than_were_seen_are_told_and_nothing_is_done(cut: list[Ramet]) -> None:
    client = reader(Role.FIELD)
    answer = client.get(at("cut", query="life=living&generation=1&all=4&"))
    assert answer.status_code == 409
    assert "4 matched when you looked; now it is 5. Nothing was done." in words_of(answer)
    again = answer.content.decode().split('class="onward"')[1]
    assert "all=5" in again
    assert 'href="/ramets/?life=living&amp;generation=1"' in again


def test_picked_ramets_are_cut(cut: list[Ramet]) -> None:
    answer = reader(Role.FIELD).get(at("cut", *cut[:2]), follow=True)
    assert arrived(answer) == ("/cut/", {"mother": [f"{cut[0].code},{cut[1].code}"]})
    assert answer.status_code == 200
    assert all(ramet.code in answer.content.decode() for ramet in cut[:2])


def test_picked_ramets_are_taken_on_a_dive(cut: list[Ramet]) -> None:
    answer = reader(Role.FIELD).get(at("dive", *cut[:2]), follow=True)
    path, query = arrived(answer)
    assert (path, query) == ("/dive/", {"named": [f"{cut[0].code} {cut[1].code}"]})
    assert f"{cut[0].code} {cut[1].code}" in answer.content.decode()


@pytest.mark.parametrize(
    ("act", "kind", "first"),
    [
        ("move", EventKind.MOVE, "ramet, structure, cell"),
        ("end", EventKind.ENDING, "ramet, fate, cause"),
        ("relabel", EventKind.RELABELLING, "ramet"),
    ],
)
def test_picked_ramets_stand_in_the_form_of_an_entry(
    cut: list[Ramet], act: str, kind: EventKind, first: str
) -> None:
    answer = reader(Role.FIELD).get(at(act, *cut[:2]), follow=True)
    path, query = arrived(answer)
    assert path == f"/enter/{kind.word}/"
    assert query == {"ramets": ["\n".join((first, cut[0].code, cut[1].code))]}
    assert answer.status_code == 200


def test_the_form_that_was_filled_in_so_enters_the_end_of_all_that_match(
    cut: list[Ramet],
) -> None:
    client = reader(Role.LEAD)
    answer = client.get(at("end", query="generation=1&ordering=code&all=5&"), follow=True)
    typed = {name: values[0] for name, values in arrived(answer)[1].items()}
    typed |= {"when": "2021-06-01", "fate": "discarded"}
    entered = client.post("/enter/ending/", typed)
    assert entered.status_code == 302, words_of(entered)
    assert Event.objects.latest("pk").kind == EventKind.ENDING
    lives = {Ramet.objects.get(pk=ramet.pk).life for ramet in cut}
    assert lives == {Life.DISCARDED}


def test_one_that_no_longer_fits_the_filter_was_picked_all_the_same(cut: list[Ramet]) -> None:
    end(make.lead(), cut[:1], fate="discarded", when="2021-06-01")
    answer = reader(Role.FIELD).get(at("cut", *cut[:2], query="life=living&"), follow=True)
    assert arrived(answer)[1]["mother"] == [f"{cut[0].code},{cut[1].code}"]


def test_too_many_are_told_with_how_many_go(
    cut: list[Ramet], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(picking, "MOST_PICKED", 4)
    client = reader(Role.FIELD)
    for address in (at("cut", *cut), at("cut", query="generation=1&all=5&")):
        answer = client.get(address, follow=True)
        assert answer.status_code == 400
        assert "5 rows are too many for this: at most 4. Narrow the list." in words_of(answer)
    assert client.get(at("csv", query="generation=1&all=5&"), follow=True).status_code == 200


@pytest.mark.parametrize(
    ("query", "code"),
    [
        ("act=cut", "nothing_picked"),
        ("act=melt&all=6", "unknown_act"),
        ("only=NOSUCH", "unknown_row"),
    ],
)
def test_what_cannot_be_done_is_told(cut: list[Ramet], query: str, code: str) -> None:
    assert code in read(reader(Role.FIELD), f"/ramets/?{query}", 400)


def test_acts_are_offered_to_those_who_may_enter(cut: list[Ramet]) -> None:
    button = 'name="act" value="cut"'
    assert button not in main_of(reader(Role.VIEWER), "/ramets/")
    assert button in main_of(reader(Role.FIELD), "/ramets/")
    assert "act_not_allowed" in read(reader(Role.VIEWER), at("cut", cut[0]), 403)


def test_entries_are_picked_by_their_uids(cut: list[Ramet]) -> None:
    client = reader(Role.VIEWER)
    event = cut[0].born
    for path in ("events", "fragmentations"):
        assert f'value="{event.uid}"' in main_of(client, f"/{path}/")
        answer = client.get(f"/{path}/?act=show&pick={event.uid}", follow=True)
        assert ", picked one by one." in words_of(answer)
        assert answer.content.decode().count('name="pick"') == 1
    assert "malformed" in read(client, "/events/?only=x", 400)


def test_boxes_cost_nothing_and_a_narrowed_list_one_question_more(cut: list[Ramet]) -> None:
    client = reader(Role.VIEWER)
    whole = cost(client, "/ramets/")
    assert cost(client, f"/ramets/?only={cut[0].code}") == whole + 1
    many = ",".join(ramet.code for ramet in cut)
    assert cost(client, f"/ramets/?only={many}") == whole + 1
