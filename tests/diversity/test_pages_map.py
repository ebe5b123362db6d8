"""The map: what it draws, the list that says the same, and what is on neither."""

import json
import re
from typing import Any

import pytest
from django.test import Client
from pytest_django import Settings

from nursery.core.actor import Role
from nursery.core.geodesy import Point
from nursery.diversity.places_map import middle, places, rings
from tests import factories as make
from tests.factories import Programme
from tests.pages import cost, main_of, read, reader

pytestmark = pytest.mark.django_db
PAGE = "/map/"
SQUARE = {
    "type": "Polygon",
    "coordinates": [[[134.5, 7.0], [134.7, 7.0], [134.7, 7.2], [134.5, 7.2], [134.5, 7.0]]],
}


@pytest.fixture
def client(db: None) -> Client:
    return reader(Role.VIEWER)


def drawn(client: Client) -> dict[str, Any]:
    """What the script is given."""
    html = client.get(PAGE).content.decode()
    found = re.search(r'<script id="map-places" type="application/json">(.*?)</script>', html, re.S)
    assert found is not None
    given: dict[str, Any] = json.loads(found.group(1))
    return given


def test_sites_are_told_with_what_lives_there_and_in_their_plots(
    programme: Programme, client: Client
) -> None:
    programme.outplants(3)
    said = read(client, PAGE)
    assert "3 ramets of 1 genet live on 1 site." in said
    assert "3 ramets alive, of 1 known genet; 1.0 effective genets" in said
    assert f"{programme.plot.code} 3" in said


def test_a_site_without_a_position_is_in_the_list_alone(
    programme: Programme, client: Client
) -> None:
    assert drawn(client)["pins"] == []
    assert "Its position is not in the record." in read(client, PAGE)
    assert "data-place" not in main_of(client, PAGE)


def test_what_has_a_position_is_a_pin_with_a_button(programme: Programme, client: Client) -> None:
    site = make.site(programme.lead, latitude="7.3", longitude="134.6")
    home = make.nursery(programme.lead, latitude="7.1", longitude="134.5")
    reef = make.reef(programme.lead, latitude="7.2", longitude="134.4")
    given = drawn(client)
    assert [(pin["kind"], pin["name"], pin["at"]) for pin in given["pins"]] == [
        ("site", site.name, [7.3, 134.6]),
        ("nursery", home.name, [7.1, 134.5]),
    ]
    assert given["reefs"] == [{"name": reef.name, "at": [7.2, 134.4]}]
    html = main_of(client, PAGE)
    for pin in given["pins"]:
        assert f'data-place="{pin["key"]}"' in html


def test_an_outline_is_drawn_and_gives_a_site_its_place(
    programme: Programme, client: Client
) -> None:
    make.site(programme.lead, outline=SQUARE)
    (pin,) = drawn(client)["pins"]
    assert pin["at"] == pytest.approx([7.1, 134.6])
    assert pin["outline"][0][1] == [7.0, 134.7]


def test_no_donor_colony_is_on_it(programme: Programme) -> None:
    colony = make.colony(
        programme.lead,
        programme.taxon,
        programme.reef,
        latitude="7.1234567",
        longitude="134.7654321",
    )
    html = reader(Role.LEAD).get(PAGE).content.decode()
    assert colony.code not in html
    assert "7.12" not in html
    assert "134.76" not in html


def test_closed_places_are_left_out(programme: Programme, client: Client) -> None:
    site = make.site(programme.lead, latitude="7.3", longitude="134.6", closed_on="2021-01-01")
    assert site.name not in read(client, PAGE)


def test_no_other_host_is_asked_unless_the_installation_names_one(
    client: Client, settings: Settings
) -> None:
    assert drawn(client)["tiles"] == ""
    settings.MAP_TILES = "https://tiles.example/{z}/{x}/{y}.png"
    settings.MAP_CREDIT = "Invented Survey"
    given = drawn(client)
    assert (given["tiles"], given["credit"]) == (settings.MAP_TILES, "Invented Survey")


def test_the_page_has_no_scripts_but_its_own_and_the_maps(client: Client) -> None:
    html = client.get(PAGE).content.decode()
    assert re.findall(r'<script src="([^"]+)"', html) == [
        "/static/core/page.js",
        "/static/core/find.js",
        "/static/leaflet/leaflet.js",
        "/static/core/map.js",
    ]


def test_the_middle_of_an_outline_is_that_of_what_it_spans() -> None:
    assert middle(rings(SQUARE)) == Point(7.1, 134.6)
    assert middle(rings(None)) is None


def test_the_largest_site_is_named(programme: Programme, client: Client) -> None:
    programme.outplants(3)
    other = make.plot(programme.lead, make.site(programme.lead))
    make.planting(programme.lead, other, make.cut(programme.lead, programme.mothers()))
    assert f"75 % of them at {programme.site.name}." in read(client, PAGE)
    assert places(programme.lead).living == 4


def test_many_places_cost_as_many_queries_as_one(programme: Programme, client: Client) -> None:
    programme.outplants()
    few = cost(client, PAGE)
    for _ in range(4):
        plot = make.plot(programme.lead, make.site(programme.lead, reef=programme.reef.code))
        make.planting(programme.lead, plot, make.cut(programme.lead, programme.mothers(), 3))
        make.nursery(programme.lead)
    assert few == cost(client, PAGE) == 9
