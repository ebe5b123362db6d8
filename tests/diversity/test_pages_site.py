"""The page of a site: its number in a sentence, the look beside it, and what is not defined."""

import math
import re

import pytest
from django.test import Client

from nursery.core.actor import Role
from nursery.diversity.intervals import hill_interval
from nursery.diversity.values import NO_RAMETS, ONE_GENET, ONE_RAMET
from nursery.diversity.views.pictures import MOST_RANKED
from nursery.lineage.models import Ramet
from nursery.outplanting.actions import cancel
from tests import factories as make
from tests.factories import Programme
from tests.pages import cost, main_of, read, reader

pytestmark = pytest.mark.django_db


@pytest.fixture
def client(db: None) -> Client:
    return reader(Role.VIEWER)


def plant(programme: Programme, *counts: int) -> list[list[Ramet]]:
    """So many ramets of one new genet each, planted in the plot."""
    planted = []
    for count in counts:
        colony = make.colony(programme.lead, programme.taxon, programme.reef)
        mothers = make.mothers(programme.lead, colony, programme.tray)
        children = make.cut(programme.lead, mothers, count)
        make.planting(programme.lead, programme.plot, children)
        planted.append(children)
    return planted


def page_of(programme: Programme) -> str:
    return f"/sites/{programme.site.code}/"


def bars(html: str) -> list[tuple[str, str]]:
    """How long each bar of planted and of counted ramets is, in per cent of the line."""
    found = re.findall(r'<rect y="1" width="([\d.]+)"', html)
    return list(zip(found[::2], found[1::2], strict=True))


def test_the_first_sentence_holds_the_number(programme: Programme, client: Client) -> None:
    plant(programme, 4, 3, 2, 1)
    said = read(client, page_of(programme))
    # exp(H) of 4, 3, 2, 1, by hand.
    shares = (0.4, 0.3, 0.2, 0.1)
    effective = math.exp(-sum(p * math.log(p) for p in shares))
    assert (
        f"Site {programme.site.name} stands at {effective:.1f} effective genets (Hill q = 1) of 4; "
        "2 genets hold 70 %."
    ) in said
    assert "n = 10 ramets alive, today; 4 of the 4 genets are presumed." in said


def test_one_genet_that_holds_all_is_told_as_one(programme: Programme, client: Client) -> None:
    plant(programme, 3)
    assert "1.0 effective genets (Hill q = 1) of 1; 1 genet holds 100 %." in read(
        client, page_of(programme)
    )


def test_the_look_stands_beside_the_number(programme: Programme, client: Client) -> None:
    first, second = plant(programme, 3, 2)
    make.visit(programme.lead, programme.site, {first[0]: "dead", first[1]: "alive"})
    make.visit(programme.lead, programme.site, {second[0]: "missing"}, when="2021-10-01")
    said = read(client, page_of(programme))
    assert "Of 5 ramets planted, 3 count as alive." in said
    assert "between 1 September 2021 and 1 October 2021" in said
    assert "1 were seen alive, 1 dead and 1 were missing; 2 were never looked for." in said


def test_the_look_that_a_device_chose_is_kept_on_the_page_of_a_site(
    programme: Programme, client: Client
) -> None:
    (children,) = plant(programme, 2)
    make.visit(programme.lead, programme.site, {children[0]: "alive"})
    client.cookies["look"] = "red"
    assert 'data-look="red"' in client.get(page_of(programme)).content.decode()


def test_states_are_told_apart(programme: Programme, client: Client) -> None:
    (children,) = plant(programme, 4)
    make.visit(programme.lead, programme.site, {children[0]: "dead", children[1]: "alive"})
    page = page_of(programme)
    assert "n = 3 ramets alive, today" in read(client, page)
    assert "n = 4 ramets planted, today" in read(client, f"{page}?state=planted")
    assert "n = 1 ramets seen alive at the last look" in read(client, f"{page}?state=seen")


def test_a_day_in_the_past_is_counted_as_it_was(programme: Programme, client: Client) -> None:
    (children,) = plant(programme, 4)
    make.visit(programme.lead, programme.site, {children[0]: "dead"})
    page = page_of(programme)
    assert "n = 4 ramets alive, on 15 June 2021" in read(client, f"{page}?as_of=2021-06-15")
    said = read(client, f"{page}?as_of=2020-06-15")
    assert "No ramet with a known genet is alive" in said


