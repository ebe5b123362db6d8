"""The back office of registers and records: for leads, through the actions, nothing deleted."""

import pytest
from django.apps import apps
from django.contrib import admin
from django.test import Client

from nursery.core.actor import Role
from nursery.core.models import Change, Register
from nursery.donors.models import DonorColony, Genet, Permit
from nursery.places.models import Nursery, Plot, Reef, Structure
from tests import factories as make
from tests.factories import Programme
from tests.pages import reader, words_of

pytestmark = pytest.mark.django_db

REGISTERS = [
    model
    for model in apps.get_models()
    if issubclass(model, Register) and model._meta.app_label in ("places", "donors")
]
RECORDS = [
    "core/event",
    "core/change",
    "core/codeseries",
    "places/structurestep",
    "donors/collection",
    "lineage/ramet",
    "lineage/step",
    "lineage/tag",
    "lineage/fragmentation",
    "lineage/source",
    "lineage/intake",
    "lineage/stockentry",
    "outplanting/outplanting",
    "outplanting/outplant",
    "outplanting/visit",
    "outplanting/observation",
]


@pytest.fixture
def office() -> Client:
    """A lead at work in the back office."""
    return reader(Role.LEAD, staff=True)


def page(model: type[Register], row: Register | None = None) -> str:
    base = f"/admin/{model._meta.app_label}/{model._meta.model_name}/"
    return f"{base}{row.pk}/change/" if row is not None else f"{base}add/"


def filled(client: Client, address: str, **changed: str) -> dict[str, str]:
    """What the form at the address would send, with some of its fields changed."""
    form = client.get(address).context["adminform"].form
    values = {}
    for name, field in form.fields.items():
        value = form.get_initial_for_field(field, name)
        shown = field.prepare_value(value)
        values[name] = "" if shown is None else shown
    return {**values, **changed}


@pytest.mark.parametrize("model", REGISTERS)
def test_every_register_is_listed_searched_and_entered(
    programme: Programme, office: Client, model: type[Register]
) -> None:
    make.permit(programme.lead)
    row = model._default_manager.first()
    assert row is not None
    folder = f"/admin/{model._meta.app_label}/{model._meta.model_name}/"
    assert office.get(folder).status_code == 200
    assert row.code in words_of(office.get(folder, {"q": row.code}))
    assert office.get(page(model)).status_code == 200
    assert office.get(page(model, row)).status_code == 200
    assert office.get(f"{folder}{row.pk}/history/").status_code == 200


@pytest.mark.parametrize("record", RECORDS)
def test_records_are_only_shown(programme: Programme, office: Client, record: str) -> None:
    ramet = programme.outplants()[0]
    make.visit(programme.lead, programme.site, {ramet: "alive"})
    make.stock(programme.lead, programme.nursery, [{"taxon": programme.taxon.code, "tag": "T-1"}])
    model = apps.get_model(record.replace("/", "."))
    row = model._default_manager.first()
    assert row is not None
    assert office.get(f"/admin/{record}/").status_code == 200
    assert office.get(f"/admin/{record}/", {"q": "x"}).status_code == 200
    shown = office.get(f"/admin/{record}/{row.pk}/change/")
    assert shown.status_code == 200
    assert 'name="_save"' not in shown.content.decode()
    assert office.get(f"/admin/{record}/add/").status_code == 403
    assert office.post(f"/admin/{record}/{row.pk}/change/", {"_save": "1"}).status_code == 403


def test_nothing_of_the_record_is_deleted_anywhere(programme: Programme, office: Client) -> None:
    for model, keeper in admin.site._registry.items():
        if model._meta.app_label in ("access", "auth"):
            continue
        row = model._default_manager.first()
        if row is not None:
            address = f"/admin/{model._meta.app_label}/{model._meta.model_name}/{row.pk}/delete/"
            assert office.get(address).status_code == 403, model
        assert keeper.actions is None


@pytest.mark.parametrize("role", [Role.VIEWER, Role.FIELD, Role.NURSERY])
@pytest.mark.parametrize("address", ["/admin/places/reef/", "/admin/lineage/ramet/"])
def test_staff_who_do_not_lead_are_kept_out(programme: Programme, role: Role, address: str) -> None:
    client = reader(role, at=programme.nursery, staff=True)
    assert client.get(address).status_code == 403


def test_a_lead_who_is_not_staff_is_told_why() -> None:
    answer = reader(Role.LEAD).get("/admin/", follow=True)
    assert answer.status_code == 403
    assert "The back office is for programme leads whose log-in is marked as staff." in words_of(
        answer
    )


def test_who_is_not_logged_in_is_led_to_the_one_log_in() -> None:
    answer = Client().get("/admin/places/reef/", follow=True)
    assert answer.redirect_chain[-1][0] == "/login/?next=/admin/places/reef/"


def test_a_register_is_entered_through_its_action(office: Client) -> None:
    values = {"code": "wn", "name": "Windrose", "latitude": "7°15′ N", "longitude": "134.5"}
    answer = office.post(page(Reef), values)
    assert answer.status_code == 302, words_of(answer)
    reef = Reef.objects.get(code="WN")
    assert str(reef.latitude) == "7.250000"
    change = Change.objects.get(register="places.reef", code="WN")
    assert change.by.username in words_of(office.get(f"/admin/places/reef/{reef.pk}/history/"))


