"""Which cells hold what: asked for, next free, blocked, outside, taken, full."""

from __future__ import annotations

from typing import Any

import pytest

from nursery.lineage.models import Ramet
from nursery.lineage.words import Life
from nursery.places.models import Structure
from tests import factories as f
from tests.refusals import refused


@pytest.fixture
def plate(programme: f.Programme) -> Structure:
    """Two rows of three cells, B1 blocked: A1, C1, A2, B2, C2."""
    return f.structure(
        programme.lead, programme.bay, rows=2, columns=3, blocked="B1", code="P-SMALL"
    )


@pytest.fixture
def mother(programme: f.Programme) -> Ramet:
    return programme.mother()


def cells(ramets: list[Ramet]) -> list[str]:
    return [str(ramet.cell) for ramet in ramets]


def test_children_fill_the_free_cells_row_by_row_around_blocked_ones(
    programme: f.Programme, plate: Structure, mother: Ramet
) -> None:
    children = f.cut(programme.lead, [mother], 5, into=plate)
    assert cells(children) == ["A1", "C1", "A2", "B2", "C2"]


def test_the_next_children_go_on_where_the_first_ended(
    programme: f.Programme, plate: Structure, mother: Ramet
) -> None:
    f.cut(programme.lead, [mother], 2, into=plate)
    assert cells(f.cut(programme.lead, [mother], 2, into=plate)) == ["A2", "B2"]


def test_asked_cells_are_given_before_free_ones(
    programme: f.Programme, plate: Structure, mother: Ramet
) -> None:
    children = f.cut(programme.lead, [mother], into=plate, children=[{}, {"cell": "a01"}, {}])
    assert cells(children) == ["C1", "A1", "A2"]


def test_a_plate_of_eleven_by_eleven_less_its_corners_takes_117(
    programme: f.Programme, mother: Ramet
) -> None:
    # 11 × 11 cells less 4 corners: common practice, no source.
    plate = f.structure(programme.lead, programme.bay, blocked="A1 K1 A11 K11")
    with refused("structure_full", pointer="#/children/117/cell") as caught:
        f.cut(programme.lead, [mother], 118, into=plate)
    assert "117 free" in caught.value.problems[0].message
    f.cut(programme.lead, [mother], 117, into=plate)
    with refused("structure_full"):
        f.cut(programme.lead, [mother], 1, into=plate)


def test_children_may_go_to_several_structures(
    programme: f.Programme, plate: Structure, mother: Ramet
) -> None:
    children = f.cut(
        programme.lead,
        [mother],
        into=plate,
        children=[{}, {"structure": programme.tray.code}, {"structure": programme.plate.code}, {}],
    )
    assert [(child.structure, str(child.cell)) for child in children] == [
        (plate, "A1"),
        (programme.tray, "None"),
        (programme.plate, "A1"),
        (plate, "C1"),
    ]


@pytest.mark.parametrize(
    ("row", "code"),
    [
        ({"cell": "B1"}, "cell_blocked"),
        ({"cell": "D1"}, "cell_outside"),
        ({"cell": "A3"}, "cell_outside"),
        ({"cell": "99"}, "cell_malformed"),
        ({"cell": "A0"}, "cell_malformed"),
        ({"cell": "A-1"}, "cell_malformed"),
        ({"cell": "=A1"}, "cell_malformed"),
        ({"cell": "A1\x00"}, "control_character"),
        ({"cell": "A" * 9}, "too_long"),
        ({"cell": ""}, "required"),
        ({"structure": "NONE"}, "unknown_structure"),
        ({"structure": "NONE", "cell": "A1"}, "unknown_structure"),
        ({"structure": "a b"}, "code_malformed"),
    ],
    ids=str,
)
def test_what_is_no_free_cell_is_refused(
    programme: f.Programme, plate: Structure, mother: Ramet, row: dict[str, Any], code: str
) -> None:
    with refused(code):
        f.cut(programme.lead, [mother], into=plate, children=[row])