def test_one_taxon_is_counted_alone(programme: Programme, client: Client) -> None:
    plant(programme, 4)
    other = make.taxon(programme.lead)
    colony = make.colony(programme.lead, other, programme.reef)
    child = make.cut(programme.lead, make.mothers(programme.lead, colony, programme.tray))
    make.planting(programme.lead, programme.plot, child)
    page = page_of(programme)
    said = read(client, page)
    assert f"plot {programme.plot.code}, {other.name}" in said
    alone = read(client, f"{page}?taxon={other.code}")
    assert f"1.0 effective genets of {other.name}" in alone
    assert "n = 1 ramets alive" in alone


def test_what_is_undefined_says_why(programme: Programme, client: Client) -> None:
    said = read(client, page_of(programme))
    assert f"No ramet with a known genet is alive at site {programme.site.name}." in said
    assert NO_RAMETS in said
    plant(programme, 1)
    said = read(client, page_of(programme))
    assert ONE_RAMET in said
    assert ONE_GENET in said


def test_ramets_without_a_genet_are_counted_apart(programme: Programme, client: Client) -> None:
    plant(programme, 2)
    legacy = make.stock(programme.lead, programme.nursery, [{"taxon": programme.taxon.code}])
    make.planting(programme.lead, programme.plot, legacy)
    said = read(client, page_of(programme))
    assert "n = 2 ramets alive, today; 1 more have no known genet and stand in no index" in said
    assert "1 ramet has no known genet: counted apart, in no share." in said


def test_a_bar_is_as_long_as_its_share(programme: Programme, client: Client) -> None:
    plant(programme, 3, 1)
    html = main_of(client, page_of(programme))
    assert "Drawn, 0 to 3 ramets" in html
    assert bars(html) == [("100", "100"), ("33.33", "33.33")]


def test_small_shares_are_drawn_on_a_shorter_line_that_says_so(
    programme: Programme, client: Client
) -> None:
    plant(programme, 1, 1, 1, 1, 1)
    html = main_of(client, page_of(programme))
    assert "Drawn, 0 to 1 ramets" in html
    assert bars(html) == [("100", "100")] * 5


def test_what_was_planted_is_the_hollow_part_of_a_bar(programme: Programme, client: Client) -> None:
    first, second = plant(programme, 4, 2)
    seen = {first[0]: "dead", second[0]: "dead", second[1]: "dead"}
    make.visit(programme.lead, programme.site, seen)
    html = main_of(client, page_of(programme))
    assert bars(html) == [("100", "75"), ("50", "0")]
    said = read(client, page_of(programme))
    assert "1 genet that was planted has no ramet left here." in said
    # Hollow as dead ones are everywhere.
    assert html.count('class="hollow"') == 1


def test_a_long_tail_is_folded(programme: Programme, client: Client) -> None:
    plant(programme, *([1] * (MOST_RANKED + 2)))
    said = read(client, page_of(programme))
    assert "2 further genets" in said
    assert f"{MOST_RANKED + 2} genets stand in a single ramet." in said


# Planned, planted and alive side by side


def test_what_open_manifests_mean_for_a_site_stands_beside_it(
    programme: Programme, client: Client
) -> None:
    plant(programme, 3)
    lead = programme.lead
    plugs = make.cut(lead, [programme.mother()], 4)
    drafted = make.manifest(lead, programme.plot, plugs, planned="2021-08-01")
    said = read(client, page_of(programme))
    assert "On which day 1 August 2021 1 June 2021 today" in said
    assert "Ramets of a known genet (n) 4 3 3" in said
    past = read(client, f"{page_of(programme)}?as_of=2024-01-01")
    assert "On which day told as of today only 1 June 2021" in past
    cancel(lead, drafted, "no boat")
    assert "On which day nothing is planned in the record" in read(client, page_of(programme))


def test_planted_and_alive_stand_side_by_side_with_their_days(
    programme: Programme, client: Client
) -> None:
    first, second = plant(programme, 3, 3)
    make.visit(programme.lead, programme.site, dict.fromkeys(second, "dead"))
    said = read(client, page_of(programme))
    assert (
        "Of 2.0 effective genets planted, 1.0 stand (50 %); of 2 genets, 1 have a ramet alive."
        in said
    )
    assert "On which day nothing is planned in the record 1 June 2021 today" in said
    assert "Ramets of a known genet (n) – 6 3" in said
    bounds = hill_interval([3, 3], 1)
    planted = f"2.00 {bounds.low:.1f} to {bounds.high:.1f}"
    assert f"Effective genets, q = 1 – {planted} 1.00 1.0 to 1.0" in said
    assert first


