"""Exact donor positions: who sees them, and that they lie nowhere else."""

from __future__ import annotations

import json
from decimal import Decimal
from typing import Any

import pytest
from django.apps import apps
from django.core import serializers

from nursery.core.actor import Actor, Role
from nursery.core.errors import Trouble
from nursery.core.plain import plain
from nursery.donors import positions
from nursery.donors.actions import enter_colony
from nursery.donors.models import Collection, DonorColony
from nursery.lineage import queries
from tests import factories as f
from tests.chance import without_chance
from tests.refusals import refused

# 7°30′15.5″ S, 155°12′6.7″ E: invented, with digits that occur nowhere else.
LATITUDE, LONGITUDE = "-7.5043089", "155.2018641"
DIGITS = ("5043089", "504308", "50431", "2018641", "201864", "20186")
ROUNDED = (Decimal("-7.500"), Decimal("155.200"))
SEES_ROUNDED = [Role.VIEWER, Role.NURSERY]
SEES_EXACT = [Role.FIELD, Role.LEAD]


@pytest.fixture
def colony(programme: f.Programme) -> DonorColony:
    return f.colony(
        programme.lead,
        programme.taxon,
        programme.reef,
        latitude=LATITUDE,
        longitude=LONGITUDE,
        uncertainty_m=12,
    )


@pytest.fixture
def loose(programme: f.Programme) -> Collection:
    return f.collection(
        programme.lead,
        reef=programme.reef.code,
        taxon=programme.taxon.code,
        latitude=LATITUDE,
        longitude=LONGITUDE,
        uncertainty_m=12,
    )


def somebody(role: Role, programme: f.Programme) -> Actor:
    return f.actor(role, at=programme.nursery)


def stored_text(*, also: bool) -> str:
    """Everything stored, as one text; the exact positions themselves only if `also`."""
    rows = [
        row
        for model in apps.get_models(include_auto_created=True)
        if also or model._meta.label != "donors.Position"
        for row in model._default_manager.all()
    ]
    return without_chance(str(serializers.serialize("json", rows)))


@pytest.mark.parametrize("role", SEES_ROUNDED)
def test_viewers_and_nursery_staff_see_a_colony_on_the_grid(
    programme: f.Programme, colony: DonorColony, role: Role
) -> None:
    seen = positions.of_colonies(somebody(role, programme), [colony])[colony.pk]
    assert (seen.latitude, seen.longitude) == ROUNDED
    assert (seen.exact, seen.uncertainty_m) == (False, 1582)
    assert "0.01" in seen.statement


@pytest.mark.parametrize("role", SEES_EXACT)
def test_field_staff_and_leads_see_a_colony_exactly(
    programme: f.Programme, colony: DonorColony, role: Role
) -> None:
    seen = positions.of_colonies(somebody(role, programme), [colony])[colony.pk]
    assert (seen.latitude, seen.longitude) == (Decimal(LATITUDE), Decimal(LONGITUDE))
    assert (seen.exact, seen.uncertainty_m, seen.statement) == (True, 12, "")


@pytest.mark.parametrize("role", SEES_ROUNDED)
def test_viewers_and_nursery_staff_see_loose_pieces_on_the_grid(
    programme: f.Programme, loose: Collection, role: Role
) -> None:
    seen = positions.of_collections(somebody(role, programme), [loose])[loose.pk]
    assert (seen.latitude, seen.longitude) == ROUNDED
    assert (seen.exact, seen.uncertainty_m) == (False, 1582)
    assert seen.statement


@pytest.mark.parametrize("role", SEES_EXACT)
def test_field_staff_and_leads_see_loose_pieces_exactly(
    programme: f.Programme, loose: Collection, role: Role
) -> None:
    seen = positions.of_collections(somebody(role, programme), [loose])[loose.pk]
    assert (seen.latitude, seen.longitude) == (Decimal(LATITUDE), Decimal(LONGITUDE))


def test_who_has_no_role_sees_nothing_exact(programme: f.Programme, colony: DonorColony) -> None:
    assert not positions.of_colonies(f.actor(), [colony])[colony.pk].exact


def test_what_has_no_position_is_left_out(programme: f.Programme) -> None:
    assert positions.of_colonies(programme.lead, [programme.colony]) == {}
    found = f.collection(programme.lead, programme.colony)
    assert positions.of_collections(programme.lead, [found]) == {}


def test_an_exact_position_lies_in_one_table_only(colony: DonorColony, loose: Collection) -> None:
    assert all(digits in stored_text(also=True) for digits in ("5043089", "2018641"))
    text = stored_text(also=False)
    assert not any(digits in text for digits in DIGITS)