def test_a_taken_cell_is_refused_naming_who_is_there_and_since_when(
    programme: f.Programme, plate: Structure, mother: Ramet
) -> None:
    there = f.cut(programme.lead, [mother], into=plate, children=[{"cell": "C2"}])[0]
    with refused("cell_occupied", pointer="#/children/0/cell") as caught:
        f.cut(programme.lead, [mother], into=plate, children=[{"cell": "C2"}], when="2021-04-01")
    message = caught.value.problems[0].message
    assert there.code in message
    assert "1 March 2021" in message


def test_all_bad_rows_are_told_at_once(
    programme: f.Programme, plate: Structure, mother: Ramet
) -> None:
    f.cut(programme.lead, [mother], into=plate, children=[{"cell": "A1"}])
    rows = [{"cell": cell} for cell in ("A1", "B1", "D9", "C1", "C1", "x")]
    with refused(
        "cell_occupied", "cell_blocked", "cell_outside", "cell_twice", "cell_malformed"
    ) as caught:
        f.cut(programme.lead, [mother], into=plate, children=rows)
    assert [problem.row for problem in caught.value.problems] == [0, 1, 2, 4, 5]


def test_an_open_structure_has_no_cells(programme: f.Programme, mother: Ramet) -> None:
    with refused("no_cells", pointer="#/children/0/cell"):
        f.cut(programme.lead, [mother], into=programme.tray, children=[{"cell": "A1"}])


def test_a_cell_that_holds_a_structure_is_taken(
    programme: f.Programme, plate: Structure, mother: Ramet
) -> None:
    rock = f.structure(programme.lead, kind="rock", rows=1, columns=3)
    f.move_structures(
        programme.lead, [{"structure": rock.code, "parent": plate.code, "cell": "A1"}]
    )
    with refused("cell_occupied") as caught:
        f.cut(programme.lead, [mother], into=plate, children=[{"cell": "A1"}])
    assert rock.code in caught.value.problems[0].message
    assert cells(f.cut(programme.lead, [mother], into=plate)) == ["C1"]


def test_a_closed_structure_takes_nothing(
    programme: f.Programme, plate: Structure, mother: Ramet
) -> None:
    Structure.objects.filter(pk=plate.pk).update(closed_on="2021-01-01")
    with refused("structure_closed"):
        f.cut(programme.lead, [mother], into=plate)


def test_a_child_may_take_the_cell_of_a_source_that_is_used_up(
    programme: f.Programme, plate: Structure, mother: Ramet
) -> None:
    source = f.cut(programme.lead, [mother], into=plate, children=[{"cell": "A1"}])[0]
    child = f.cut(programme.lead, [], into=plate, used_up=[source], children=[{"cell": "A1"}])[0]
    assert cells([child]) == ["A1"]
    assert Ramet.objects.get(pk=source.pk).life == Life.USED_UP


def test_a_child_does_not_take_the_cell_of_a_source_that_is_kept(
    programme: f.Programme, plate: Structure, mother: Ramet
) -> None:
    source = f.cut(programme.lead, [mother], into=plate, children=[{"cell": "A1"}])[0]
    with refused("cell_occupied"):
        f.cut(programme.lead, [source], into=plate, children=[{"cell": "A1"}])


def test_a_ramet_is_named_by_its_place(
    programme: f.Programme, plate: Structure, mother: Ramet
) -> None:
    there = f.cut(programme.lead, [mother], into=plate, children=[{"cell": "C2"}])[0]
    sources = [{"ramet": "p-small c02"}]
    child = f.cut(programme.lead, [], sources=sources)[0]
    assert [source.ramet for source in child.fragmentation.sources.all()] == [there]  # type: ignore[union-attr]


def test_an_empty_place_names_no_ramet(
    programme: f.Programme, plate: Structure, mother: Ramet
) -> None:
    for text in ("P-SMALL C2", "P-SMALL B1", "P-SMALL Z99", "NONE A1"):
        with refused("unknown_ramet"):
            f.cut(programme.lead, [], sources=[{"ramet": text}])
