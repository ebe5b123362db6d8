"""Entering and editing registers: what may be set, how it is read, and what is kept of it."""

from __future__ import annotations

from contextlib import suppress
from datetime import date
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from nursery.core import registers
from nursery.core.actor import Role
from nursery.core.errors import Conflict, NotAllowed, Refused, Unknown
from nursery.core.models import Change
from nursery.donors.models import DonorColony, Genet, Permit, Taxon
from nursery.places.models import Reef, Structure
from tests import factories as f
from tests.refusals import refused


def changes(row: Reef | Permit | Taxon) -> list[tuple[Any, Any]]:
    """Before and after of each change of a row, oldest first."""
    rows = Change.objects.filter(register=row._meta.label_lower, row_id=row.pk).order_by("pk")
    return [(change.before, change.after) for change in rows]


# Entering


def test_a_row_is_entered_with_its_code_in_capitals(programme: f.Programme) -> None:
    reef = registers.create(programme.lead, Reef, {"code": " ab-1_x.2 ", "name": " Big Reef "})
    assert (reef.code, reef.name, reef.version) == ("AB-1_X.2", "Big Reef", 1)


def test_an_entry_is_kept_in_the_history(programme: f.Programme) -> None:
    reef = registers.create(programme.lead, Reef, {"code": "R1", "name": "Big Reef"})
    before, after = changes(reef)[0]
    assert before is None
    assert after == {
        "code": "R1",
        "name": "Big Reef",
        "note": "",
        "closed_on": None,
        "latitude": None,
        "longitude": None,
    }
    change = Change.objects.all()[0]
    assert (change.code, change.by_id, change.register) == (
        "R1",
        programme.lead.user_id,
        "places.reef",
    )


def test_choices_are_given_by_value_or_by_label(programme: f.Programme) -> None:
    for word in ("soft", "SOFT", "soft coral", "Soft_Coral"):
        assert f.taxon(programme.lead, group=word).group == "soft"


def test_an_empty_text_is_an_empty_value(programme: f.Programme) -> None:
    taxon = f.taxon(programme.lead, aphia_id="", rank="", closed_on="", note="")
    assert (taxon.aphia_id, taxon.rank, taxon.closed_on, taxon.note) == (None, "species", None, "")


def test_numbers_and_dates_come_as_text_or_as_values(programme: f.Programme) -> None:
    for number in ("206989", 206989):
        assert f.taxon(programme.lead, aphia_id=number).aphia_id == 206989
    for day in ("2021-03-04", date(2021, 3, 4)):
        assert f.taxon(programme.lead, closed_on=day).closed_on == date(2021, 3, 4)


def test_several_rows_are_named_in_a_list_or_in_a_text(programme: f.Programme) -> None:
    taxa = [f.taxon(programme.lead) for _ in range(3)]
    codes = [taxon.code.lower() for taxon in taxa]
    for named in (codes, "; ".join(codes), ",".join(codes), taxa):
        permit = f.permit(programme.lead, taxa=named)
        assert set(permit.taxa.all()) == set(taxa)
    assert f.permit(programme.lead, taxa=[]).taxa.count() == 0
    assert f.permit(programme.lead, taxa="").taxa.count() == 0


def test_text_that_looks_like_a_formula_is_kept_as_it_is(programme: f.Programme) -> None:
    text = '=HYPERLINK("http://x","click")\'; DROP TABLE places_reef; -- <script>'
    assert f.reef(programme.lead, note=text, name="+1").note == text


def test_texts_in_any_script_are_kept(programme: f.Programme) -> None:
    reef = f.reef(programme.lead, name="Récif Ōtāhuhu 珊瑚礁 🪸", note="a\nb\tc")
    assert Reef.objects.get(pk=reef.pk).name == "Récif Ōtāhuhu 珊瑚礁 🪸"
    assert Reef.objects.get(pk=reef.pk).note == "a\nb\tc"


@pytest.mark.parametrize(
    ("values", "code", "pointer"),
    [
        ({"code": ""}, "required", "#/code"),
        ({"code": None}, "required", "#/code"),
        ({"code": " "}, "required", "#/code"),
        ({"code": "R 1"}, "code_malformed", "#/code"),
        ({"code": "-R"}, "code_malformed", "#/code"),
        ({"code": "=R"}, "code_malformed", "#/code"),
        ({"code": "RÉCIF"}, "code_malformed", "#/code"),
        ({"code": "R/1"}, "code_malformed", "#/code"),
        ({"code": "R" * 41}, "too_long", "#/code"),
        ({"code": "R\x00"}, "control_character", "#/code"),
        ({"code": ["R"]}, "malformed", "#/code"),
        ({"name": "\x00"}, "control_character", "#/name"),
        ({"name": "\x1b"}, "control_character", "#/name"),
        ({"name": "x" * 121}, "too_long", "#/name"),
        ({"name": {"en": "x"}}, "malformed", "#/name"),
        ({"note": "\x7f"}, "control_character", "#/note"),
        ({"note": True}, "malformed", "#/note"),
        ({"closed_on": "2021-02-30"}, "date_impossible", "#/closed_on"),
        ({"closed_on": "04.03.2021"}, "malformed", "#/closed_on"),
        ({"group": "fish"}, "not_a_choice", "#/group"),
        ({"group": ""}, "required", "#/group"),
        ({"group": 7}, "not_a_choice", "#/group"),
        ({"aphia_id": "x"}, "malformed", "#/aphia_id"),
        ({"aphia_id": -1}, "out_of_range", "#/aphia_id"),
        ({"aphia_id": 10**20}, "out_of_range", "#/aphia_id"),
        ({"aphia_id": 1.5}, "malformed", "#/aphia_id"),
        ({"id": 1}, "unknown_field", "#/id"),
        ({"version": 3}, "unknown_field", "#/version"),
        ({"colour": 3}, "unknown_field", "#/colour"),
        ({"__class__": "x"}, "unknown_field", "#/__class__"),
    ],
    ids=lambda value: str(value)[:50],
)
def test_a_row_that_makes_no_sense_is_refused(
    programme: f.Programme, values: dict[str, Any], code: str, pointer: str
) -> None:
    with refused(code, pointer=pointer):
        f.taxon(programme.lead, **values)