def test_an_edit_keeps_who_when_before_and_after(programme: Programme, office: Client) -> None:
    reef = programme.reef
    answer = office.post(page(Reef, reef), filled(office, page(Reef, reef), name="New name"))
    assert answer.status_code == 302, words_of(answer)
    change = Change.objects.filter(register="places.reef", row_id=reef.pk).first()
    assert change is not None
    assert (change.before, change.after) == ({"name": reef.name}, {"name": "New name"})
    said = words_of(office.get(f"/admin/places/reef/{reef.pk}/history/"))
    assert f"name {reef.name} New name" in said


def test_a_refusal_is_shown_at_its_field_and_stores_nothing(
    programme: Programme, office: Client
) -> None:
    given = {"code": programme.reef.code, "name": "Twice"}
    answer = office.post(page(Reef), given)
    assert answer.status_code == 200
    errors = answer.context["adminform"].form.errors
    assert errors["code"] == [f"reef {programme.reef.code} exists already."]
    assert not Reef.objects.filter(name="Twice").exists()


def test_a_measure_that_cannot_be_read_is_shown_at_its_field(
    programme: Programme, office: Client
) -> None:
    given = {"code": "P9", "site": str(programme.site.pk), "depth_m": "deep"}
    errors = office.post(page(Plot), given).context["adminform"].form.errors
    assert list(errors) == ["depth_m"]
    office.post(page(Plot), {**given, "depth_m": "12 ft"})
    assert str(Plot.objects.get(code="P9").depth_m) == "3.7"


def test_what_somebody_else_changed_meanwhile_is_not_overwritten(
    programme: Programme, office: Client
) -> None:
    mine = filled(office, page(Reef, programme.reef), name="Mine")
    office.post(page(Reef, programme.reef), {**mine, "name": "Theirs"})
    answer = office.post(page(Reef, programme.reef), mine)
    assert answer.status_code == 200
    assert "was changed by somebody else" in words_of(answer)
    assert Reef.objects.get(pk=programme.reef.pk).name == "Theirs"


def test_a_nursery_gets_its_code_series(office: Client) -> None:
    values = {"code": "GULL", "name": "Gull Point", "kind": "land", "timezone": "UTC"}
    answer = office.post(page(Nursery), {**values, "series": "qx"})
    assert answer.status_code == 302, words_of(answer)
    assert str(Nursery.objects.get(code="GULL").series) == "QX"


def test_blocked_cells_are_written_as_text(office: Client) -> None:
    values = {"code": "K-1", "kind": "plate", "rows": "3", "columns": "3", "blocked": "A1 C1:C2"}
    answer = office.post(page(Structure), values)
    assert answer.status_code == 302, words_of(answer)
    plate = Structure.objects.get(code="K-1")
    assert plate.blocked == ["A1", "C1", "C2"]
    assert filled(office, page(Structure, plate))["blocked"] == "A1 C1 C2"


def test_a_cell_in_which_something_lives_is_not_blocked(
    programme: Programme, office: Client
) -> None:
    make.cut(programme.lead, [programme.mother()], into=programme.plate)
    address = page(Structure, programme.plate)
    answer = office.post(address, filled(office, address, blocked="A1"))
    assert answer.status_code == 200
    assert Structure.objects.get(pk=programme.plate.pk).blocked == []


def test_a_permit_names_its_taxa(programme: Programme, office: Client) -> None:
    values = {"code": "MR-1", "title": "Collection", "authority": "Invented Authority"}
    answer = office.post(page(Permit), {**values, "taxa": [str(programme.taxon.pk)]})
    assert answer.status_code == 302, words_of(answer)
    assert list(Permit.objects.get(code="MR-1").taxa.all()) == [programme.taxon]


def test_a_new_colony_brings_its_presumed_genet(programme: Programme, office: Client) -> None:
    values = {
        "code": "PR-77",
        "taxon": str(programme.taxon.pk),
        "reef": str(programme.reef.pk),
    }
    answer = office.post(page(DonorColony), values)
    assert answer.status_code == 302, words_of(answer)
    assert DonorColony.objects.get(code="PR-77").genet == Genet.objects.get(code="G-PR-77")


def test_no_exact_position_is_in_the_back_office(programme: Programme, office: Client) -> None:
    colony = make.colony(
        programme.lead,
        programme.taxon,
        programme.reef,
        latitude="7.1234567",
        longitude="134.7654321",
    )
    assert "position" not in {model._meta.model_name for model in admin.site._registry}
    form = office.get(page(DonorColony, colony)).context["adminform"].form
    assert not {"latitude", "longitude", "uncertainty_m"} & set(form.fields)
    for address in (
        "/admin/donors/donorcolony/",
        page(DonorColony, colony),
        f"/admin/donors/donorcolony/{colony.pk}/history/",
        "/admin/core/change/",
    ):
        assert "7.1234" not in office.get(address).content.decode()
    office.post(page(DonorColony, colony), filled(office, page(DonorColony, colony), name="Stair"))
    again = DonorColony.objects.get(pk=colony.pk)
    assert (again.name, again.rounded_latitude) == ("Stair", colony.rounded_latitude)
