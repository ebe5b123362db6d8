"""Donor colonies and the genets they are presumed to be."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

import pytest

from nursery.core.actor import Role
from nursery.core.errors import Conflict, NotAllowed, Unknown
from nursery.core.models import Change
from nursery.donors import queries
from nursery.donors.actions import enter_colony
from nursery.donors.models import DonorColony, Genet
from tests import factories as f
from tests.refusals import refused


def edited(programme: f.Programme, row: DonorColony, **values: Any) -> DonorColony:
    return enter_colony(programme.lead, values, row)


def test_a_new_colony_is_presumed_to_be_a_genet_of_its_own(programme: f.Programme) -> None:
    colony = f.colony(programme.lead, programme.taxon, programme.reef, code="d1")
    assert (colony.code, colony.genet.code, colony.genet.status) == ("D1", "G-D1", "presumed")
    assert colony.genet.taxon == programme.taxon
    assert colony.genet != programme.colony.genet


def test_two_colonies_may_be_of_one_genet(programme: f.Programme) -> None:
    genet = programme.colony.genet
    colony = f.colony(programme.lead, programme.taxon, programme.reef, genet=genet.code.lower())
    assert colony.genet == genet


def test_a_new_colony_does_not_fall_into_the_genet_of_another(programme: f.Programme) -> None:
    first = f.colony(programme.lead, programme.taxon, programme.reef, code="D1")
    edited(programme, first, code="D1-OLD")
    with refused("code_taken", pointer="#/genet"):
        f.colony(programme.lead, programme.taxon, programme.reef, code="D1")


def test_long_codes_do_not_fall_into_one_genet(programme: f.Programme) -> None:
    start = "D" * 39
    one = f.colony(programme.lead, programme.taxon, programme.reef, code=start + "1")
    with refused("code_taken", pointer="#/genet"):
        f.colony(programme.lead, programme.taxon, programme.reef, code=start + "2")
    assert one.genet.code == ("G-" + start)[:40]


def test_a_colony_of_a_genet_of_another_taxon_is_refused(programme: f.Programme) -> None:
    genet = f.genet(programme.lead, f.taxon(programme.lead))
    with refused("genet_other_taxon", pointer="#/genet"):
        f.colony(programme.lead, programme.taxon, programme.reef, genet=genet.code)


def test_measures_are_read_with_their_units(programme: f.Programme) -> None:
    colony = f.colony(
        programme.lead, programme.taxon, programme.reef, depth_m="12 ft", size_cm="0,5 m"
    )
    assert (colony.depth_m, colony.size_cm) == (Decimal("3.7"), Decimal("50.0"))


@pytest.mark.parametrize(
    ("values", "code", "pointer"),
    [
        ({"taxon": "NONE"}, "unknown_taxon", "#/taxon"),
        ({"taxon": None}, "required", "#/taxon"),
        ({"reef": "NONE"}, "unknown_reef", "#/reef"),
        ({"reef": ""}, "required", "#/reef"),
        ({"genet": "NONE"}, "unknown_genet", "#/genet"),
        ({"code": ""}, "required", "#/code"),
        ({"code": "D 1"}, "code_malformed", "#/code"),
        ({"code": "=D1"}, "code_malformed", "#/code"),
        ({"code": "D" * 41}, "too_long", "#/code"),
        ({"code": "D\x001"}, "control_character", "#/code"),
        ({"taxon": "A\x00"}, "control_character", "#/taxon"),
        ({"genet": "A\x00"}, "control_character", "#/genet"),
        ({"name": "x" * 121}, "too_long", "#/name"),
        ({"name": "\x07"}, "control_character", "#/name"),
        ({"depth_m": "deep"}, "quantity_malformed", "#/depth_m"),
        ({"depth_m": "-1"}, "depth_above_surface", "#/depth_m"),
        ({"depth_m": "1,200"}, "quantity_ambiguous", "#/depth_m"),
        ({"size_cm": "12 fathoms"}, "unit_unknown", "#/size_cm"),
        ({"size_cm": "-1"}, "length_negative", "#/size_cm"),
        ({"found_on": "yesterday"}, "malformed", "#/found_on"),
        ({"found_on": "2021-02-30"}, "date_impossible", "#/found_on"),
        ({"rounded_latitude": "1"}, "unknown_field", "#/rounded_latitude"),
        ({"version": 7}, "unknown_field", "#/version"),
        ({"id": 7}, "unknown_field", "#/id"),
        ({"colour": "green"}, "unknown_field", "#/colour"),
        ({"latitude": "7.5 S"}, "required", "#/longitude"),
        ({"longitude": "155 E"}, "required", "#/latitude"),
        (
            {"latitude": "7.5 S", "longitude": "155 E", "uncertainty_m": 0},
            "out_of_range",
            "#/uncertainty_m",
        ),
        (
            {"latitude": "7.5 S", "longitude": "155 E", "uncertainty_m": "near"},
            "not_a_number",
            "#/uncertainty_m",
        ),
    ],
    ids=lambda value: str(value)[:50],
)
def test_a_colony_that_makes_no_sense_is_refused(
    programme: f.Programme, values: dict[str, Any], code: str, pointer: str
) -> None:
    with refused(code, pointer=pointer):
        f.colony(programme.lead, programme.taxon, programme.reef, **values)


def test_a_code_is_taken_in_any_case(programme: f.Programme) -> None:
    with refused("code_taken", pointer="#/code"):
        f.colony(
            programme.lead,
            programme.taxon,
            programme.reef,
            code=programme.colony.code.lower(),
            genet=programme.colony.genet.code,
        )


def test_an_edit_changes_what_is_given_and_nothing_else(programme: f.Programme) -> None:
    colony = f.colony(programme.lead, programme.taxon, programme.reef, name="Big one", depth_m=3)
    after = edited(programme, colony, depth_m="5")
    assert (after.name, after.depth_m, after.version) == ("Big one", Decimal("5.0"), 2)
    change = Change.objects.all()[0]
    assert (change.register, change.code) == ("donors.donorcolony", colony.code)
    assert (change.before, change.after) == ({"depth_m": "3"}, {"depth_m": "5"})


def test_an_edit_of_what_somebody_else_changed_is_refused(programme: f.Programme) -> None:
    edited(programme, programme.colony, name="first")
    with refused("edited_meanwhile", by=Conflict):
        enter_colony(programme.lead, {"name": "second"}, programme.colony, seen_version=1)
    enter_colony(programme.lead, {"name": "second"}, programme.colony, seen_version=2)


@pytest.mark.parametrize("who", [Role.VIEWER, Role.NURSERY])
def test_who_enters_no_colonies(programme: f.Programme, who: Role) -> None:
    actor = f.actor(who, at=programme.nursery)
    with refused("not_allowed", by=NotAllowed):
        f.colony(actor, programme.taxon, programme.reef)


def test_field_staff_enter_colonies_with_their_genets(programme: f.Programme) -> None:
    colony = f.colony(f.field(), programme.taxon, programme.reef)
    assert Genet.objects.get(code=f"G-{colony.code}").colonies.get() == colony


@pytest.mark.parametrize(
    "ask", [queries.colony, queries.genet, queries.taxon], ids=["colony", "genet", "taxon"]
)
@pytest.mark.parametrize("text", ["", "NONE", "A\x00", "x" * 5000, "\x00"])
def test_asking_for_what_is_not_there_is_no_fault(
    programme: f.Programme, ask: Any, text: str
) -> None:
    with pytest.raises(Unknown):
        ask(text)


def test_genets_and_taxa_are_found_by_their_names_too(programme: f.Programme) -> None:
    genet = f.genet(programme.lead, programme.taxon, name="Old Faithful")
    assert queries.genet(" old faithful ") == genet
    assert queries.genet(genet.code.lower()) == genet
    assert queries.taxon(programme.taxon.name.upper()) == programme.taxon
    assert queries.colony(programme.colony.code.lower()) == programme.colony