def test_all_faults_are_told_at_once(programme: f.Programme) -> None:
    with refused("code_malformed", "not_a_choice", "unknown_field") as caught:
        f.taxon(programme.lead, code="?", group="fish", colour="red")
    assert [problem.field for problem in caught.value.problems] == ["code", "group", "colour"]


def test_half_a_pair_of_characters_is_refused(programme: f.Programme) -> None:
    with refused("control_character", pointer="#/name"):
        f.taxon(programme.lead, name="\ud800")


@pytest.mark.parametrize(
    ("values", "code", "pointer"),
    [
        ({"taxa": ["NONE"]}, "unknown_taxon", "#/taxa"),
        ({"taxa": "NONE"}, "unknown_taxon", "#/taxa"),
        ({"taxa": ["A\x00"]}, "control_character", "#/taxa"),
        ({"taxa": 7}, "malformed", "#/taxa"),
        ({"taxa": {"a": 1}}, "malformed", "#/taxa"),
        ({"pieces": -1}, "out_of_range", "#/pieces"),
        ({"authority": ""}, "required", "#/authority"),
    ],
    ids=str,
)
def test_a_permit_that_makes_no_sense_is_refused(
    programme: f.Programme, values: dict[str, Any], code: str, pointer: str
) -> None:
    with refused(code, pointer=pointer):
        f.permit(programme.lead, **values)


def test_a_permit_that_lapses_before_it_is_valid_is_refused(programme: f.Programme) -> None:
    with refused("malformed"):
        f.permit(programme.lead, valid_from="2021-02-01", valid_until="2021-01-01")


def test_a_genet_is_confirmed_by_a_panel_on_a_day(programme: f.Programme) -> None:
    for values in (
        {},
        {"panel": "P"},
        {"confirmed_on": "2021-01-01"},
        {"panel": " ", "confirmed_on": "2021-01-01"},
    ):
        with refused("malformed") as caught:
            f.genet(programme.lead, programme.taxon, status="confirmed", **values)
        assert "panel" in str(caught.value)


def test_a_code_is_taken_once_in_any_case(programme: f.Programme) -> None:
    f.reef(programme.lead, code="R1")
    for code in ("R1", "r1", " r1 "):
        with refused("code_taken", pointer="#/code"):
            f.reef(programme.lead, code=code)


def test_what_the_ledger_works_out_is_set_by_nobody() -> None:
    for model in (Structure, DonorColony, Genet):
        assert model.CACHES
        settable = registers.editable_fields(model)
        assert not model.CACHES & settable.keys()
        assert not {"id", "version"} & settable.keys()


# Editing


def test_an_edit_changes_what_is_given_and_nothing_else(programme: f.Programme) -> None:
    reef = f.reef(programme.lead, code="R1", name="Old", note="kept", latitude="7.5 S")
    after = registers.edit(programme.lead, reef, {"name": "New"})
    stored = Reef.objects.get(pk=reef.pk)
    assert (stored.name, stored.note, str(stored.latitude)) == ("New", "kept", "-7.500000")
    assert (after.version, stored.version) == (2, 2)
    assert changes(reef)[-1] == ({"name": "Old"}, {"name": "New"})


def test_a_code_may_be_edited_to_a_free_one(programme: f.Programme) -> None:
    reef, other = f.reef(programme.lead, code="R1"), f.reef(programme.lead, code="R2")
    with refused("code_taken", pointer="#/code"):
        registers.edit(programme.lead, reef, {"code": other.code.lower()})
    registers.edit(programme.lead, reef, {"code": "R3"})
    assert Reef.objects.get(pk=reef.pk).code == "R3"


def test_a_row_is_closed_by_a_date_and_opened_again(programme: f.Programme) -> None:
    reef = f.reef(programme.lead)
    registers.edit(programme.lead, reef, {"closed_on": "2021-03-04"})
    registers.edit(programme.lead, reef, {"closed_on": None})
    assert changes(reef)[1:] == [
        ({"closed_on": None}, {"closed_on": "2021-03-04"}),
        ({"closed_on": "2021-03-04"}, {"closed_on": None}),
    ]


