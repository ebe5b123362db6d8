"""The pages of manifests: the list, a draft, and one with its audit and sign-off."""

from __future__ import annotations

import uuid
from typing import Any

import pytest
from django.test import Client

from nursery.core.actor import Role
from nursery.core.inputs import read as read_input
from nursery.diversity.models import Audit, Override, SignOff
from nursery.lineage.models import Ramet
from nursery.outplanting import actions
from nursery.outplanting.inputs import LinesIn
from nursery.outplanting.manifests import lines
from nursery.outplanting.models import Manifest, Outplant, Stage
from tests import factories as f
from tests.lineage.ends import end
from tests.pages import cost, main_of, read, reader, words_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def children(programme: f.Programme) -> list[Ramet]:
    return f.cut(programme.lead, [programme.mother()], 4, into=programme.plate)


@pytest.fixture
def client(programme: f.Programme) -> Client:
    return reader(Role.LEAD)


def page(manifest: Manifest) -> str:
    return f"/manifests/{manifest.code}/"


def press(client: Client, manifest: Manifest, act: str, **values: Any) -> str:
    """Press a button of the manifest's page; gives what the next page says."""
    response = client.post(page(manifest), {"act": act, **values}, follow=True)
    return words_of(response)


def now(manifest: Manifest) -> Stage:
    return Stage(Manifest.objects.get(pk=manifest.pk).stage)


def test_a_draft_is_typed_once(programme: f.Programme, children: list[Ramet]) -> None:
    client = reader(Role.FIELD)
    assert "Name what is to be planted" in read(client, "/manifests/new/")
    typed = {
        "uid": str(uuid.uuid4()),
        "title": "First day",
        "planned": "2999-01-01",
        "plot": programme.plot.code,
        "lines": f"{children[0].code}\n{children[1].code}, {programme.plate.code}",
    }
    wrong = client.post("/manifests/new/", typed)
    assert wrong.status_code == 400
    assert "There is no ramet" in words_of(wrong)
    assert children[0].code in wrong.content.decode()
    typed["lines"] = f"{children[0].code}\n{children[1].code}"
    for _ in range(2):
        answer = client.post("/manifests/new/", typed)
        made = Manifest.objects.get()
        assert answer["Location"] == page(made)
    assert lines(made).count() == 2
    assert "2 ramets for" in read(client, page(made))


def test_ramets_that_are_picked_from_their_list_are_drafted(
    client: Client, children: list[Ramet]
) -> None:
    picked = ",".join(ramet.code for ramet in children[:2])
    answer = client.get("/ramets/", {"act": "manifest", "pick": picked}, follow=True)
    page = answer.content.decode()
    assert f"{children[0].code}\n{children[1].code}</textarea>" in page


def test_ramets_are_grouped_by_genet_and_plate(
    client: Client, programme: f.Programme, children: list[Ramet]
) -> None:
    found = f.manifest(programme.lead, programme.plot, children)
    said = read(client, page(found))
    genet = programme.colony.genet
    assert f"{programme.plot.code} " in said
    assert str(genet) in said
    assert f"{programme.plate.code} 4" in said
    f.move(programme.lead, [{"ramet": children[0].code}], packed=True)
    assert "packed 1" in read(client, page(found))


def test_an_audit_is_read_by_word_and_mark(
    client: Client, programme: f.Programme, children: list[Ramet]
) -> None:
    f.rule(programme.lead, "genets_of_site", 2)
    f.rule(programme.lead, "quarantine", 30)
    f.rule(programme.lead, "donor_reefs", 1)
    found = f.manifest(programme.lead, programme.plot, children)
    assert "It was not audited yet." in read(client, page(found))
    said = press(client, found, "audit")
    assert "1 rule fails, 1 warns, 3 hold, of 4 ramets by the policy of 1 June 2021." in said
    assert "Genets on the site ✗ fails at least 2\xa0genets".replace("\xa0", " ") in said
    assert "Days in quarantine ! warns at least 30 days" in said
    assert "not recorded" in said
    assert "Reefs that the donors are from ✓ holds at least 1 reefs 1 1" in said


def test_a_lead_signs_off_all_the_same_with_a_reason(
    client: Client, programme: f.Programme, children: list[Ramet]
) -> None:
    f.rule(programme.lead, "genets_of_site", 2)
    found = f.manifest(programme.lead, programme.plot, children)
    press(client, found, "audit")
    seen = Audit.objects.get()
    sent = {"audit": seen.pk, "stock": seen.stock}
    assert "Give the reason" in press(client, found, "sign", **sent).replace("give", "Give")
    assert now(found) is Stage.AUDITED
    sent[f"why:genets_of_site:{programme.taxon.code}"] = "The first of ten days."
    said = press(client, found, "sign", **sent)
    assert "Signed off. It may be planted." in said
    assert "The first of ten days." in said
    assert (Override.objects.count(), now(found)) == (1, Stage.SIGNED)


