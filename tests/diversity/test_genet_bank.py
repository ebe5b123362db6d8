"""The programme's genets: where they live, which are at risk, which are gone and how."""

from __future__ import annotations

import csv
import io
from datetime import date

import pytest
from django.test import Client

from nursery.core.actor import Role
from nursery.core.dates import When
from nursery.core.errors import NotAllowed
from nursery.diversity.bank import genet_bank
from nursery.diversity.lost import gone
from nursery.diversity.risk import Risk, keeping
from nursery.donors.models import DonorColony, Genet
from nursery.lineage.words import Cause, Life
from tests import factories as f
from tests.factories import Programme
from tests.pages import cost, main_of, read, reader
from tests.refusals import refused

pytestmark = pytest.mark.django_db
PAGE = "/genets/matrix/"


@pytest.fixture
def client(db: None) -> Client:
    return reader(Role.VIEWER)


def lost_on_the_reef(programme: Programme, *causes: str) -> DonorColony:
    """A genet of two planted ramets, seen dead one after the other; its mother is used up."""
    lead = programme.lead
    colony = f.colony(lead, programme.taxon, programme.reef)
    mothers = f.mothers(lead, colony, programme.tray)
    children = f.cut(lead, [], len(causes), used_up=mothers)
    f.planting(lead, programme.plot, children)
    for month, child in enumerate(children, start=8):
        f.visit(lead, programme.site, {child: "dead"}, when=f"2021-{month:02d}-01")
    return colony


def file_of(client: Client, address: str) -> list[dict[str, str]]:
    answer = client.get(address)
    assert answer.status_code == 200
    return list(csv.DictReader(io.StringIO(answer.getvalue().decode())))


# Lost


def test_a_lost_genet_is_told_with_the_end_of_its_last_ramet(programme: Programme) -> None:
    colony = lost_on_the_reef(programme, "", "")
    (row,) = gone(programme.lead)
    assert (row.genet, row.ramets, row.how) == (colony.genet, 3, Life.DEAD)
    assert row.ended == When(date(2021, 9, 1), date(2021, 9, 1))


def test_a_cause_that_was_seen_is_told(programme: Programme) -> None:
    lead = programme.lead
    colony = f.colony(lead, programme.taxon, programme.reef)
    (mother,) = f.mothers(lead, colony, programme.tray)
    finding = {"ramet": mother.code, "state": "dead", "cause": "disease"}
    f.check(lead, {}, findings=[finding])
    (row,) = gone(lead)
    assert (row.how, row.cause) == (Life.DEAD, Cause.DISEASE)


def test_a_later_look_at_the_dead_makes_no_later_end(programme: Programme) -> None:
    lost_on_the_reef(programme, "")
    dead = programme.site.plots.get().ramets.model.objects.filter(
        outplants__outplanting__plot__site=programme.site
    )
    f.visit(programme.lead, programme.site, dict.fromkeys(dead, "dead"), when="2022-05-01")
    (row,) = gone(programme.lead)
    assert row.ended == When(date(2021, 8, 1), date(2021, 8, 1))


def test_a_genet_with_one_ramet_left_is_not_lost(programme: Programme) -> None:
    lost_on_the_reef(programme, "", "")
    children = programme.outplants(2)
    f.visit(programme.lead, programme.site, {children[0]: "dead"})
    assert programme.colony.genet not in [row.genet for row in gone(programme.lead)]


def test_a_genet_that_never_had_a_ramet_is_not_lost(programme: Programme) -> None:
    f.genet(programme.lead, programme.taxon)
    assert gone(programme.lead) == []


def test_a_genet_lives_on_in_what_it_was_merged_with(programme: Programme) -> None:
    lost = lost_on_the_reef(programme, "")
    other = f.colony(programme.lead, programme.taxon, programme.reef)
    f.mothers(programme.lead, other, programme.tray)
    Genet.objects.filter(pk=lost.genet_id).update(canonical=other.genet)
    assert gone(programme.lead) == []


def test_merged_genets_are_lost_as_one(programme: Programme) -> None:
    first, second = (lost_on_the_reef(programme, "") for _ in range(2))
    Genet.objects.filter(pk=first.genet_id).update(canonical=second.genet)
    (row,) = gone(programme.lead)
    assert (row.genet, row.ramets) == (second.genet, 4)


# At risk


def test_how_many_are_few_is_asked_for(programme: Programme) -> None:
    programme.outplants(3)
    assert keeping(programme.lead, enough=4).rows[0].risks == ()
    assert keeping(programme.lead, enough=5).rows[0].risks == (Risk.FEW,)


