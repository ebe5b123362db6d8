"""Checks on plain pages: the form, the entry's page, the history of a ramet."""

import uuid

import pytest
from django.test import Client

from nursery.core.actor import Role
from nursery.core.models import Event, EventKind
from nursery.husbandry.models import Finding
from nursery.outplanting.actions.correct import void
from nursery.outplanting.corrections import VoidIn
from tests import factories as make
from tests.factories import Programme
from tests.husbandry.plates import cut_into, looked
from tests.pages import cost, main_of, read, reader, words_of

pytestmark = pytest.mark.django_db

FORM = "/enter/check/"


@pytest.fixture
def client(db: None) -> Client:
    return reader(Role.LEAD)


def test_a_check_is_entered_from_lines_of_a_sheet(programme: Programme) -> None:
    first, second = cut_into(programme, programme.plate, 2)
    hand = reader(Role.NURSERY, at=programme.nursery)
    answer = hand.post(
        FORM,
        {
            "uid": str(uuid.uuid4()),
            "when": make.CHECKED,
            "findings": f"ramet\tstate\tsize cm\n{first.code}\tloose\t1.5\n"
            f"{programme.plate.code} B1\tmissing\t\n",
        },
    )
    assert answer.status_code == 302, words_of(answer)
    event = Event.objects.get(kind=EventKind.CHECK)
    assert answer["Location"] == f"/events/{event.uid}/"
    assert [row.ramet for row in Finding.objects.order_by("pk")] == [first, second]


def test_faults_stand_beside_their_lines_and_what_was_typed_is_kept(
    programme: Programme, client: Client
) -> None:
    (child,) = cut_into(programme, programme.plate, 1)
    typed = f"ramet\tstate\n{child.code}\tloose\nnothing\tdead\n"
    answer = client.post(FORM, {"uid": str(uuid.uuid4()), "when": make.CHECKED, "findings": typed})
    assert answer.status_code == 400
    assert "There is no ramet" in words_of(answer)
    assert child.code in words_of(answer)
    assert not Finding.objects.exists()


def test_field_staff_are_not_offered_it() -> None:
    hand = reader(Role.FIELD)
    assert f'href="{FORM}"' not in main_of(hand, "/enter/")
    assert hand.get(FORM).status_code == 403


def test_the_entrys_page_tells_how_each_was_found(programme: Programme) -> None:
    first, second, third = cut_into(programme, programme.plate, 3)
    event = looked(
        programme.lead,
        {"ramet": first.code, "state": "loose", "size_cm": 2, "note": "pressed back"},
        {"ramet": second.code, "state": "dead", "cause": "water_quality"},
        {"ramet": third.code, "state": "missing"},
        note="after the storm",
    ).event
    said = read(reader(Role.VIEWER), f"/events/{event.uid}/")
    assert "3 rows: what was found." in said
    assert f"{programme.colony.genet.code} loose 2 pressed back living" in said
    assert "dead (water quality)" in said
    assert "after the storm" in said


def test_the_page_of_a_void_check_tells_what_it_said(programme: Programme) -> None:
    (child,) = cut_into(programme, programme.plate, 1)
    event = looked(programme.lead, {"ramet": child.code, "state": "dead", "cause": "cold"}).event
    void(programme.lead, VoidIn(event=event.uid, reason="another plate"))
    said = read(reader(Role.VIEWER), f"/events/{event.uid}/")
    assert "of what is void" in said
    assert "dead (cold)" in said
    assert "State now" not in said


def test_a_check_is_part_of_the_history_of_its_ramet(programme: Programme) -> None:
    (child,) = cut_into(programme, programme.plate, 1)
    event = looked(programme.lead, {"ramet": child.code, "state": "dead", "cause": "cold"}).event
    html = main_of(reader(Role.VIEWER), f"/ramets/{child.code}/")
    assert f"/events/{event.uid}/" in html
    assert "checked dead (cold)" in html


def test_the_page_of_a_large_check_costs_as_much_as_that_of_a_small_one(
    programme: Programme,
) -> None:
    plugs = cut_into(programme, programme.plate, 40)
    one = make.check(programme.lead, {plugs[0]: "dead"}).event
    many = make.check(programme.lead, dict.fromkeys(plugs, "dead"), when="2021-04-01").event
    client = reader(Role.VIEWER)
    assert cost(client, f"/events/{one.uid}/") == cost(client, f"/events/{many.uid}/")
