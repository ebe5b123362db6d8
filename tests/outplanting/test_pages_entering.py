"""Entering what happened by hand: a plain form for every kind of entry."""

import re
import uuid
from typing import Any

import pytest
from django.http import HttpResponse
from django.test import Client

from nursery.core.actor import Role
from nursery.core.models import Event, EventKind
from nursery.exchange.loading.files import row_model
from nursery.lineage.models import Ramet
from nursery.outplanting.forms import names_of
from nursery.outplanting.views.kinds import SLIPS
from tests import factories as make
from tests.factories import Programme
from tests.lineage.identities import other_genet
from tests.pages import cost, main_of, read, reader, words_of
from tests.refusals import everything_stored

pytestmark = pytest.mark.django_db


@pytest.fixture
def client(db: None) -> Client:
    return reader(Role.LEAD)


def form_of(kind: EventKind) -> str:
    return f"/enter/{kind.word}/"


def send(client: Client, kind: EventKind, /, **typed: str) -> HttpResponse:
    given: dict[str, Any] = {"uid": str(uuid.uuid4()), "when": "2021-07-01", **typed}
    return client.post(form_of(kind), given)


def entered(answer: HttpResponse) -> Event:
    assert answer.status_code == 302, words_of(answer)
    found = re.fullmatch(r"/events/([0-9a-f-]{36})/", answer["Location"])
    assert found is not None
    return Event.objects.get(uid=found[1])


def test_every_kind_of_entry_is_offered_with_a_form(client: Client) -> None:
    html = main_of(client, "/enter/")
    assert set(SLIPS) == set(EventKind.all_words())
    for kind in EventKind:
        assert f'href="{form_of(kind)}"' in html
        assert kind.label.capitalize() in read(client, form_of(kind))


@pytest.mark.parametrize("kind", EventKind)
def test_a_form_has_a_blank_for_every_field_and_every_column(
    client: Client, kind: EventKind
) -> None:
    model = SLIPS[kind.word].model
    html = main_of(client, form_of(kind))
    for name in names_of(model):
        assert f'name="{name}"' in html
        rows = row_model(model, name)
        if rows is not None:
            assert "\n" + ", ".join(rows.model_fields) in html
    assert set(names_of(model)) == set(model.model_fields) - {"uid"}


def test_a_cutting_is_entered_from_lines_of_a_sheet(programme: Programme, client: Client) -> None:
    kept, spent = programme.mothers(2)
    event = entered(
        send(
            client,
            EventKind.FRAGMENTATION,
            done_by="Ana Reyes; Teo Marsh",
            structure=programme.plate.code,
            sources=f"ramet\tused up\r\n{kept.code}\t\r\n{spent.code}\tyes\r\n",
            children="cell;tag\nC3;T-1\n\nC4;\n",
        )
    )
    assert event.people == ["Ana Reyes", "Teo Marsh"]
    children = list(Ramet.objects.filter(born=event).order_by("pk"))
    assert [str(child.cell) for child in children] == ["C3", "C4"]
    assert Ramet.objects.get(pk=spent.pk).get_life_display() == "used up"
    assert "Entered: fragmentation." in read(client, f"/events/{event.uid}/")


def test_rows_that_were_pasted_below_the_prefilled_names_are_read(
    programme: Programme, client: Client
) -> None:
    mother = programme.mother()
    event = entered(
        send(
            client,
            EventKind.MOVE,
            ramets=f"ramet, structure, cell, base\n{mother.code}\t{programme.plate.code}\tB2\n",
        )
    )
    assert event.kind == EventKind.MOVE
    assert str(Ramet.objects.get(pk=mother.pk).cell) == "B2"


def test_a_form_that_is_sent_twice_is_entered_once(programme: Programme, client: Client) -> None:
    typed = {
        "uid": str(uuid.uuid4()),
        "colony": programme.colony.code,
        "count": "2",
    }
    first = entered(send(client, EventKind.COLLECTION, **typed))
    assert entered(send(client, EventKind.COLLECTION, **typed)) == first
    assert Event.objects.filter(kind=EventKind.COLLECTION).count() == 1
    assert "It was entered already, once: collection." in read(client, f"/events/{first.uid}/")


