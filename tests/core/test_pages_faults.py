"""What pages say where the framework itself refuses, and that no text becomes a mark of a page."""

import pytest
from django.test import Client

from nursery.core.actor import Role
from nursery.core.registers import edit
from nursery.donors.models import Genet
from tests import factories as make
from tests.pages import reader, words_of

pytestmark = pytest.mark.django_db

SHARP = "<img src=x onerror=alert(1)>\"'&"


def test_a_host_that_is_not_ours_is_told_so_in_our_look() -> None:
    answer = Client().get("/login/", headers={"host": "elsewhere.example"})
    assert answer.status_code == 400
    assert "This could not be understood" in words_of(answer)


def test_a_closed_part_of_the_back_office_is_told_so_in_our_look() -> None:
    answer = reader(Role.FIELD, staff=True).get("/admin/places/reef/")
    assert answer.status_code == 403
    assert "This is not open to you" in words_of(answer)


def test_a_missing_row_of_the_back_office_is_not_found_in_our_look() -> None:
    answer = reader(Role.LEAD, staff=True).get("/admin/places/reef/99/history/")
    assert answer.status_code == 404
    assert "There is no page at this address" in words_of(answer)


def test_what_people_write_never_becomes_a_part_of_the_page() -> None:
    lead = make.lead()
    reef = make.reef(lead, name=SHARP, note=SHARP)
    home = make.nursery(lead, name=SHARP)
    bay = make.bay(lead, home, name=SHARP)
    plate = make.structure(lead, bay, name=SHARP)
    taxon = make.taxon(lead, name=SHARP, group="zoanthid")
    site = make.site(lead, name=SHARP, reef=reef.code)
    plot = make.plot(lead, site, name=SHARP)
    permit = make.permit(lead, title=SHARP, authority=SHARP, valid_until="2021-01-01")
    colony = make.colony(lead, taxon, reef, name=SHARP, note=SHARP)
    edit(lead, Genet.objects.get(pk=colony.genet_id), {"name": SHARP})
    sharp = {"done_by": [SHARP], "note": SHARP}
    mothers = make.mothers(lead, colony, plate, permits=[permit.code], **sharp)
    child = {"tag": SHARP.upper(), "base": SHARP, "note": SHARP}
    (ramet,) = make.cut(lead, mothers, into=plate, children=[child], **sharp)
    make.cut(lead, mothers, into=plate)
    row = {"ramet": ramet.code, "position": SHARP, "cluster": SHARP}
    make.planting(lead, plot, [], outplants=[row], **sharp)
    seen = {"ramet": ramet.code, "condition": "alive", "note": SHARP}
    visit = make.visit(lead, site, {}, observations=[seen], **sharp)
    client = reader(Role.LEAD)
    for address in (
        "/",
        f"/find/?q={SHARP.replace('&', '%26')}",
        f"/find/?q={reef.code}x%3Cimg",
        f"/ramets/{ramet.code}/",
        "/ramets/%3Cimg/",
        f"/reefs/{reef.code}/",
        f"/nurseries/{home.code}/",
        f"/bays/{bay.code}/",
        f"/structures/{plate.code}/",
        f"/taxa/{taxon.code}/",
        f"/sites/{site.code}/",
        f"/plots/{plot.code}/",
        f"/permits/{permit.code}/",
        f"/colonies/{colony.code}/",
        f"/genets/{colony.genet.code}/",
        f"/events/{ramet.born.uid}/",
        f"/events/{visit.event.uid}/",
        "/genets/",
        "/collections/",
        "/colonies/?name=%3Cimg",
        "/colonies/?%3Cimg=1",
    ):
        html = client.get(address).content.decode()
        assert "<img" not in html.lower(), address
        assert "&lt;img" in html.lower() or address.endswith("x%3Cimg"), address