def test_ramets_are_counted_by_system_too(programme: Programme) -> None:
    lead = programme.lead
    other = f.tray(lead, f.bay(lead, programme.nursery))
    f.mothers(lead, programme.colony, programme.tray, 2)
    f.mothers(lead, programme.colony, other, 3)
    (row,) = keeping(lead).rows
    assert other.bay is not None
    assert row.by_water == {programme.bay.system.code: 2, other.bay.system.code: 3}
    assert row.by_nursery == {programme.nursery.code: 5}


# Page, files and API


def test_the_page_tells_what_was_lost(programme: Programme, client: Client) -> None:
    colony = lost_on_the_reef(programme, "")
    said = read(client, PAGE)
    assert "1 genet has ramets in the record and no ramet alive." in said
    assert f"{colony.genet.code}" in said
    assert "1 August 2021 dead" in said


def test_the_page_counts_by_system_and_by_another_number(
    programme: Programme, client: Client
) -> None:
    f.mothers(programme.lead, programme.colony, programme.tray, 6)
    system = programme.bay.system.code
    html = main_of(client, f"{PAGE}?by=system&ordering=-system:{system}")
    assert 'aria-sort="descending"' in html
    assert "few: 6" not in read(client, PAGE)
    said = read(client, f"{PAGE}?few=7")
    assert "▼ few: 6" in said
    assert "1 have fewer than 7 living ramets" in said


@pytest.mark.parametrize(
    ("query", "code"),
    [
        ("few=0", "not_a_number"),
        ("few=many", "not_a_number"),
        ("few=99999999999", "not_a_number"),
        ("by=colour", "not_a_choice"),
        ("ordering=system:NONE", "unknown_ordering"),
    ],
)
def test_what_is_not_understood_is_refused(client: Client, query: str, code: str) -> None:
    assert code in read(client, f"{PAGE}?{query}", 400)


def test_the_files_hold_what_lives_and_what_is_lost(programme: Programme, client: Client) -> None:
    lost = lost_on_the_reef(programme, "")
    f.mothers(programme.lead, programme.colony, programme.tray, 2)
    (row,) = file_of(client, "/genet-bank.csv?few=3")
    assert (row["genet"], row["living"]) == (programme.colony.genet.code, "2")
    assert row["risks"] == "few one_water"
    assert row[f"system:{programme.bay.system.code}"] == "2"
    (gone_row,) = file_of(client, "/lost-genets.csv")
    assert gone_row["genet"] == lost.genet.code
    assert (gone_row["ended"], gone_row["how"]) == ("2021-08-01", "dead")


def test_the_page_leads_to_files_of_what_it_shows(programme: Programme, client: Client) -> None:
    programme.outplants(1)
    html = main_of(client, f"{PAGE}?few=7&risk=1")
    assert 'href="/genet-bank.csv?few=7"' in html


def test_the_api_tells_the_same(programme: Programme) -> None:
    lost = lost_on_the_reef(programme, "")
    f.mothers(programme.lead, programme.colony, programme.tray, 2)
    body = f.client(Role.VIEWER).get("/api/genet-bank/", {"few": "3"}).json()
    assert (body["few"], body["at_risk"]) == (3, 1)
    (row,) = body["genets"]
    assert row["by_system"] == {programme.bay.system.code: 2}
    assert row["risks"] == ["few", "one_water"]
    (gone_row,) = body["lost"]
    assert gone_row["genet"] == lost.genet.code
    assert (gone_row["ended"], gone_row["how"]) == ("2021-08-01", "dead")
    answer = f.client(Role.VIEWER).get("/api/genet-bank/", {"few": "none"})
    assert (answer.status_code, answer.json()["code"]) == (400, "not_a_number")


def test_many_genets_cost_as_many_queries_as_one(programme: Programme, client: Client) -> None:
    lost_on_the_reef(programme, "")
    f.mothers(programme.lead, programme.colony, programme.tray)
    few = cost(client, PAGE)
    for _ in range(3):
        lost_on_the_reef(programme, "", "")
        colony = f.colony(programme.lead, programme.taxon, programme.reef)
        f.mothers(programme.lead, colony, programme.tray)
    assert few == cost(client, PAGE)


def test_nobody_without_a_role_is_told() -> None:
    nobody = f.actor()
    with refused("no_role", by=NotAllowed):
        genet_bank(nobody)
    with refused("no_role", by=NotAllowed):
        gone(nobody)
