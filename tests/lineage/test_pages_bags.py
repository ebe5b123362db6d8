"""Pages of bags: the list of a trip, cutting aboard, and the intake."""

import re
import uuid
from typing import Any

import pytest
from django.test import Client

from nursery.core.actor import Role
from nursery.core.models import Event, EventKind
from nursery.donors.models import Collection
from nursery.lineage.models import Fragmentation, Life, Ramet
from tests import factories as make
from tests.lineage.test_arrivals import aboard, collected
from tests.outplanting.reef import now
from tests.pages import cost, main_of, read, reader, words_of
from tests.verified import nothing_wrong

pytestmark = pytest.mark.django_db


@pytest.fixture
def client(programme: make.Programme) -> Client:
    return reader(Role.NURSERY, at=programme.nursery)


def at(collection: Collection, what: str = "intake") -> str:
    return f"/bags/{collection.event.uid}/{what}/"


def filled(programme: make.Programme, **values: Any) -> dict[str, Any]:
    return {
        "uid": str(uuid.uuid4()),
        "when": make.RECEIVED,
        "nursery": programme.nursery.code,
        "structure": programme.plate.code,
        "done_by": "Ana Reyes",
        **values,
    }


# The list


def test_a_trips_bags_are_listed_and_lead_to_the_intake(
    client: Client, programme: make.Programme
) -> None:
    assert "Nothing is under way" in read(client, "/bags/")
    collection, pieces = collected(programme, 2)
    children = aboard(programme, pieces[0])
    page = main_of(client, "/bags/")
    assert "3 pieces are under way. Bags: 1." in page
    for row in (pieces[1], *children):
        assert f"/ramets/{row.code}/" in page
    assert f"/ramets/{pieces[0].code}/" not in page
    assert f'href="{at(collection)}"' in page
    assert f'href="{at(collection, "cut")}"' in page
    viewer = main_of(reader(Role.VIEWER), "/bags/?on=2021-01-10")
    assert "Bag 1" in viewer
    assert "Take in" not in viewer


def test_the_list_costs_no_more_for_more_bags(client: Client, programme: make.Programme) -> None:
    aboard(programme, collected(programme, 1)[1][0])
    cost(client, "/bags/")
    few = cost(client, "/bags/")
    for _ in range(4):
        aboard(programme, collected(programme, 3)[1][0])
    assert cost(client, "/bags/") == few == 12


def test_other_trips_are_a_step_away(client: Client, programme: make.Programme) -> None:
    collected(programme)
    make.collection(programme.lead, programme.colony, when="2021-02-03")
    page = main_of(client, "/bags/")
    assert "Bags of" in page
    assert 'href="/bags/?on=2021-01-10"' in page


# Cutting aboard


def cut_form(**values: Any) -> dict[str, Any]:
    return {"uid": str(uuid.uuid4()), "when": make.COLLECTED, "used_up": "on", **values}


def test_pieces_are_cut_aboard_and_stay_in_the_bag(
    client: Client, programme: make.Programme
) -> None:
    collection, (one, other) = collected(programme, 2)
    form = cut_form(sources=[one.code], tags="T-1 t-2", count="2")
    answer = client.post(at(collection, "cut"), form)
    assert answer.headers["Location"] == "/bags/?on=2021-01-10"
    children = make.ramets_of(Fragmentation.objects.get())
    assert [row.tags.get().text for row in children] == ["T-1", "T-2"]
    assert now(one).life == Life.USED_UP
    said = read(client, "/bags/")
    assert "Entered: 2 pieces cut aboard." in said
    for row in (other, *children):
        assert row.code in said
    assert client.post(at(collection, "cut"), form).status_code == 302
    assert Fragmentation.objects.count() == 1
    nothing_wrong()


@pytest.mark.parametrize(
    ("values", "code", "beside"),
    [
        ({"sources": []}, "too_few", "sources"),
        ({"count": ""}, "required", "count"),
        ({"count": "3", "tags": "T-1"}, "count_differs", "count"),
        ({"tags": "T-1 T-1", "count": ""}, "tag_twice", "tags"),
        ({"when": "2021-01-01"}, "before_collection", "sources"),
        ({"sources": ["NOSUCH"]}, "not_of_collection", "sources"),
    ],
)
def test_what_is_refused_aboard_stands_beside_its_blank(
    client: Client, programme: make.Programme, values: dict[str, Any], code: str, beside: str
) -> None:
    collection, (one,) = collected(programme, 1)
    form = cut_form(**{"sources": [one.code], "count": "2", "note": "in haste", **values})
    answer = client.post(at(collection, "cut"), form)
    assert answer.status_code == 400
    body = answer.content.decode()
    assert code in body.partition(f'id="about-{beside}"')[2].partition("</div>")[0]
    assert 'value="in haste"' in body
    assert not Fragmentation.objects.exists()


# The intake


def test_all_arrive_unless_it_is_said_otherwise(client: Client, programme: make.Programme) -> None:
    collection, pieces = collected(programme, 3)
    page = main_of(client, at(collection))
    assert "3 pieces of" in page
    assert len(re.findall(r'value="arrived" checked', page)) == 3
    assert f'<option value="{programme.nursery.code}" selected' in " ".join(page.split())
    marks = {
        f"out:{pieces[0].code}": "arrived",
        f"tag:{pieces[0].code}": "T-9",
        f"cell:{pieces[0].code}": "",
        f"out:{pieces[1].code}": "dead",
        f"cause:{pieces[1].code}": "handling",
        f"out:{pieces[2].code}": "arrived",
        f"cell:{pieces[2].code}": "c7",
    }
    form = filled(programme)
    answer = client.post(at(collection), {**form, **marks})
    assert answer.status_code == 302, words_of(answer)
    event = Event.objects.get(kind=EventKind.INTAKE)
    assert answer.headers["Location"] == f"/events/{event.uid}/"
    assert "Entered: 2 pieces taken in." in read(client, answer.headers["Location"])
    assert [str(now(row).cell) for row in (pieces[0], pieces[2])] == ["A1", "C7"]
    assert now(pieces[1]).life == Life.DEAD
    assert now(pieces[0]).tags.get().text == "T-9"
    assert client.post(at(collection), {**form, **marks}).status_code == 302
    assert Event.objects.filter(kind=EventKind.INTAKE).count() == 1
    nothing_wrong()