def test_a_form_that_was_changed_after_it_was_entered_asks_first(
    programme: Programme, client: Client
) -> None:
    uid = str(uuid.uuid4())
    typed = {"uid": uid, "colony": programme.colony.code}
    first = entered(send(client, EventKind.COLLECTION, count="2", **typed))
    answer = send(client, EventKind.COLLECTION, count="3", **typed)
    assert answer.status_code == 409
    html = answer.content.decode()
    assert "This form was entered already" in words_of(answer)
    assert f'href="/events/{first.uid}/"' in html
    again = re.search(r'name="uid" value="([0-9a-f-]{36})"', html)
    assert again is not None
    assert again[1] != uid
    second = entered(send(client, EventKind.COLLECTION, **{**typed, "uid": again[1]}, count="3"))
    assert second != first


def test_a_refusal_keeps_all_that_was_typed_and_names_line_and_column(
    programme: Programme, client: Client
) -> None:
    mother = programme.mother()
    before = everything_stored()
    sources = f"ramet, used_up\n{mother.code}, perhaps\n"
    answer = send(
        client,
        EventKind.FRAGMENTATION,
        when="2021-13",
        note="a <calm> sea",
        sources=sources,
        children="cell\n\nA1\nZZ99999999\n",
    )
    assert answer.status_code == 400
    said, html = words_of(answer), answer.content.decode()
    assert "Line 2, column used_up:" in said
    assert "not_yes_or_no" in said
    assert "Line 4, column cell:" in said
    assert "date_impossible" in said
    assert "a &lt;calm&gt; sea</textarea>" in html
    assert sources in html
    assert 'value="2021-13"' in html
    assert everything_stored() == before


def test_what_the_record_does_not_allow_is_told_beside_its_line(
    programme: Programme, client: Client
) -> None:
    mother = programme.mother()
    answer = send(
        client,
        EventKind.FRAGMENTATION,
        sources=f"ramet\n{mother.code}\n\nNOSUCH\n",
        count="1",
    )
    assert answer.status_code == 400
    assert re.search(r"Line 4, column ramet: [^#]*unknown_ramet", words_of(answer))


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("ramet, colour\nX, red", "unknown_column"),
        ("ramet, ramet\nX, Y", "column_twice"),
        ("ramet\nX, Y, Z\n", "row_too_long"),
        ('ramet\n"X\n', "quote_malformed"),
    ],
)
def test_lines_that_are_no_list_are_refused(client: Client, text: str, code: str) -> None:
    answer = send(client, EventKind.MOVE, ramets=text)
    assert answer.status_code == 400
    assert code in words_of(answer)


def test_a_list_that_was_left_alone_is_missing_where_it_is_needed(client: Client) -> None:
    answer = send(client, EventKind.MOVE, ramets="ramet, structure, cell, base\n")
    assert answer.status_code == 400
    assert "This is required. required" in words_of(answer)


def test_an_act_that_is_not_open_to_somebody_keeps_what_they_typed(programme: Programme) -> None:
    client = reader(Role.FIELD)
    answer = send(
        client, EventKind.STRUCTURE_LOSS, structures=f"structure\n{programme.tray.code}\n"
    )
    assert answer.status_code == 403
    assert f"structure\n{programme.tray.code}" in answer.content.decode()
    assert not Event.objects.filter(kind=EventKind.STRUCTURE_LOSS).exists()


def test_who_only_reads_is_offered_nothing_to_enter() -> None:
    client = reader(Role.VIEWER)
    assert "not_allowed" in read(client, "/enter/", 403)
    assert "not_allowed" in read(client, form_of(EventKind.MOVE), 403)
    assert client.post(form_of(EventKind.MOVE), {}).status_code == 403
    assert 'href="/enter/"' not in client.get("/").content.decode()


def test_only_leads_are_offered_to_merge_genets() -> None:
    client = reader(Role.FIELD)
    assert form_of(EventKind.GENET_MERGE) not in main_of(client, "/enter/")
    read(client, form_of(EventKind.GENET_MERGE), 403)


def test_a_kind_that_there_is_not_is_not_found(client: Client) -> None:
    assert "unknown_kind" in read(client, "/enter/wedding/", 404)


