"""Pages of plots and of every kind of entry."""

import pytest
from django.test import Client

from nursery.core.actor import Role
from nursery.core.models import Event
from tests import factories as make
from tests.factories import Programme
from tests.pages import cost, main_of, read, reader

pytestmark = pytest.mark.django_db


def page_of(event: Event) -> str:
    return f"/events/{event.uid}/"


@pytest.fixture
def client(db: None) -> Client:
    return reader(Role.VIEWER)


def test_a_plot_tells_what_was_planted_and_what_lives(programme: Programme, client: Client) -> None:
    first, second, third = programme.outplants(3)
    make.visit(programme.lead, programme.site, {first: "dead", second: "alive"})
    said = read(client, f"/plots/{programme.plot.code}/")
    assert (
        f"2 ramets live in plot {programme.plot.code}, of 3 planted: 1 known genet, "
        "1.0 effective (Hill q = 1)." in said
    )
    assert third.code in said


def test_a_plot_tells_its_genets_by_their_number(programme: Programme, client: Client) -> None:
    programme.outplants(1)
    other = make.colony(programme.lead, programme.taxon, programme.reef)
    made = make.cut(programme.lead, make.mothers(programme.lead, other, programme.tray), 3)
    row = {"taxon": programme.taxon.code}
    unknown = make.stock(programme.lead, programme.nursery, [row])
    make.planting(programme.lead, programme.plot, [*made, *unknown])
    said = read(client, f"/plots/{programme.plot.code}/")
    # exp(H) of 3 and 1 ramets, by hand: 4 / 3 ** 0.75.
    assert "5 ramets live in plot" in said
    assert "2 known genets, 1.8 effective" in said
    assert "1 ramet has no known genet: counted apart." in said
    assert said.index(other.genet.code) < said.index(programme.colony.genet.code)


def test_a_full_plot_costs_no_more_than_a_small_one(programme: Programme, client: Client) -> None:
    programme.outplants(1)
    few = cost(client, f"/plots/{programme.plot.code}/")
    programme.outplants(40)
    assert few == cost(client, f"/plots/{programme.plot.code}/") == 9


def test_a_collection_shows_its_particulars(programme: Programme, client: Client) -> None:
    row = make.collection(
        programme.lead,
        programme.colony,
        count=2,
        depth="12 ft",
        share_taken="4 %",
        done_by=["Ana Reyes", "Teo Marsh"],
        note="calm sea",
    )
    said = read(client, page_of(row.event))
    for words in (
        "Collection, 10 January 2021",
        "Hands Ana Reyes and Teo Marsh",
        f"From {programme.colony.code}",
        "Share of the colony 4 %",
        "Depth 3.7 m",
        "Note calm sea",
        "No permit is named for this.",
        "2 rows: ramets that it touched.",
    ):
        assert words in said


def test_a_loose_collection_shows_its_position_only_as_one_may_see_it(
    programme: Programme, client: Client
) -> None:
    row = make.collection(
        programme.lead,
        reef=programme.reef.code,
        taxon=programme.taxon.code,
        count=1,
        latitude="7.1234567",
        longitude="134.7654321",
    )
    said = read(client, page_of(row.event))
    assert "7.12, 134.77" in said
    assert "7.1234" not in said
    assert "7.1234567" in read(reader(Role.FIELD), page_of(row.event))


def test_a_cutting_shows_its_mothers_and_children(programme: Programme, client: Client) -> None:
    kept, spent = programme.mothers(2)
    children = make.cut(programme.lead, [kept], 3, used_up=[spent])
    said = read(client, page_of(children[0].born))
    assert "Cut from 2 ramets" in said
    assert "grows on" in said
    assert "used up" in said
    assert all(child.code in said for child in children)


def test_an_intake_leads_to_its_collection(programme: Programme, client: Client) -> None:
    row = make.collection(programme.lead, programme.colony)
    event = make.intake(programme.lead, row, programme.nursery, programme.tray)
    assert f'href="{page_of(row.event)}"' in main_of(client, page_of(event))


def test_an_outplanting_shows_plot_and_positions(programme: Programme, client: Client) -> None:
    (child,) = make.cut(programme.lead, [programme.mother()])
    outplants = [{"ramet": child.code, "position": "3b", "cluster": "2", "fixing": "nail"}]
    row = make.planting(programme.lead, programme.plot, [], outplants=outplants)
    said = read(client, page_of(row.event))
    assert f"Plot {programme.plot.code}, {programme.site.code}" in said
    assert "3b, cluster 2, held by nail" in said


def test_a_visit_shows_what_was_seen(programme: Programme, client: Client) -> None:
    (ramet,) = programme.outplants()
    seen = [{"ramet": ramet.code, "condition": "dead", "cause": "storm", "size": "5"}]
    row = make.visit(programme.lead, programme.site, {}, observations=seen)
    said = read(client, page_of(row.event))
    assert "dead (storm)" in said
    assert f"To {programme.site.code}" in said


def test_a_visit_to_a_reef_shows_its_colonies(programme: Programme, client: Client) -> None:
    seen = [{"colony": programme.colony.code, "condition": "alive", "tissue_lost": "10"}]
    values = {"site": None, "reef": programme.reef.code, "observations": seen}
    row = make.visit(programme.lead, programme.site, {}, **values)
    assert programme.colony.code in read(client, page_of(row.event))
    assert "1 September 2021 alive 10" in read(client, f"/colonies/{programme.colony.code}/")


def test_a_structure_move_and_a_stock_entry_are_shown(programme: Programme, client: Client) -> None:
    to = {"structure": programme.plate.code, "bay": programme.bay.code}
    move = make.move_structures(programme.lead, [to], when="2021-05-05")
    assert programme.bay.code in read(client, page_of(move))
    (legacy,) = make.stock(programme.lead, programme.nursery, [{"taxon": programme.taxon.code}])
    assert legacy.code in read(client, page_of(legacy.born))


@pytest.mark.parametrize("rows", [2, 60])
def test_a_large_entry_costs_as_many_queries_as_a_small_one(
    programme: Programme, client: Client, rows: int
) -> None:
    permit = make.permit(programme.lead).code
    child = make.cut(programme.lead, [programme.mother()], rows, permits=[permit])[0]
    assert cost(client, page_of(child.born)) == 11


@pytest.mark.parametrize(
    ("page", "queries"), [("/events/", 8), ("/outplantings/", 9), ("/visits/", 8)]
)
def test_a_list_costs_no_more_for_more_rows(
    programme: Programme, client: Client, page: str, queries: int
) -> None:
    permit = make.permit(programme.lead).code

    def plant_and_look() -> None:
        children = make.cut(programme.lead, [programme.mother()])
        make.planting(programme.lead, programme.plot, children, permits=[permit])
        make.visit(programme.lead, programme.site, {children[0]: "alive"}, permits=[permit])

    plant_and_look()
    few = cost(client, page)
    for _ in range(4):
        plant_and_look()
    assert few == cost(client, page) == queries
