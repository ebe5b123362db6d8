"""The page of a site: its number in a sentence, the look beside it, and what is not defined."""

import math
import re

import pytest
from django.test import Client

from nursery.core.actor import Role
from nursery.diversity import indices
from nursery.diversity.measures import MEASURES
from nursery.lineage.models import Ramet
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
    assert indices.NO_RAMETS in said
    plant(programme, 1)
    said = read(client, page_of(programme))
    assert indices.ONE_RAMET in said
    assert indices.ONE_GENET in said


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
    assert "Drawn, 0 to 100\u00a0%" in html
    assert re.findall(r'<rect width="([\d.]+)"', html) == ["75.00", "25.00"]


def test_small_shares_are_drawn_on_a_shorter_line_that_says_so(
    programme: Programme, client: Client
) -> None:
    plant(programme, 1, 1, 1, 1, 1)
    html = main_of(client, page_of(programme))
    assert "Drawn, 0 to 25\u00a0%" in html
    assert re.findall(r'<rect width="([\d.]+)"', html) == ["80.00"] * 5


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


@pytest.mark.parametrize(("query", "queries"), [("", 17), ("?state=seen&as_of=2024-01-01", 22)])
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


def test_every_index_is_told_once_with_the_words_of_its_computation() -> None:
    fields = set(indices.Indices.__dataclass_fields__)
    assert {measure.key for measure in MEASURES} == fields - {"ramets", "genets", "hill_0"}
    for measure in MEASURES:
        name = "hill" if measure.key.startswith("hill") else measure.key
        told = getattr(indices, name).__doc__
        assert told is not None
        words = re.sub(r"\s+", " ", told)
        for part in measure.source.split("; "):
            year = re.search(r"\d{4}", part)
            assert year is None or year.group() in words, measure.key
