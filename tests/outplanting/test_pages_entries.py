"""The page of one entry tells what is particular to its kind, after a season of everything."""

import re

import pytest
from django.test import Client

from nursery.core.actor import Role
from nursery.core.models import Event, EventKind
from tests import factories as make
from tests.factories import Programme
from tests.lineage.ends import end
from tests.outplanting.reef import lift, plant_structures, rock
from tests.pages import main_of, read, reader
from tests.verify.season import Season, season

pytestmark = pytest.mark.django_db


@pytest.fixture
def client(db: None) -> Client:
    return reader(Role.VIEWER)


@pytest.fixture
def year(programme: Programme) -> Season:
    return season(programme)


def page_of(event: Event) -> str:
    return f"/events/{event.uid}/"


def test_entries_of_every_kind_have_a_page(year: Season, client: Client) -> None:
    events = {event.kind: event for event in Event.objects.order_by("pk")}
    assert set(events) == set(EventKind.numbers())
    for event in events.values():
        assert EventKind(event.kind).label.capitalize() in read(client, page_of(event))


def test_what_happened_to_which_is_told_of_each_kind(year: Season, client: Client) -> None:
    """Endings, counts, losses, tags, labels, merges and identifications."""
    told: list[tuple[Event, list[str]]] = [
        (year.ending, [year.lot[3].code, "ended: sampled", "When 12 September 2021"]),
        (
            year.count,
            [
                "all that it holds 4 0 0",
                "1 April 2021 not counted 1 1",
                "dead, by count",
                "missing, by count",
            ],
        ),
        (year.loss, ["Structures that were lost", f"{year.lost_tray.code} lost"]),
        (
            year.tagging,
            [
                f"{year.children[0].code} T1 taken off",
                f"{year.children[3].code} T1 put on",
            ],
        ),
        (
            year.relabelling,
            [f"Turned out to be {year.kept_genet.code}", year.relabelled.code, "relabelled"],
        ),
        (
            year.merge,
            [
                f"Known as {year.kept_genet.code}",
                f"Turned out to be the same {year.merged_genet.code}",
            ],
        ),
        (
            year.identification,
            [
                f"{year.known.code} {year.found.code}",
                f"{year.found.code} not known ended: identified",
            ],
        ),
        (year.settled.born, ["settled", "May descend from", year.programme.colony.genet.code]),
    ]
    for event, words in told:
        said = read(client, page_of(event))
        for part in words:
            assert part in said, (event, part, said)


def test_a_merge_says_nothing_of_rows(year: Season, client: Client) -> None:
    said = read(client, page_of(year.merge))
    assert "row" not in said
    assert "touched" not in said


def test_received_stock_names_the_programme(programme: Programme, client: Client) -> None:
    rows = [{"taxon": programme.taxon.code}]
    (ramet,) = make.stock(
        programme.lead, programme.nursery, rows, origin="received", programme="Invented Lagoon"
    )
    said = read(client, page_of(ramet.born))
    assert "From the programme Invented Lagoon" in said
    assert "received" in said


def test_who_has_what_was_handed_over_is_told(programme: Programme, client: Client) -> None:
    mother = programme.mother()
    event = end(programme.lead, [mother], "handed_over", recipient="Invented Aquarium")
    assert "Handed over to Invented Aquarium" in read(client, page_of(event))


def test_a_rock_that_was_planted_and_lifted_is_told_with_its_sockets(
    programme: Programme, client: Client
) -> None:
    stone = rock(programme)
    (child,) = make.cut(programme.lead, [programme.mother()], into=stone)
    planting = plant_structures(programme.lead, programme.plot, stone)
    said = read(client, page_of(planting.event))
    assert "Structures that were planted" in said
    assert f"{stone.code} A1" in said
    event = lift(programme.lead, [child], programme.tray)
    assert "lifted" in read(client, page_of(event))


def test_counts_of_plots_are_told_with_their_visit(programme: Programme, client: Client) -> None:
    (child,) = programme.outplants()
    counts = [
        {"plot": programme.plot.code, "alive": 0, "dead": 1},
        {"plot": programme.plot.code, "genet": programme.colony.genet.code, "alive": 1},
    ]
    row = make.visit(programme.lead, programme.site, {child: "alive"}, counts=counts)
    said = read(client, page_of(row.event))
    assert "Counted in plots" in said
    assert f"{programme.plot.code} all together 0 1" in said
    assert "A count of a plot changes no ramet." in said


def test_a_void_entry_tells_nothing_as_if_it_were_so(year: Season, client: Client) -> None:
    event = year.never[0].born
    said, html = read(client, page_of(event)), main_of(client, page_of(event))
    assert "3 rows of what is void" in said
    assert year.never[0].code in said
    assert "State now" not in said
    assert re.search(r"<h1>\s*<s>\s*Fragmentation", html)


def test_lost_structures_and_counts_are_on_the_page_of_the_structure(
    year: Season, client: Client
) -> None:
    lost = read(client, f"/structures/{year.lost_tray.code}/")
    assert f"{year.lost_tray.code} is lost" in lost
    assert "Stands in nowhere: it is lost" in lost
    assert "11 September 2021 lost structure loss" in lost
    plate = read(client, f"/structures/{year.programme.plate.code}/")
    assert "Counted here" in plate
    assert "9 September 2021 all that it held 4 0 0" in plate
