"""Today: what stands, and what needs a hand."""

import re
from datetime import timedelta

import pytest
from django.test import Client
from pytest_django import Settings

from nursery.core.actor import Role
from nursery.core.dates import latest_today
from nursery.diversity.today import READY_DAYS
from tests import factories as make
from tests.factories import Programme
from tests.pages import cost, main_of, read, reader

pytestmark = pytest.mark.django_db


@pytest.fixture
def client(db: None) -> Client:
    return reader(Role.VIEWER)


def in_days(days: int) -> str:
    return (latest_today() + timedelta(days=days)).isoformat()


def quiet(programme: Programme) -> str:
    """A permit that covers the collections of a test, so that no flag stands in the way."""
    return make.permit(programme.lead).code


def test_the_first_sentence_counts_what_lives(programme: Programme, client: Client) -> None:
    programme.outplants(3)
    make.collection(programme.lead, programme.colony, count=2)
    said = read(client, "/")
    assert "6 ramets live, of 1 genet: 1 in 1 nursery, 3 on 1 site and 2 packed" in said


def test_ramets_without_a_place_need_a_hand(programme: Programme, client: Client) -> None:
    make.cut(programme.lead, [programme.mother()], 2)
    assert "2 ramets live without a place" in read(client, "/")
    assert 'href="/ramets/?life=living&amp;place=nowhere"' in main_of(client, "/")
    assert "2 ramets with life living and place nowhere." in read(
        client, "/ramets/?life=living&place=nowhere"
    )


def test_permits_that_lapse_are_told_in_time(programme: Programme, client: Client) -> None:
    lead = programme.lead
    soon = make.permit(lead, valid_until=in_days(60))
    gone = make.permit(lead, valid_until=in_days(-1))
    far = make.permit(lead, valid_until=in_days(61))
    closed = make.permit(lead, valid_until=in_days(-9), closed_on=in_days(-1))
    said = read(client, "/")
    assert f"Permit {soon.code} lapses on" in said
    assert "in 60 days" in said
    assert f"Permit {gone.code} lapsed on" in said
    assert far.code not in said
    assert closed.code not in said
    assert said.index(gone.code) < said.index(soon.code)


def test_collections_with_flags_are_named(programme: Programme, client: Client) -> None:
    row = make.collection(programme.lead, programme.colony)
    make.collection(programme.lead, programme.colony, permits=[quiet(programme)])
    said = read(client, "/")
    assert "1 collection has a flag" in said
    assert "No permit is named for this." in said
    assert f'href="/events/{row.event.uid}/"' in main_of(client, "/")


def plant(programme: Programme, *counts: int) -> None:
    for count in counts:
        colony = make.colony(programme.lead, programme.taxon, programme.reef)
        mothers = make.mothers(programme.lead, colony, programme.tray, permits=[quiet(programme)])
        make.planting(programme.lead, programme.plot, make.cut(programme.lead, mothers, count))


def test_a_genet_that_holds_more_than_half_of_a_site_is_told(
    programme: Programme, client: Client
) -> None:
    plant(programme, 2, 1)
    said = read(client, "/")
    assert f"One genet holds 67 % of {programme.site.name}" in said
    assert "2 of its 3 living ramets are" in said


def test_a_genet_that_holds_just_half_is_not_told(programme: Programme, client: Client) -> None:
    plant(programme, 2, 2)
    assert "One genet holds" not in read(client, "/")


def test_genets_with_one_living_ramet_are_named(programme: Programme, client: Client) -> None:
    programme.mother(permits=[quiet(programme)])
    said = read(client, "/")
    assert "1 genet has only one living ramet" in said
    assert programme.colony.genet.code in said
    assert 'href="/genets/?living=1"' in main_of(client, "/")


def test_a_record_that_needs_no_hand_says_so(programme: Programme, client: Client) -> None:
    here = make.programme()
    permit = [quiet(programme)]
    for tray in (programme.tray, here.tray):
        held = make.mothers(programme.lead, programme.colony, tray, 3, permits=permit)
        make.check(programme.lead, dict.fromkeys(held, "attached"))
    assert "Nothing that the record knows of." in read(client, "/")


def test_genets_at_risk_lead_to_where_they_are_kept(programme: Programme, client: Client) -> None:
    programme.mothers(2, permits=[quiet(programme)])
    said = read(client, "/")
    assert "1 genet is at risk" in said
    assert "1 have fewer than 5 living ramets and 1 live in one water alone." in said
    assert 'href="/genets/matrix/?risk=1"' in main_of(client, "/")


def test_structures_that_nobody_has_looked_at_are_due(
    programme: Programme, client: Client, settings: Settings
) -> None:
    (mother,) = programme.mothers(1)
    assert "1 structure is due for a check" in read(client, "/")
    assert f"{settings.CHECK_DUE_DAYS} days ago or more, and nobody has looked since." in read(
        client, "/"
    )
    make.check(programme.lead, {mother: "attached"})
    assert "due for a check" not in read(client, "/")


def test_cuttings_that_are_old_enough_are_ready_to_plant(
    programme: Programme, client: Client
) -> None:
    mothers = programme.mothers(1)
    make.cut(programme.lead, mothers, 3, into=programme.tray, when=in_days(-READY_DAYS))
    make.cut(programme.lead, mothers, 5, into=programme.tray, when=in_days(1 - READY_DAYS))
    kept = [{"purpose": "broodstock"}]
    make.cut(programme.lead, mothers, children=kept, into=programme.tray)
    said = read(client, "/")
    assert f"3 cuttings live in the nurseries, for production, cut {READY_DAYS} days ago" in said
    html = main_of(client, "/")
    href = re.search(r'href="(/ramets/[^"]*origin=cut[^"]*)"', html)
    assert href is not None
    assert "3 ramets with" in read(client, href.group(1).replace("&amp;", "&"))


def test_nothing_is_ready_where_nothing_was_cut(programme: Programme, client: Client) -> None:
    programme.mothers(1)
    assert "Ready to plant" not in read(client, "/")


def test_what_was_entered_last_is_shown(programme: Programme, client: Client) -> None:
    mother = programme.mother(done_by=["Ana Reyes"])
    html = main_of(client, "/")
    assert f'href="/events/{mother.born.uid}/"' in html
    assert "Ana Reyes" in html


def test_a_large_programme_costs_as_many_queries_as_a_small_one(
    programme: Programme, client: Client
) -> None:
    def work() -> None:
        permit = make.permit(
            programme.lead, pieces="50", valid_until=in_days(9), taxa=[programme.taxon.code]
        )
        site = make.site(programme.lead)
        plot = make.plot(programme.lead, site)
        colony = make.colony(programme.lead, programme.taxon, programme.reef)
        mothers = make.mothers(programme.lead, colony, programme.tray, permits=[permit.code])
        make.planting(programme.lead, plot, make.cut(programme.lead, mothers, 3))

    work()
    few = cost(client, "/")
    for _ in range(5):
        work()
    assert few == cost(client, "/") == 27