def test_an_edit_of_several_rows_is_kept_by_code(programme: f.Programme) -> None:
    first, second = f.taxon(programme.lead, code="A"), f.taxon(programme.lead, code="B")
    permit = f.permit(programme.lead, taxa=[first])
    registers.edit(programme.lead, permit, {"taxa": ["b", "a"]})
    assert changes(permit)[-1] == ({"taxa": ["A"]}, {"taxa": ["A", "B"]})
    assert set(permit.taxa.all()) == {first, second}


def test_an_edit_that_changes_nothing_is_no_change(programme: f.Programme) -> None:
    reef = f.reef(programme.lead, name="Same", latitude="7.5 S")
    registers.edit(programme.lead, reef, {"name": "Same", "latitude": "-7.5"})
    assert len(changes(reef)) == 1


def test_an_edit_of_what_somebody_else_changed_is_a_conflict(programme: f.Programme) -> None:
    reef = f.reef(programme.lead, name="Old")
    registers.edit(programme.lead, reef, {"name": "First"}, seen_version=1)
    with refused("edited_meanwhile", by=Conflict):
        registers.edit(programme.lead, reef, {"name": "Second"}, seen_version=1)
    registers.edit(programme.lead, reef, {"name": "Second"}, seen_version=2)
    assert Reef.objects.get(pk=reef.pk).name == "Second"


def test_an_edit_of_a_stale_copy_keeps_what_others_saved(programme: f.Programme) -> None:
    reef = f.reef(programme.lead, name="Old", note="old")
    stale = Reef.objects.get(pk=reef.pk)
    registers.edit(programme.lead, reef, {"name": "New"})
    registers.edit(programme.lead, stale, {"note": "new"})
    stored = Reef.objects.get(pk=reef.pk)
    assert (stored.name, stored.note) == ("New", "new")


def test_a_refused_edit_leaves_the_row(programme: f.Programme) -> None:
    reef = f.reef(programme.lead)
    for values, code in (
        ({"name": "x" * 121}, "too_long"),
        ({"name": ""}, "required"),
        ({"colour": "red"}, "unknown_field"),
    ):
        with refused(code):
            registers.edit(programme.lead, reef, {"note": "changed", **values})


def test_half_a_position_may_be_edited_if_it_can_be_one(programme: f.Programme) -> None:
    reef = f.reef(programme.lead, latitude="7.5 S", longitude="155.2")
    registers.edit(programme.lead, reef, {"latitude": "7.6 S"})
    with refused("latitude_out_of_range", pointer="#/latitude"):
        registers.edit(programme.lead, reef, {"latitude": "155.2"})


# Who


@pytest.mark.parametrize(
    ("roles", "read_only", "code"),
    [
        ([], False, "no_role"),
        ([Role.VIEWER], False, "not_allowed"),
        ([Role.FIELD], False, "not_allowed"),
        ([Role.LEAD], True, "read_only"),
    ],
    ids=str,
)
def test_who_may_not_write_a_register(
    programme: f.Programme, roles: list[Role], read_only: bool, code: str
) -> None:
    actor = f.actor(*roles, read_only=read_only)
    with refused(code, by=NotAllowed):
        f.taxon(actor)
    with refused(code, by=NotAllowed):
        registers.edit(actor, programme.taxon, {"note": "mine"})


def test_permission_comes_before_the_faults_of_the_entry(programme: f.Programme) -> None:
    viewer = f.viewer()
    with refused("not_allowed", by=NotAllowed):
        f.taxon(viewer, code="?", colour="red")


# Finding


def test_a_row_is_found_by_its_code_in_any_case(programme: f.Programme) -> None:
    assert registers.find(Taxon, f" {programme.taxon.code.lower()} ") == programme.taxon


@pytest.mark.parametrize("text", ["", "NONE", "\x00", "A\x00", "x" * 5000, "' OR 1=1 --"])
def test_a_code_that_is_not_there_is_unknown(programme: f.Programme, text: str) -> None:
    with refused("unknown_taxon", by=Unknown):
        registers.find(Taxon, text)


def test_a_code_with_nul_is_not_taken_for_the_one_without(programme: f.Programme) -> None:
    with pytest.raises(Unknown):
        registers.find(Taxon, f"{programme.taxon.code}\x00")


# Anything


junk = st.one_of(
    st.none(),
    st.booleans(),
    st.integers(-(10**20), 10**20),
    st.floats(),
    st.text(max_size=30),
    st.lists(st.text(max_size=5), max_size=3),
    st.dictionaries(st.text(max_size=5), st.integers(), max_size=2),
)


@pytest.mark.django_db
@given(values=st.dictionaries(st.sampled_from(sorted(registers.editable_fields(Taxon))), junk))
def test_whatever_is_given_is_entered_or_refused(
    standing: f.Programme, values: dict[str, Any]
) -> None:
    with suppress(Refused):
        f.taxon(standing.lead, **values)
