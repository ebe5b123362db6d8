"""Registers entered and edited on pages, and what two see who edit the same row."""

import json
import re
from typing import Any

import pytest
from django.http import HttpResponse
from django.test import Client
from django.urls import reverse

from nursery.core.actor import Role
from nursery.core.models import Change, Register
from nursery.core.registers import edit
from nursery.core.views.keeping import REGISTERS, name_of
from nursery.donors.models import DonorColony, Permit
from nursery.places.models import Nursery, Reef, Structure
from tests import factories as make
from tests.genotyping.laboratory import ONE, panel, samples, table
from tests.pages import cost, read, reader, words_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def begun() -> make.Programme:
    return make.programme()


def address(row: Register) -> str:
    return reverse("edit", args=[name_of(type(row)), row.code])


def form(client: Client, at: str) -> dict[str, str]:
    """What the page's form holds, as a browser would send it."""
    page = client.get(at).content.decode()
    return filled_in(page.partition('<form method="post" class="slip">')[2])


def filled_in(page: str) -> dict[str, str]:
    found = {}
    for tag in re.findall(r"<input[^>]*>", page):
        name = re.search(r'name="([^"]*)"', tag)
        value = re.search(r'value="([^"]*)"', tag, re.DOTALL)
        if name and not ('type="checkbox"' in tag and "checked" not in tag):
            text = value.group(1) if value else ""
            found[name.group(1)] = text.replace("&quot;", '"').replace("&#x27;", "'")
    for name_, body in re.findall(
        r'<textarea[^>]*name="(\w+)"[^>]*>\n?(.*?)</textarea>', page, re.S
    ):
        found[name_] = body
    for name_, body in re.findall(r'<select[^>]*name="(\w+)"[^>]*>(.*?)</select>', page, re.S):
        chosen = re.search(r'value="([^"]*)"\s*selected', body)
        found[name_] = chosen.group(1) if chosen else ""
    return {name: text for name, text in found.items() if name != "csrfmiddlewaretoken"}


def saved(client: Client, row: Register, **values: str) -> HttpResponse:
    """The row's form opened, changed and sent."""
    at = address(row)
    return client.post(at, {**form(client, at), **values})


def test_a_row_is_edited_and_the_rest_of_it_stays(begun: make.Programme) -> None:
    reef = begun.reef
    before = {**vars(Reef.objects.get(pk=reef.pk)), "_state": None}
    answer = saved(reader(Role.LEAD), reef, name="Thimble, renamed")
    assert answer.status_code == 302, words_of(answer)
    assert answer["Location"] == f"/reefs/{reef.code}/"
    after = {**vars(Reef.objects.get(pk=reef.pk)), "_state": None}
    changed = {name for name in after if after[name] != before[name]}
    assert changed == {"name", "version"}
    assert list(Change.objects.latest("pk").after) == ["name"]


@pytest.mark.parametrize("name", REGISTERS)
def test_every_register_has_a_form_that_changes_nothing_when_it_is_sent_back(
    begun: make.Programme, name: str
) -> None:
    make.permit(begun.lead, taxa=[begun.taxon.code], reefs=[begun.reef.code])
    model = REGISTERS[name]
    sampled = samples(begun.lead, begun.colony)
    table(begun.lead, panel(begun.lead), {sampled[0]: ONE})
    if name == "systems":
        assert begun.bay.system
    row = model._default_manager.order_by("-pk").first()
    assert row is not None
    changes = Change.objects.count()
    answer = saved(reader(Role.LEAD), row)
    assert answer.status_code == 302, words_of(answer)
    assert Change.objects.count() == changes


def test_a_new_row_is_entered(begun: make.Programme) -> None:
    client = reader(Role.LEAD)
    at = "/register/reefs/new/"
    answer = client.post(at, {**form(client, at), "code": "new-1", "name": "New Bank"})
    assert answer["Location"] == "/reefs/NEW-1/"
    assert Reef.objects.get(code="NEW-1").name == "New Bank"


def test_a_new_rows_form_is_filled_in_by_the_address(begun: make.Programme) -> None:
    filled = form(reader(Role.LEAD), f"/register/plots/new/?site={begun.site.code}")
    assert filled["site"] == begun.site.code


def test_a_colony_is_registered_with_its_position_apart(begun: make.Programme) -> None:
    client = reader(Role.FIELD)
    at = "/register/colonies/new/"
    typed = {
        "code": "NB-1",
        "taxon": begun.taxon.code,
        "reef": begun.reef.code,
        "latitude": "10°52'30\" S",
        "longitude": "86°20' E",
        "uncertainty_m": "5",
    }
    answer = client.post(at, {**form(client, at), **typed})
    assert answer.status_code == 302, words_of(answer)
    colony = DonorColony.objects.get(code="NB-1")
    assert float(colony.rounded_latitude) == pytest.approx(-10.88)


def test_a_nursery_is_given_its_series(begun: make.Programme) -> None:
    answer = saved(reader(Role.LEAD), begun.nursery, series="ZQ")
    assert answer.status_code == 302, words_of(answer)
    series = Nursery.objects.get(pk=begun.nursery.pk).series
    assert series is not None
    assert series.prefix == "ZQ"