def test_what_was_seen_stands_beside_if_it_is_asked_for(
    programme: Programme, client: Client
) -> None:
    (children,) = plant(programme, 3)
    make.visit(programme.lead, programme.site, {children[0]: "alive"})
    said = read(client, f"{page_of(programme)}?state=seen")
    assert "Ramets of a known genet (n) – 3 3 1" in said
    assert "today 1 September 2021" in said


def test_the_sides_are_of_the_day_and_the_taxon_that_are_asked_for(
    programme: Programme, client: Client
) -> None:
    plant(programme, 3)
    taxon = make.taxon(programme.lead)
    colony = make.colony(programme.lead, taxon, programme.reef)
    child = make.cut(programme.lead, make.mothers(programme.lead, colony, programme.tray))
    make.planting(programme.lead, programme.plot, child, when="2021-07-01")
    page = page_of(programme)
    assert "(n) – 4 4" in read(client, page)
    assert "record 1 June 2021 to 1 July 2021 today" in read(client, page)
    assert "(n) – 3 3" in read(client, f"{page}?as_of=2021-06-15")
    assert "only 1 June 2021 15 June 2021" in read(client, f"{page}?as_of=2021-06-15")
    said = read(client, f"{page}?taxon={taxon.code}")
    assert "(n) – 1 1" in said
    assert "record 1 July 2021 today" in said


# The two curves


def test_the_curves_have_their_numbers_and_what_they_rest_on_beside_them(
    programme: Programme, client: Client
) -> None:
    first, second, third = plant(programme, 2, 2, 2)
    make.visit(programme.lead, programme.site, dict.fromkeys(third, "dead"))
    page = page_of(programme)
    said = read(client, page)
    assert "n = 4 alive; n = 6 planted. Today." in said
    # Any 4 of 3 × 2: 3 genets but for the 3 draws of 15 that miss one, by hand.
    assert "Any 4 of the planted would be of 2.8 genets; the 4 alive are of 2. Today." in said
    html = main_of(client, page)
    assert html.count('class="chart-line chart-line-') == 4
    assert '<title id="profile-title">Effective genets of' in html
    assert '<title id="rarefaction-title">Genets expected in a draw' in html
    assert "0.0 2.0 3.0 0.5 2.0 3.0" in said
    assert first
    assert second


def test_without_ramets_there_is_no_curve(programme: Programme, client: Client) -> None:
    assert 'class="chart"' not in main_of(client, page_of(programme))


@pytest.mark.parametrize(
    ("query", "code"),
    [
        ("state=dead", "not_a_choice"),
        ("as_of=yesterday", "date_malformed"),
        ("as_of=2021-02-30", "date_malformed"),
        ("taxon=NONE", "unknown_taxon"),
        ("colour=red", "unknown_parameter"),
        ("state=alive&state=seen", "repeated_parameter"),
    ],
)
def test_what_is_not_understood_is_refused(
    programme: Programme, client: Client, query: str, code: str
) -> None:
    assert code in read(client, f"{page_of(programme)}?{query}", 400)


def test_the_code_of_a_site_is_taken_in_any_case(programme: Programme, client: Client) -> None:
    answer = client.get(f"/sites/{programme.site.code.lower()}/?state=seen")
    assert answer["Location"] == f"{page_of(programme)}?state=seen"


@pytest.mark.parametrize(("query", "queries"), [("", 23), ("?state=seen&as_of=2024-01-01", 33)])
def test_a_full_site_costs_as_many_queries_as_a_small_one(
    programme: Programme, client: Client, query: str, queries: int
) -> None:
    def plant_and_look(*counts: int) -> None:
        for children in plant(programme, *counts):
            make.visit(programme.lead, programme.site, dict.fromkeys(children, "alive"))

    plant_and_look(2)
    few = cost(client, page_of(programme) + query)
    plant_and_look(9, 8, 7)
    assert few == cost(client, page_of(programme) + query) == queries