def test_a_form_is_not_taken_from_another_site(programme: Programme) -> None:
    strict = Client(enforce_csrf_checks=True)
    strict.force_login(make.person(Role.LEAD))
    answer = strict.post(form_of(EventKind.COLLECTION), {"when": "2021-01-01"})
    assert answer.status_code == 403
    assert not Event.objects.filter(kind=EventKind.COLLECTION).exists()


def test_a_relabelling_shows_what_it_changes_before_it_is_entered(
    programme: Programme, client: Client
) -> None:
    genet, _ = other_genet(programme)
    mother = programme.mother()
    make.cut(programme.lead, [mother], 3, into=programme.plate)
    before = everything_stored()
    typed = {"uid": str(uuid.uuid4()), "genet": genet.code, "ramets": f"ramet\n{mother.code}"}
    answer = send(client, EventKind.RELABELLING, **typed)
    assert answer.status_code == 200
    assert "4 ramets would count as another genet, 4 of them living." in words_of(answer)
    assert everything_stored() == before
    back = send(client, EventKind.RELABELLING, **typed, step="change")
    assert f"ramet\n{mother.code}" in back.content.decode()
    assert everything_stored() == before
    event = entered(send(client, EventKind.RELABELLING, **typed, step="enter"))
    assert Ramet.objects.get(pk=mother.pk).genet == genet
    # The form from before the confirmation, sent once more: it is entered already.
    assert entered(send(client, EventKind.RELABELLING, **typed)) == event


def test_a_merge_shows_what_it_changes_before_it_is_entered(
    programme: Programme, client: Client
) -> None:
    other, stranger = other_genet(programme)
    make.cut(programme.lead, [programme.mother(), stranger], 2, into=programme.plate)
    typed = {"kept": programme.colony.genet.code, "merged": other.code}
    said = words_of(send(client, EventKind.GENET_MERGE, **typed))
    assert "3 ramets would count as another genet, 3 of them living." in said
    assert not Event.objects.filter(kind=EventKind.GENET_MERGE).exists()
    event = entered(send(client, EventKind.GENET_MERGE, **typed, step="enter"))
    assert f"Known as {programme.colony.genet.code}" in read(client, f"/events/{event.uid}/")


def test_a_collection_leads_to_its_intake_with_the_uid_filled_in(
    programme: Programme, client: Client
) -> None:
    row = make.collection(programme.lead, programme.colony)
    address = f"{form_of(EventKind.INTAKE)}?collection={row.event.uid}"
    its_own = f'href="/bags/{row.event.uid}/intake/"'
    assert its_own in main_of(client, f"/events/{row.event.uid}/")
    assert f'value="{row.event.uid}"' in main_of(client, address)
    (piece,) = make.ramets_of(row)
    # The address of its page does as well.
    event = entered(
        send(
            client,
            EventKind.INTAKE,
            collection=f"http://testserver/events/{row.event.uid}/",
            nursery=programme.nursery.code,
            structure=programme.tray.code,
            pieces=f"ramet\n{piece.code}",
        )
    )
    assert event.intake.collection == row


def test_an_address_that_fills_in_what_there_is_not_is_refused(client: Client) -> None:
    read(client, f"{form_of(EventKind.INTAKE)}?colour=red", 400)


def test_cautions_stand_on_the_forms_that_they_are_about(
    programme: Programme, client: Client
) -> None:
    for kind in (EventKind.COLLECTION, EventKind.OUTPLANTING):
        assert "need the local authority's permit" in read(client, form_of(kind))
    assert "palytoxin" not in read(client, form_of(EventKind.FRAGMENTATION))
    zoanthid = make.taxon(programme.lead, group="zoanthid")
    colony = make.colony(programme.lead, zoanthid, programme.reef)
    (mother,) = make.mothers(programme.lead, colony, programme.tray)
    assert "presume palytoxin" in read(client, form_of(EventKind.FRAGMENTATION))
    named = send(client, EventKind.FRAGMENTATION, sources=f"ramet\n{mother.code}")
    assert "presume palytoxin" in words_of(named)
    stony = send(client, EventKind.FRAGMENTATION, sources=f"ramet\n{programme.mother().code}")
    assert "palytoxin" not in words_of(stony)


def test_the_forms_cost_few_queries(client: Client) -> None:
    assert cost(client, "/enter/") == 3
    assert cost(client, form_of(EventKind.MOVE)) == 3
    assert cost(client, form_of(EventKind.FRAGMENTATION)) == 4