def test_what_is_left_for_later_is_still_under_way(
    client: Client, programme: make.Programme
) -> None:
    collection, (one, other) = collected(programme, 2)
    marks = {f"out:{one.code}": "arrived", f"out:{other.code}": ""}
    client.post(at(collection), {**filled(programme), **marks})
    page = main_of(client, at(collection))
    assert f'name="out:{other.code}"' in page
    assert f'name="out:{one.code}"' not in page
    client.post(at(collection), {**filled(programme), f"out:{other.code}": "lost"})
    assert "All of it has arrived." in main_of(client, at(collection))


def test_the_cells_are_shown_before_anything_is_stored(
    client: Client, programme: make.Programme
) -> None:
    collection, (one, other) = collected(programme, 2)
    make.cut(programme.lead, programme.mothers(), into=programme.plate)
    marks = {f"out:{row.code}": "arrived" for row in (one, other)}
    form = {**filled(programme), **marks}
    said = words_of(client.post(f"{at(collection)}cells/", form))
    assert f"2 pieces go into {programme.plate.code}." in said
    assert f"{one.code} → B1" in said
    assert f"{other.code} → C1" in said
    said = words_of(client.post(f"{at(collection)}cells/", {**form, f"cell:{one.code}": "C1"}))
    assert f"{other.code} → B1" in said
    assert "stay packed" in words_of(
        client.post(f"{at(collection)}cells/", {**form, "structure": ""})
    )
    looked = client.post(at(collection), {**form, "step": "look"})
    assert looked.status_code == 200
    assert f"{one.code} → B1" in words_of(looked)
    assert not collection.intakes.exists()
    client.post(at(collection), form)
    assert [str(now(row).cell) for row in (one, other)] == ["B1", "C1"]


def test_too_few_cells_are_told_before_and_after(client: Client, programme: make.Programme) -> None:
    collection, pieces = collected(programme, 3)
    small = make.structure(programme.lead, programme.bay, rows=1, columns=2)
    marks = {f"out:{row.code}": "arrived" for row in pieces}
    form = {**filled(programme, structure=small.code), **marks}
    said = words_of(client.post(f"{at(collection)}cells/", form))
    assert f"{small.code} has 2 free cells; 3 are needed." in said
    answer = client.post(at(collection), form)
    assert answer.status_code == 400
    assert "structure_full" in answer.content.decode().partition('id="about-structure"')[2][:400]


@pytest.mark.parametrize(
    ("values", "code"),
    [
        ({"nursery": ""}, "required"),
        ({"when": "2021-01-01"}, "before_collection"),
        ({"nursery": "NOSUCH"}, "not_your_nursery"),
    ],
)
def test_a_refused_intake_keeps_what_was_said(
    client: Client, programme: make.Programme, values: dict[str, str], code: str
) -> None:
    collection, (one, other) = collected(programme, 2)
    marks = {f"out:{one.code}": "lost", f"out:{other.code}": "arrived", f"tag:{other.code}": "T-8"}
    answer = client.post(at(collection), {**filled(programme), **marks, **values})
    assert answer.status_code in (400, 403)
    body = answer.content.decode()
    assert code in body
    assert f'name="out:{one.code}" value="lost" checked' in body
    assert 'value="T-8"' in body
    assert 'value="Ana Reyes"' in body


def test_what_was_cut_aboard_is_taken_in_with_the_pieces(
    client: Client, programme: make.Programme
) -> None:
    collection, (one, source) = collected(programme, 2)
    (child,) = aboard(programme, source, 1)
    marks: dict[str, str] = {f"out:{one.code}": "arrived", f"out:{child.code}": "arrived"}
    answer = client.post(at(collection), {**filled(programme), **marks})
    assert answer.status_code == 302, words_of(answer)
    assert [str(now(row).cell) for row in (one, child)] == ["A1", "B1"]


def test_only_those_at_work_take_in(programme: make.Programme) -> None:
    collection, (piece,) = collected(programme, 1)
    viewer = reader(Role.VIEWER)
    for what in ("intake", "cut"):
        assert viewer.get(at(collection, what)).status_code == 403
        assert viewer.post(at(collection, what), {}).status_code == 403
        gone = f"/bags/{uuid.uuid4()}/{what}/"
        assert reader(Role.LEAD).get(gone).status_code == 404
    assert viewer.post(f"{at(collection)}cells/", {}).status_code == 403
    stranger = reader(Role.NURSERY, at=make.nursery(programme.lead))
    form = {**filled(programme), f"out:{piece.code}": "arrived"}
    assert stranger.post(at(collection), form).status_code == 403
    assert not Ramet.objects.filter(pk=piece.pk, structure__isnull=False).exists()


def test_an_intakes_queries_do_not_grow_with_the_bag(
    client: Client, programme: make.Programme
) -> None:
    small, large = collected(programme, 1)[0], collected(programme, 30)[0]
    cost(client, at(small))
    assert cost(client, at(small)) == cost(client, at(large)) == 11