def test_only_leads_are_offered_to_sign(
    programme: f.Programme, children: list[Ramet], client: Client
) -> None:
    found = f.manifest(programme.lead, programme.plot, children)
    press(client, found, "audit")
    assert "Sign it off" in read(client, page(found))
    for role in (Role.FIELD, Role.VIEWER):
        assert "Sign it off" not in read(reader(role), page(found))
    assert "Audit it again" not in read(reader(Role.VIEWER), page(found))
    field = reader(Role.FIELD)
    seen = Audit.objects.get()
    answer = field.post(page(found), {"act": "sign", "audit": seen.pk, "stock": seen.stock})
    assert answer.status_code == 403
    assert not SignOff.objects.exists()


def test_the_page_says_what_changed_since_the_sign_off(
    client: Client, programme: f.Programme, children: list[Ramet]
) -> None:
    found = f.manifest(programme.lead, programme.plot, children[:3])
    f.signed(programme.lead, found)
    end(programme.lead, children[:1], when="2021-05-01")
    said = read(client, page(found))
    assert "Since the sign-off: 1 not living any more" in said
    assert "Plant of it" not in said
    said = press(client, found, "audit")
    assert "Audited again: the sign-off stands." in said
    assert "Plant of it, dive by dive" in said


def test_ramets_are_put_on_taken_off_and_swapped(
    client: Client, programme: f.Programme, children: list[Ramet]
) -> None:
    found = f.manifest(programme.lead, programme.plot, children[:2])
    press(client, found, "lines", add=children[2].code, plot=programme.plot.code)
    press(client, found, "lines", remove=children[0].code)
    press(client, found, "swap", off=children[1].code, on=children[3].code)
    on = set(lines(found).values_list("ramet__code", flat=True))
    assert on == {children[2].code, children[3].code}
    said = press(client, found, "swap", off=children[2].code, on="")
    assert "Name as many that go on as that come off" in said
    assert press(client, found, "dance").count("not_a_choice") == 1


def test_a_cancelled_manifest_offers_nothing_more(
    client: Client, programme: f.Programme, children: list[Ramet]
) -> None:
    found = f.manifest(programme.lead, programme.plot, children)
    said = press(client, found, "cancel", reason="Storm")
    assert "it was cancelled" in said
    assert "Change it" not in said


def test_the_list_says_how_far_each_has_come(
    client: Client, programme: f.Programme, children: list[Ramet]
) -> None:
    assert "The list of what a boat is to plant belongs here." in read(client, "/manifests/")
    found = f.manifest(programme.lead, programme.plot, children[:2], title="First day")
    f.signed(programme.lead, found)
    f.planting(programme.lead, programme.plot, children[:1], manifest=found.code)
    said = read(client, "/manifests/")
    assert "1 manifest" in said
    assert "signed off, partly planted 2 1" in said


def test_an_earlier_audit_has_a_page_of_its_own(
    client: Client, programme: f.Programme, children: list[Ramet]
) -> None:
    f.rule(programme.lead, "genets_of_site", 1)
    found = f.manifest(programme.lead, programme.plot, children)
    first = f.diversity.audit(programme.lead, found)
    f.diversity.audit(programme.lead, found)
    address = f"{page(found)}audits/{first.pk}/"
    assert f'href="{address}"' in main_of(client, page(found))
    said = read(client, address)
    assert first.stock in said
    assert "Genets on the site: 1" in said
    read(client, f"{page(found)}audits/99999/", status=404)


def test_a_dive_is_planted_of_its_manifest(
    client: Client, programme: f.Programme, children: list[Ramet]
) -> None:
    found = f.manifest(programme.lead, programme.plot, children[:2])
    f.signed(programme.lead, found)
    address = f"/dive/?manifest={found.code}"
    said = read(client, address)
    assert "2 ramets are aboard." in said
    assert "Planted of manifest" in said
    typed = {
        "uid": str(uuid.uuid4()),
        "when": f.PLANTED,
        "done_by": "Ana",
        f"did:{children[0].code}": "planted",
    }
    assert client.post(address, typed).status_code == 302
    assert Outplant.objects.get().outplanting.manifest == found
    assert "1 ramet is aboard." in read(client, address)


def test_pages_take_a_constant_number_of_queries(
    client: Client, programme: f.Programme, children: list[Ramet]
) -> None:
    f.rule(programme.lead, "genets_of_site", 1)
    found = f.manifest(programme.lead, programme.plot, children[:1])
    f.signed(programme.lead, found)
    before = [cost(client, address) for address in (page(found), "/manifests/")]
    more = f.cut(programme.lead, programme.mothers(), 30, into=programme.tray)
    f.manifest(programme.lead, programme.plot, children[1:])
    f.rule(programme.lead, "largest_share", 100)
    given = {"plot": programme.plot.code, "add": [{"ramet": ramet.code} for ramet in more]}
    actions.change_lines(programme.lead, found, read_input(LinesIn, given))
    f.signed(programme.lead, found)
    assert [cost(client, address) for address in (page(found), "/manifests/")] == before


def test_an_unknown_manifest_is_told(client: Client) -> None:
    read(client, "/manifests/M9999/", status=404)
