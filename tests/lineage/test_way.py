"""The way of a ramet through places, leg by leg, and the map that draws it."""

import re

import pytest

from nursery.core.actor import Role
from nursery.lineage.models import Ramet
from nursery.lineage.way import Leg, Stop, StopKind, legs, numbered, stops
from nursery.outplanting.queries import trace
from tests import factories as make
from tests.factories import Programme
from tests.pages import main_of, read, reader

pytestmark = pytest.mark.django_db


def way(programme: Programme, ramet: Ramet) -> list[Leg]:
    return legs(trace(programme.lead, ramet.code))


def told(found: list[Leg]) -> list[tuple[str, str, bool]]:
    return [(leg.start.code, leg.end.code, leg.gap) for leg in found]


def test_an_outplant_went_from_its_colony_by_the_nursery_to_the_site(programme: Programme) -> None:
    (child,) = make.cut(programme.lead, programme.mothers(), 1, into=programme.plate)
    make.planting(programme.lead, programme.plot, [child])
    colony, home, site = programme.colony.code, programme.nursery.code, programme.site.code
    found = way(programme, child)
    assert told(found) == [(colony, home, False), (home, site, False)]
    assert [str(leg.when) for leg in found] == [make.RECEIVED, make.PLANTED]
    assert [stop.kind for stop in stops(found)] == [
        StopKind.COLONY,
        StopKind.NURSERY,
        StopKind.SITE,
    ]


def test_a_plug_that_has_no_cell_left_from_where_its_mother_was_cut(programme: Programme) -> None:
    (child,) = make.cut(programme.lead, programme.mothers())
    make.planting(programme.lead, programme.plot, [child])
    assert told(way(programme, child))[-1] == (
        programme.nursery.code,
        programme.site.code,
        False,
    )


def test_a_mother_that_moved_on_later_gave_the_plug_where_she_was(programme: Programme) -> None:
    mother = programme.mother()
    (child,) = make.cut(programme.lead, [mother])
    other = make.nursery(programme.lead)
    tray = make.tray(programme.lead, make.bay(programme.lead, other))
    moved = [{"ramet": mother.code, "structure": tray.code}]
    make.move(programme.lead, moved, when="2021-05-01")
    make.planting(programme.lead, programme.plot, [child])
    assert other.code not in {stop.code for stop in stops(way(programme, child))}
    assert told(way(programme, mother))[-1] == (programme.nursery.code, other.code, False)


def test_pooled_mothers_bring_their_colonies(programme: Programme) -> None:
    other = make.colony(programme.lead, programme.taxon, programme.reef)
    mothers = [programme.mother(), *make.mothers(programme.lead, other, programme.tray)]
    (child,) = make.cut(programme.lead, mothers, into=programme.plate)
    home = programme.nursery.code
    assert set(told(way(programme, child))) == {
        (programme.colony.code, home, False),
        (other.code, home, False),
    }


def test_what_was_not_recorded_is_a_gap_of_the_way(programme: Programme) -> None:
    row = {
        "taxon": programme.taxon.code,
        "donors": [programme.colony.code],
        "structure": programme.tray.code,
    }
    (legacy,) = make.stock(programme.lead, programme.nursery, [row])
    assert told(way(programme, legacy)) == [(programme.colony.code, programme.nursery.code, True)]


def test_loose_pieces_come_from_their_reef(programme: Programme) -> None:
    found = make.collection(programme.lead, reef=programme.reef.code, taxon=programme.taxon.code)
    make.intake(programme.lead, found, programme.nursery, programme.tray)
    (ramet,) = make.ramets_of(found)
    assert told(way(programme, ramet)) == [(programme.reef.code, programme.nursery.code, False)]


def test_stops_are_numbered_from_the_wild_on() -> None:
    site, colony = Stop(StopKind.SITE, "S"), Stop(StopKind.COLONY, "C")
    assert numbered(stops([Leg(colony, site, None)])) == {colony: 1, site: 2}


# The map beside the trace


def placed(latitude: str = "7.1234567", longitude: str = "134.7654321") -> tuple[Programme, Ramet]:
    """A programme whose places are known, and an outplant of a colony at an exact position."""
    begun = make.programme()
    lead = begun.lead
    home = make.nursery(lead, latitude="7.10", longitude="134.50")
    tray = make.tray(lead, make.bay(lead, home))
    site = make.site(lead, latitude="7.30", longitude="134.60")
    colony = make.colony(lead, begun.taxon, begun.reef, latitude=latitude, longitude=longitude)
    (child,) = make.cut(lead, make.mothers(lead, colony, tray))
    make.planting(lead, make.plot(lead, site), [child])
    return begun, child


def test_the_way_is_drawn_with_its_legs_as_a_table(db: None) -> None:
    _, child = placed()
    client = reader(Role.VIEWER)
    html = main_of(client, f"/ramets/{child.code}/")
    assert html.count('class="way-leg"') == 2
    assert html.count('class="way-mark') == 3
    said = read(client, f"/ramets/{child.code}/")
    assert "Where a colony stands is drawn rounded." in said
    assert "Arrived" in said


def test_an_exact_position_is_not_drawn_even_for_those_who_may_see_it(db: None) -> None:
    _, near = placed("7.1234567", "134.7654321")
    _, same = placed("7.1239999", "134.7650001")
    maps = set()
    for ramet in (near, same):
        html = main_of(reader(Role.LEAD), f"/ramets/{ramet.code}/")
        marks = re.findall(r'class="way-mark way-colony" cx="([\d.]+)" cy="([\d.]+)"', html)
        assert len(marks) == 1
        maps.add(marks[0])
    # Both lie in one cell of the grid: what is drawn is the same.
    assert len(maps) == 1


def test_places_without_a_position_have_no_map(programme: Programme) -> None:
    (ramet,) = programme.outplants()
    assert 'class="way"' not in main_of(reader(Role.VIEWER), f"/ramets/{ramet.code}/")


def test_a_place_that_is_not_on_the_map_is_named(programme: Programme) -> None:
    lead = programme.lead
    home = make.nursery(lead, latitude="7.10", longitude="134.50")
    tray = make.tray(lead, make.bay(lead, home))
    colony = make.colony(lead, programme.taxon, programme.reef, latitude="7.12", longitude="134.52")
    (child,) = make.cut(lead, make.mothers(lead, colony, tray))
    make.planting(lead, programme.plot, [child])
    assert f"not in the record: {programme.site.name}." in read(
        reader(Role.VIEWER), f"/ramets/{child.code}/"
    )