def test_an_edited_position_lies_in_one_table_only(
    programme: f.Programme, colony: DonorColony
) -> None:
    given = {"name": "moved", "latitude": "7 30 18.1 S", "longitude": "155°12'33\" E"}
    enter_colony(programme.lead, given, colony)
    text = stored_text(also=False)
    assert not any(
        digits in text for digits in (*DIGITS, "7.50502", "155.20916", "30 18.1", "12'33")
    )
    seen = positions.of_colonies(programme.lead, [colony])[colony.pk]
    assert (seen.latitude, seen.longitude) == (Decimal("-7.5050278"), Decimal("155.2091667"))


def test_the_newest_position_of_a_colony_is_in_force(
    programme: f.Programme, colony: DonorColony
) -> None:
    after = enter_colony(programme.lead, {"latitude": "7.61 S", "longitude": "155.31 E"}, colony)
    assert (after.rounded_latitude, after.rounded_longitude) == (
        Decimal("-7.610"),
        Decimal("155.310"),
    )
    seen = positions.of_colonies(programme.lead, [after])[after.pk]
    assert (seen.latitude, seen.uncertainty_m) == (Decimal("-7.61"), None)


def test_an_edit_of_something_else_leaves_the_position(
    programme: f.Programme, colony: DonorColony
) -> None:
    after = enter_colony(programme.lead, {"name": "renamed"}, colony)
    assert (after.rounded_latitude, after.uncertainty_m) == (ROUNDED[0], 1582)
    assert positions.of_colonies(programme.lead, [after])[after.pk].exact


@pytest.mark.parametrize("role", SEES_ROUNDED)
def test_a_trace_shows_no_exact_position_to_who_may_not_see_it(
    programme: f.Programme, colony: DonorColony, loose: Collection, role: Role
) -> None:
    mother = f.mothers(programme.lead, colony, programme.tray)[0]
    child = f.cut(programme.lead, [mother, *f.ramets_of(loose)])[0]
    text = json.dumps(plain(queries.trace(somebody(role, programme), child.code)))
    assert "155.2" in text
    assert not any(digits in text for digits in DIGITS)
    exact = json.dumps(plain(queries.trace(f.field(), child.code)))
    assert exact.count("5043089") == 2


def test_an_exact_position_is_never_printed_by_accident(colony: DonorColony) -> None:
    row = apps.get_model("donors", "Position")._default_manager.get()
    for text in (str(row), repr(row), str(colony), repr(colony)):
        assert not any(digits in text for digits in DIGITS)


BAD: list[tuple[dict[str, Any], str]] = [
    ({"latitude": LATITUDE, "longitude": f"{LONGITUDE}x"}, "coordinate_malformed"),
    ({"latitude": f"x{LATITUDE}", "longitude": LONGITUDE}, "coordinate_malformed"),
    ({"latitude": LONGITUDE, "longitude": LATITUDE}, "coordinates_swapped"),
    ({"latitude": f"{LONGITUDE} E", "longitude": "7.5043089 S"}, "coordinates_swapped"),
    ({"latitude": "97.5043089", "longitude": LONGITUDE}, "latitude_out_of_range"),
    ({"latitude": LATITUDE, "longitude": "195.2018641"}, "longitude_out_of_range"),
    ({"latitude": LATITUDE, "longitude": ""}, "required"),
]


@pytest.mark.parametrize(("values", "code"), BAD, ids=str)
def test_no_refusal_of_a_colony_repeats_the_position(
    programme: f.Programme, values: dict[str, Any], code: str
) -> None:
    with refused(code) as caught:
        f.colony(programme.lead, programme.taxon, programme.reef, **values)
    assert_silent(caught.value)


@pytest.mark.parametrize(("values", "code"), BAD, ids=str)
def test_no_refusal_of_a_collection_repeats_the_position(
    programme: f.Programme, values: dict[str, Any], code: str
) -> None:
    with refused(code) as caught:
        f.collection(programme.lead, reef=programme.reef.code, taxon=programme.taxon.code, **values)
    assert_silent(caught.value)


def assert_silent(refusal: Trouble) -> None:
    text = str([(problem.message, problem.path) for problem in refusal.problems])
    assert not any(digits in text for digits in DIGITS)


def test_a_position_far_from_its_reef_and_near_it_the_other_way_round_is_swapped(
    programme: f.Programme,
) -> None:
    reef = f.reef(programme.lead, latitude="12.5 N", longitude="68.2 E")
    with refused("coordinates_swapped") as caught:
        f.colony(
            programme.lead, programme.taxon, reef, latitude="68.2018641", longitude="12.5043089"
        )
    assert_silent(caught.value)
