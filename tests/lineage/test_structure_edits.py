"""Editing a structure: its cells may change as long as what is in one keeps it."""

from __future__ import annotations

from typing import Any

import pytest

from nursery.core.actor import Role
from nursery.core.errors import Conflict, NotAllowed
from nursery.lineage.actions.structures import edit_structure
from nursery.lineage.models import Ramet
from tests import factories as f
from tests.refusals import refused


@pytest.fixture
def ramet(programme: f.Programme) -> Ramet:
    """In C7 of the plate."""
    children = [{"cell": "C7"}]
    mother = programme.mother()
    return f.cut(programme.lead, [mother], into=programme.plate, children=children)[0]


@pytest.mark.parametrize(
    "values",
    [
        {"blocked": "C7"},
        {"blocked": "A1:K11"},
        {"rows": 6},
        {"columns": 2},
        {"rows": None, "columns": None},
    ],
    ids=str,
)
def test_a_cell_that_holds_a_ramet_is_not_taken_away(
    programme: f.Programme, ramet: Ramet, values: dict[str, Any]
) -> None:
    with refused("cell_occupied") as caught:
        edit_structure(programme.lead, programme.plate, values)
    assert "C7" in str(caught.value)


def test_a_cell_that_holds_a_structure_is_not_taken_away(programme: f.Programme) -> None:
    rock = f.structure(programme.lead, kind="rock", rows=1, columns=3)
    row = {"structure": rock.code, "parent": programme.plate.code, "cell": "C7"}
    f.move_structures(programme.lead, [row])
    with refused("cell_occupied"):
        edit_structure(programme.lead, programme.plate, {"blocked": ["C7"]})


def test_free_cells_may_be_blocked_and_opened(programme: f.Programme, ramet: Ramet) -> None:
    after = edit_structure(programme.lead, programme.plate, {"blocked": "A1 K1", "columns": 40})
    assert after.blocked == ["A1", "K1"]
    after = edit_structure(programme.lead, programme.plate, {"blocked": []})
    assert after.grid is not None
    assert after.grid.capacity == 440


def test_the_cell_of_a_ramet_that_ended_may_be_blocked(
    programme: f.Programme, ramet: Ramet
) -> None:
    f.cut(programme.lead, [], used_up=[ramet])
    assert edit_structure(programme.lead, programme.plate, {"blocked": "C7"}).blocked == ["C7"]


def test_a_structure_is_edited_by_those_who_work_where_it_stands(
    programme: f.Programme,
) -> None:
    staff, stranger = f.staff(programme.nursery), f.staff(f.nursery(programme.lead))
    with refused("not_your_nursery", by=NotAllowed):
        edit_structure(stranger, programme.plate, {"note": "mine"})
    assert edit_structure(staff, programme.plate, {"note": "mine"}).note == "mine"


@pytest.mark.parametrize("role", [Role.VIEWER, Role.FIELD])
def test_who_edits_no_structure(programme: f.Programme, role: Role) -> None:
    actor = f.actor(role)
    with refused("not_allowed", by=NotAllowed):
        edit_structure(actor, programme.plate, {"note": "mine"})


def test_where_it_stands_is_not_edited(programme: f.Programme) -> None:
    for name in ("bay", "nursery", "parent", "plot", "parent_row"):
        with refused("unknown_field", pointer=f"#/{name}"):
            edit_structure(programme.lead, programme.plate, {name: "X"})


def test_an_edit_of_what_somebody_else_changed_is_a_conflict(programme: f.Programme) -> None:
    edit_structure(programme.lead, programme.plate, {"note": "first"})
    with refused("edited_meanwhile", by=Conflict):
        edit_structure(programme.lead, programme.plate, {"note": "second"}, seen_version=1)