def test_blocked_cells_are_typed_as_text(begun: make.Programme) -> None:
    answer = saved(reader(Role.LEAD), begun.plate, blocked="A1 B2:B3")
    assert answer.status_code == 302, words_of(answer)
    assert Structure.objects.get(pk=begun.plate.pk).blocked == ["A1", "B2", "B3"]
    assert form(reader(Role.LEAD), address(begun.plate))["blocked"] == "A1 B2 B3"


def test_a_fault_stands_at_its_field_and_what_was_typed_stays(begun: make.Programme) -> None:
    client = reader(Role.LEAD)
    answer = saved(client, begun.reef, name="Kept", latitude="95 N")
    assert answer.status_code == 400
    page = answer.content.decode()
    assert re.search(r'value="95 N"[^>]*aria-invalid="true"', page)
    assert 'value="Kept"' in page
    assert Reef.objects.get(pk=begun.reef.pk).name != "Kept"


def test_the_second_of_two_is_told_and_shown_the_difference(begun: make.Programme) -> None:
    client, reef = reader(Role.LEAD), begun.reef
    opened = form(client, address(reef))
    was = reef.name
    edit(begun.lead, reef, {"name": "Theirs", "note": "a note of theirs"})
    answer = client.post(address(reef), {**opened, "name": "Mine"})
    assert answer.status_code == 409
    words = words_of(answer)
    assert "saved this meanwhile" in words
    for told in (was, "Theirs", "Mine", "a note of theirs"):
        assert told in words
    stored = Reef.objects.get(pk=reef.pk)
    assert (stored.name, stored.note) == ("Theirs", "a note of theirs")


def test_saving_again_after_the_difference_keeps_what_only_the_other_changed(
    begun: make.Programme,
) -> None:
    client, reef = reader(Role.LEAD), begun.reef
    opened = form(client, address(reef))
    edit(begun.lead, reef, {"name": "Theirs", "note": "a note of theirs"})
    told = client.post(address(reef), {**opened, "name": "Mine"})
    again = filled_in(told.content.decode().partition('class="slip">')[2])
    assert again["name"] == "Mine"
    answer = client.post(address(reef), again)
    assert answer.status_code == 302, words_of(answer)
    stored = Reef.objects.get(pk=reef.pk)
    assert (stored.name, stored.note) == ("Mine", "a note of theirs")


def test_an_old_form_never_puts_an_old_value_back(begun: make.Programme) -> None:
    """Without its version, too: only what was changed in the form is sent on."""
    client, reef = reader(Role.LEAD), begun.reef
    opened = form(client, address(reef))
    edit(begun.lead, reef, {"name": "Theirs"})
    answer = client.post(address(reef), {**opened, "version": "", "note": "mine"})
    assert answer.status_code == 302
    stored = Reef.objects.get(pk=reef.pk)
    assert (stored.name, stored.note) == ("Theirs", "mine")


@pytest.mark.parametrize("was", ["", "nonsense", "[1, 2]", json.dumps({"no": "field"})])
def test_a_form_that_was_tampered_with_breaks_nothing(begun: make.Programme, was: str) -> None:
    answer = saved(reader(Role.LEAD), begun.reef, was=was, name="Still")
    assert answer.status_code == 302, words_of(answer)
    assert Reef.objects.get(pk=begun.reef.pk).name == "Still"


def test_edits_so_far_are_told_with_who_and_what(begun: make.Programme) -> None:
    edit(begun.lead, begun.reef, {"name": "Renamed once"})
    words = read(reader(Role.LEAD), address(begun.reef))
    assert "Edits so far" in words
    assert "Renamed once" in words
    assert begun.lead.name in words


@pytest.mark.parametrize(
    ("role", "register", "status"),
    [
        (Role.VIEWER, "colonies", 403),
        (Role.FIELD, "colonies", 200),
        (Role.FIELD, "permits", 403),
        (Role.NURSERY, "structures", 200),
        (Role.NURSERY, "genets", 403),
        (Role.LEAD, "permits", 200),
    ],
)
def test_the_form_is_open_to_those_who_may_keep_the_register(
    begun: make.Programme, role: Role, register: str, status: int
) -> None:
    client = reader(role, at=begun.nursery)
    assert client.get(f"/register/{register}/new/").status_code == status


def test_staff_of_another_nursery_may_not_edit_a_plate(begun: make.Programme) -> None:
    other = make.nursery(begun.lead)
    answer = saved(reader(Role.NURSERY, at=other), begun.plate, name="Taken over")
    assert answer.status_code == 403
    assert Structure.objects.get(pk=begun.plate.pk).name != "Taken over"


def test_the_way_to_the_form_is_shown_to_whom_it_is_open(begun: make.Programme) -> None:
    at = f"/reefs/{begun.reef.code}/"
    assert address(begun.reef) in reader(Role.LEAD).get(at).content.decode()
    assert "/register/" not in reader(Role.VIEWER).get(at).content.decode()


@pytest.mark.parametrize("at", ["/register/nothing/new/", "/register/reefs/NOSUCH/"])
def test_what_there_is_not_is_told(begun: make.Programme, at: str) -> None:
    assert reader(Role.LEAD).get(at).status_code == 404


def test_a_form_costs_the_same_however_much_there_is(begun: make.Programme) -> None:
    permit: Any = make.permit(begun.lead)
    client = reader(Role.LEAD)
    few = cost(client, address(permit))
    for number in range(5):
        edit(begun.lead, Permit.objects.get(pk=permit.pk), {"title": f"Title {number}"})
        make.reef(begun.lead)
    assert cost(client, address(permit)) == few <= 12
