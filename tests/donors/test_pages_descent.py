"""The picture of a whole descent: every cutting a dot, its numbers beside it, its gaps as gaps."""

import re

import pytest
from django.test import Client

from nursery.core.actor import Role
from nursery.lineage.branches import MOST_DRAWN
from nursery.lineage.queries.cuttings import cuttings
from nursery.lineage.queries.descent import of_donor
from tests import factories as make
from tests.factories import Programme
from tests.outplanting.reef import REPLANTED, lift
from tests.pages import cost, main_of, read, reader

pytestmark = pytest.mark.django_db


@pytest.fixture
def client(db: None) -> Client:
    return reader(Role.VIEWER)


def page_of(programme: Programme) -> str:
    return f"/colonies/{programme.colony.code}/descent/"


def test_a_colony_of_which_nothing_was_taken_says_what_belongs_there(
    programme: Programme, client: Client
) -> None:
    said = read(client, page_of(programme))
    assert f"Nothing that comes from {programme.colony} is in the record." in said
    assert "Cuttings belong here." in said


def test_every_cutting_is_told_with_what_became_of_it(programme: Programme, client: Client) -> None:
    mother = programme.mother()
    children = make.cut(programme.lead, [mother], 5)
    make.cut(programme.lead, [], 2, used_up=children[:1], when="2021-04-01")
    make.planting(programme.lead, programme.plot, children[1:4])
    make.visit(programme.lead, programme.site, {children[1]: "dead"})
    said = read(client, page_of(programme))
    assert (
        f"8 ramets come from {programme.colony} in 3 entries, up to generation 2: "
        "6 living, 1 dead, 1 ended otherwise; 3 planted." in said
    )
    for words in (
        "Collected 10 January 2021 from the wild 1 living",
        "Cut 1 March 2021 generation 1 3 living, 1 dead, 1 ended otherwise; 3 planted",
        "Cut 1 April 2021 generation 2 2 living",
    ):
        assert words in said
    assert f'href="/events/{children[0].born.uid}/"' in main_of(client, page_of(programme))


def test_a_pooled_cutting_joins_the_stems_of_its_mothers(
    programme: Programme, client: Client
) -> None:
    first = programme.mother()
    second = programme.mother(when="2021-01-11")
    other = make.colony(programme.lead, programme.taxon, programme.reef)
    (third,) = make.mothers(programme.lead, other, programme.tray)
    make.cut(programme.lead, [first, second, third], 4)
    html = main_of(client, page_of(programme))
    picture = html.partition('class="descent-key"')[0]
    assert picture.count('class="descent-stem"') == 3
    assert picture.count('class="descent-side"') == 1
    assert "generation 1, with 1 mother of other descent" in read(client, page_of(programme))


def test_what_was_not_recorded_hangs_on_a_gap(programme: Programme, client: Client) -> None:
    row = {"taxon": programme.taxon.code, "donors": [programme.colony.code]}
    make.stock(programme.lead, programme.nursery, [row, row])
    picture = main_of(client, page_of(programme)).partition('class="descent-key"')[0]
    assert picture.count('class="descent-gap"') == 1
    assert "Entered, cuttings not recorded, 10 January 2021" in read(client, page_of(programme))


def test_a_cutting_of_which_none_lives_is_hollow(programme: Programme, client: Client) -> None:
    (ramet,) = programme.outplants()
    picture = main_of(client, page_of(programme)).partition('class="descent-key"')[0]
    assert picture.count('class="descent-hollow"') == 0
    make.visit(programme.lead, programme.site, {ramet: "dead"})
    picture = main_of(client, page_of(programme)).partition('class="descent-key"')[0]
    assert picture.count('class="descent-hollow"') == 1


def test_many_cuttings_are_folded_by_a_rule_that_is_stated(
    programme: Programme, client: Client
) -> None:
    mother = programme.mother()
    for n in range(MOST_DRAWN):
        make.cut(programme.lead, [mother], 2, when=f"202{1 + n % 3}-0{1 + n % 9}-15")
    said = read(client, page_of(programme))
    assert f"There are more than {MOST_DRAWN} entries, so those of one generation in one" in said
    html = main_of(client, page_of(programme))
    # The wild fragment, and the first generation in three years.
    assert len(re.findall(r"<li>\s*<p>", html)) == 5
    assert "20\u00a0entries</a>, 2021" in html
    assert f'href="/ramets/?donor={programme.colony.code}&amp;generation=1"' in html


def test_the_numbers_behind_the_picture_add_up(programme: Programme) -> None:
    programme.outplants(7)
    found = cuttings(of_donor(programme.colony))
    assert [(row.word, row.tally.total, row.tally.planted) for row in found] == [
        ("collected", 1, 0),
        ("cut", 7, 7),
    ]


def test_a_ramet_that_was_lifted_and_planted_again_was_planted_once(
    programme: Programme,
) -> None:
    ramets = programme.outplants(2)
    lift(programme.lead, ramets[:1], programme.tray)
    make.planting(programme.lead, programme.plot, ramets[:1], when=REPLANTED)
    assert cuttings(of_donor(programme.colony))[1].tally.planted == 2


def test_a_genet_has_the_same_picture(programme: Programme, client: Client) -> None:
    programme.outplants(3)
    genet = programme.colony.genet
    said = read(client, f"/genets/{genet.code}/descent/")
    assert f"4 ramets come from {genet} in 2 entries" in said
    assert f'href="/genets/{genet.code}/descent/"' in main_of(client, f"/genets/{genet.code}/")


def test_the_page_of_a_colony_leads_to_its_picture(programme: Programme, client: Client) -> None:
    page = f"/colonies/{programme.colony.code}/"
    assert f'href="{page_of(programme)}"' in main_of(client, page)
    answer = client.get(page_of(programme).lower().replace("/colonies/c", "/colonies/C"))
    assert answer["Location"] == page_of(programme)


def test_a_long_descent_costs_as_many_queries_as_a_short_one(
    programme: Programme, client: Client
) -> None:
    programme.outplants()
    few = cost(client, page_of(programme))
    ramets = programme.mothers(3)
    for n in range(8):
        ramets = make.cut(programme.lead, ramets, 4, when=f"2021-0{n + 1}-20")
    make.planting(programme.lead, programme.plot, ramets, when="2021-10-01")
    assert few == cost(client, page_of(programme)) == 9
