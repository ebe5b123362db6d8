"""Reefs, nurseries, structures, sites and plots as people enter and edit them."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

import pytest

from nursery.core import registers
from nursery.core.actor import Role
from nursery.core.errors import NotAllowed, Unknown
from nursery.core.models import Change, CodeSeries
from nursery.places import queries
from nursery.places.actions import enter_nursery, enter_structure
from nursery.places.models import Bay, Nursery, Plot, Reef, Site, Structure, System
from tests import factories as f
from tests.refusals import refused

# Positions


def test_positions_are_read_in_any_usual_notation(programme: f.Programme) -> None:
    reef = f.reef(programme.lead, latitude="7 30 00 S", longitude="155°12′E")
    assert (reef.latitude, reef.longitude) == (Decimal("-7.500000"), Decimal("155.200000"))


def test_positions_that_come_as_numbers_are_rounded(programme: f.Programme) -> None:
    reef = f.reef(programme.lead, latitude=-7.123456789, longitude=155)
    assert (reef.latitude, reef.longitude) == (Decimal("-7.123457"), Decimal("155.000000"))


@pytest.mark.parametrize(
    ("latitude", "longitude", "code"),
    [
        ("155.2", "-7.5", "coordinates_swapped"),
        ("155°12′ E", "7°30′ S", "coordinates_swapped"),
        ("7.5 S", "7.5 S", "coordinates_swapped"),
        ("95", "150", "latitude_out_of_range"),
        ("7.5", "181", "longitude_out_of_range"),
        ("7,5,5", "155", "coordinate_malformed"),
        ("north", "155", "coordinate_malformed"),
        ("7 60 00 S", "155", "coordinate_malformed"),
    ],
)
def test_positions_that_are_wrong_or_swapped_are_refused(
    programme: f.Programme, latitude: str, longitude: str, code: str
) -> None:
    for make in (f.reef, f.site, f.nursery):
        with refused(code):
            make(programme.lead, latitude=latitude, longitude=longitude)


def test_a_swapped_position_is_refused_when_it_comes_as_numbers(programme: f.Programme) -> None:
    with refused("coordinates_swapped"):
        f.reef(programme.lead, latitude=155.2, longitude=-7.5)


# Nurseries


def test_a_nursery_has_a_code_series(programme: f.Programme) -> None:
    nursery = f.nursery(programme.lead, series="qa")
    assert nursery.series == CodeSeries.objects.get(prefix="QA")


def test_two_nurseries_may_share_a_series(programme: f.Programme) -> None:
    first, second = (f.nursery(programme.lead, series="QA") for _ in range(2))
    assert first.series == second.series


def test_a_nursery_may_be_given_another_series(programme: f.Programme) -> None:
    nursery = f.nursery(programme.lead, series="QA")
    enter_nursery(programme.lead, {"series": "QB", "name": "Renamed"}, nursery)
    after = Nursery.objects.get(pk=nursery.pk)
    assert (str(after.series), after.name) == ("QB", "Renamed")


def test_an_edit_that_says_nothing_of_the_series_leaves_it(programme: f.Programme) -> None:
    nursery = f.nursery(programme.lead, series="QA")
    enter_nursery(programme.lead, {"name": "Renamed"}, nursery)
    assert str(Nursery.objects.get(pk=nursery.pk).series) == "QA"


@pytest.mark.parametrize("series", ["ABCDE", "A1", "Ä", "A B", "A\x00", "=A"])
def test_a_series_is_one_to_four_letters(programme: f.Programme, series: str) -> None:
    with refused("series_malformed", pointer="#/series"):
        f.nursery(programme.lead, series=series)


@pytest.mark.parametrize(
    ("values", "code", "pointer"),
    [
        ({"kind": "air"}, "not_a_choice", "#/kind"),
        ({"kind": ""}, "required", "#/kind"),
        ({"timezone": "Moon/Tranquility"}, "malformed", "#/timezone"),
        ({"name": ""}, "required", "#/name"),
        ({"name": None}, "required", "#/name"),
        ({"name": ["a"]}, "malformed", "#/name"),
        ({"code": "A\x00"}, "control_character", "#/code"),
        ({"closed_on": "soon"}, "malformed", "#/closed_on"),
        ({"closed_on": 20210101}, "malformed", "#/closed_on"),
    ],
    ids=str,
)
def test_a_nursery_that_makes_no_sense_is_refused(
    programme: f.Programme, values: dict[str, Any], code: str, pointer: str
) -> None:
    with refused(code, pointer=pointer):
        f.nursery(programme.lead, **values)


# Structures


def test_blocked_cells_are_written_as_text_or_as_a_list(programme: f.Programme) -> None:
    text = f.structure(programme.lead, blocked="a1 K1, a11:B11")
    names = f.structure(programme.lead, blocked=["A1", "k01", "A11", "B11"])
    assert text.blocked == names.blocked == ["A1", "K1", "A11", "B11"]
    assert text.grid is not None
    assert text.grid.capacity == 117


@pytest.mark.parametrize(
    ("values", "code", "pointer"),
    [
        ({"columns": None}, "malformed", "#/columns"),
        ({"rows": None}, "malformed", "#/columns"),
        ({"rows": 0}, "malformed", "#/rows"),
        ({"rows": 41}, "malformed", "#/rows"),
        ({"rows": -1}, "out_of_range", "#/rows"),
        ({"rows": 10**20}, "out_of_range", "#/rows"),
        ({"rows": "many"}, "malformed", "#/rows"),
        ({"blocked": "L1"}, "malformed", "#/blocked"),
        ({"blocked": "A1:Z99"}, "cell_outside", "#/blocked"),
        ({"blocked": "1A"}, "cell_malformed", "#/blocked"),
        ({"blocked": ["A1\x00"]}, "malformed", "#/blocked"),
        ({"blocked": [["A1"]]}, "malformed", "#/blocked"),
        ({"blocked": {"A1": 1}}, "malformed", "#/blocked"),
        ({"rows": None, "columns": None, "blocked": "A1"}, "malformed", "#/blocked"),
        ({"kind": "boat"}, "not_a_choice", "#/kind"),
        ({"bay": "X"}, "unknown_field", "#/bay"),
        ({"nursery": "X"}, "unknown_field", "#/nursery"),
    ],
    ids=str,
)
def test_a_structure_that_makes_no_sense_is_refused(
    programme: f.Programme, values: dict[str, Any], code: str, pointer: str
) -> None:
    with refused(code, pointer=pointer):
        f.structure(programme.lead, **values)


@pytest.mark.parametrize(
    ("who", "code"),
    [(Role.VIEWER, "not_allowed"), (Role.FIELD, "not_allowed"), (None, "no_role")],
)
def test_who_sets_up_no_structures(programme: f.Programme, who: Role | None, code: str) -> None:
    actor = f.actor(*([who] if who else []))
    for nursery in (None, programme.nursery):
        with refused(code, by=NotAllowed):
            enter_structure(actor, {"code": "P-1", "kind": "plate"}, nursery)


def test_staff_set_up_structures_for_their_own_nursery(programme: f.Programme) -> None:
    staff, stranger = f.staff(programme.nursery), f.staff(f.nursery(programme.lead))
    given = {"code": "P-1", "kind": "plate", "rows": 2, "columns": 2}
    with refused("not_your_nursery", by=NotAllowed):
        enter_structure(stranger, given, programme.nursery)
    assert enter_structure(staff, given, programme.nursery).code == "P-1"


# Sites and plots


def test_a_depth_is_read_with_its_unit(programme: f.Programme) -> None:
    plot = f.plot(programme.lead, programme.site, depth_m="12 ft", area_m2="25.5")
    assert (plot.depth_m, plot.area_m2) == (Decimal("3.7"), Decimal("25.5"))


@pytest.mark.parametrize(
    ("values", "code", "pointer"),
    [
        ({"depth_m": "12 fathoms"}, "unit_unknown", "#/depth_m"),
        ({"depth_m": "20 km"}, "unit_unknown", "#/depth_m"),
        ({"depth_m": 20000}, "depth_too_great", "#/depth_m"),
        ({"depth_m": True}, "malformed", "#/depth_m"),
        ({"area_m2": "-1"}, "out_of_range", "#/area_m2"),
        ({"area_m2": "1e9"}, "out_of_range", "#/area_m2"),
        ({"area_m2": "large"}, "malformed", "#/area_m2"),
        ({"site": "NONE"}, "unknown_site", "#/site"),
        ({"site": None}, "required", "#/site"),
        ({"site": "A\x00"}, "control_character", "#/site"),
    ],
    ids=str,
)
def test_a_plot_that_makes_no_sense_is_refused(
    programme: f.Programme, values: dict[str, Any], code: str, pointer: str
) -> None:
    with refused(code, pointer=pointer):
        f.plot(programme.lead, programme.site, **values)


SQUARE = [[155.0, -7.5], [155.1, -7.5], [155.1, -7.4], [155.0, -7.4], [155.0, -7.5]]


def test_an_outline_is_a_polygon(programme: f.Programme) -> None:
    # RFC 7946, 3.1.6: a list of closed rings of four positions or more, longitude first.
    outline = {"type": "Polygon", "coordinates": [SQUARE]}
    assert f.site(programme.lead, outline=outline).outline == outline


@pytest.mark.parametrize(
    "outline",
    [
        "somewhere",
        7,
        [],
        [{"a": 1}, {"b": 2}],
        {},
        {"type": "Point", "coordinates": [155, -7]},
        {"type": "Polygon"},
        {"type": "Polygon", "coordinates": []},
        {"type": "Polygon", "coordinates": [[]]},
        {"type": "Polygon", "coordinates": [SQUARE[:3]]},
        {"type": "Polygon", "coordinates": [SQUARE[:4]]},
        {"type": "Polygon", "coordinates": [[["a", "b"]] * 4]},
        {"type": "Polygon", "coordinates": [[[-7.5, 155.0]] * 4]},
        {"type": "Polygon", "coordinates": [SQUARE], "name": "\x00"},
    ],
    ids=lambda value: str(value)[:60],
)
def test_what_is_no_polygon_is_no_outline(programme: f.Programme, outline: Any) -> None:
    with refused("malformed", pointer="#/outline"):
        f.site(programme.lead, outline=outline)


# Who, and what is not there


@pytest.mark.parametrize("role", [Role.VIEWER, Role.FIELD, Role.NURSERY])
def test_only_leads_change_the_other_registers(programme: f.Programme, role: Role) -> None:
    actor = f.actor(role, at=programme.nursery)
    for model in (Reef, Nursery, System, Bay, Site, Plot):
        with refused("not_allowed", by=NotAllowed):
            registers.create(actor, model, {"code": "X1", "name": "X"})
        row = model._default_manager.all()[0]
        with refused("not_allowed", by=NotAllowed):
            registers.edit(actor, row, {"note": "mine"})
    with refused("not_allowed", by=NotAllowed):
        enter_nursery(actor, {"code": "X1", "name": "X", "kind": "sea", "series": "QQ"})


@pytest.mark.parametrize("text", ["", "NONE", "A\x00", "\x00", "x" * 5000])
def test_asking_for_what_is_not_there_is_no_fault(programme: f.Programme, text: str) -> None:
    with pytest.raises(Unknown):
        queries.site(text)
    for model in (Reef, Nursery, System, Bay, Structure, Site, Plot):
        with pytest.raises(Unknown):
            registers.find(model, text)


def test_a_site_is_found_in_any_case(programme: f.Programme) -> None:
    assert queries.site(f" {programme.site.code.lower()} ") == programme.site


def test_a_series_that_changes_is_kept_in_the_history(programme: f.Programme) -> None:
    nursery = f.nursery(programme.lead, series="QA")
    before = Change.objects.count()
    enter_nursery(programme.lead, {"series": "QB"}, nursery)
    assert Change.objects.count() == before + 1
    change = Change.objects.all()[0]
    assert (change.before, change.after) == ({"series": "QA"}, {"series": "QB"})
