"""Cells of a structure."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from nursery.places.cells import (
    MAX_SIDE,
    Cell,
    CellError,
    Grid,
    column_index,
    column_letters,
    expand,
    parse_cell,
)

cells = st.builds(Cell, row=st.integers(1, 999), column=st.integers(1, 702))
near_cells = st.builds(Cell, row=st.integers(1, MAX_SIDE), column=st.integers(1, MAX_SIDE))
sides = st.integers(1, MAX_SIDE)


def _names(found: list[Cell]) -> list[str]:
    return [cell.name for cell in found]


@pytest.mark.parametrize(
    ("index", "letters"),
    # 16384 columns end at XFD in common spreadsheets (from memory).
    [
        (0, "A"),
        (1, "B"),
        (25, "Z"),
        (26, "AA"),
        (39, "AN"),
        (51, "AZ"),
        (701, "ZZ"),
        (16383, "XFD"),
    ],
)
def test_columns_are_named_as_in_a_spreadsheet(index: int, letters: str) -> None:
    assert column_letters(index) == letters
    assert column_index(letters) == index


@given(st.integers(0, 10**9))
def test_every_column_is_found_by_its_letters(index: int) -> None:
    assert column_index(column_letters(index)) == index


def test_letters_may_be_small() -> None:
    assert column_index("aa") == 26


def test_there_is_no_column_before_the_first() -> None:
    with pytest.raises(ValueError, match="counted from 0"):
        column_letters(-1)


@pytest.mark.parametrize("letters", ["", "1", "A1", "Ä", "A B", "A\n"])
def test_a_column_is_letters(letters: str) -> None:
    with pytest.raises(ValueError, match="letters"):
        column_index(letters)


@pytest.mark.parametrize("text", ["C7", "c7", "C07", "c007", " C7 "])
def test_a_cell_is_read_however_it_is_spelled(text: str) -> None:
    assert parse_cell(text) == Cell(row=7, column=3)


@given(cells)
def test_every_cell_is_found_by_its_name(cell: Cell) -> None:
    assert parse_cell(cell.name) == cell
    assert str(cell) == cell.name


@pytest.mark.parametrize(
    "text",
    [
        "",
        "C",
        "7",
        "7C",
        "C0",
        "C-7",
        "C 7",
        "C7.0",
        "C7:D8",
        "ABC7",
        "C1000",
        "Ç7",
        "C٧",
        "C7\nD8",
    ],
)
def test_what_is_not_a_cell_is_malformed(text: str) -> None:
    with pytest.raises(CellError) as refused:
        parse_cell(text)
    assert refused.value.code == "cell_malformed"
    assert str(refused.value) == refused.value.message


@pytest.mark.parametrize(("row", "column"), [(0, 1), (1, 0), (-1, 1)])
def test_rows_and_columns_are_counted_from_one(row: int, column: int) -> None:
    with pytest.raises(ValueError, match="counted from 1"):
        Cell(row, column)


def test_cells_sort_row_by_row_and_not_by_name() -> None:
    assert _names(sorted(map(parse_cell, ["B10", "A2", "AA1", "B1"]))) == ["B1", "AA1", "A2", "B10"]


# --- several cells -------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "names"),
    [
        ("", []),
        (" , ", []),
        ("C7", ["C7"]),
        ("A1:B2", ["A1", "B1", "A2", "B2"]),
        ("A1:C2, D2", ["A1", "B1", "C1", "A2", "B2", "C2", "D2"]),
        ("a1 : b1; d02", ["A1", "B1", "D2"]),
        ("A1 B1\nC1", ["A1", "B1", "C1"]),
        ("B2:A1", ["A1", "B1", "A2", "B2"]),
        ("A2:B1", ["A1", "B1", "A2", "B2"]),
        ("A1:A1", ["A1"]),
        ("B1, A1:C1", ["B1", "A1", "C1"]),
    ],
)
def test_blocks_of_cells_are_expanded(text: str, names: list[str]) -> None:
    assert _names(expand(text)) == names


@given(near_cells, near_cells)
def test_a_block_holds_what_is_between_its_corners(a: Cell, b: Cell) -> None:
    found = expand(f"{a}:{b}")
    assert len(found) == (abs(a.row - b.row) + 1) * (abs(a.column - b.column) + 1)
    assert found == sorted(set(found))
    assert {a, b} <= set(found)


@pytest.mark.parametrize("text", ["A1:", ":A1", "A1:B2:C3", "A1-C4", "A1,x"])
def test_what_is_not_cells_is_malformed(text: str) -> None:
    with pytest.raises(CellError) as refused:
        expand(text)
    assert refused.value.code == "cell_malformed"


@pytest.mark.parametrize("text", ["A41", "AO1", "A1:ZZ999", "A1:A41"])
def test_cells_that_no_structure_can_have_are_refused(text: str) -> None:
    with pytest.raises(CellError) as refused:
        expand(text)
    assert refused.value.code == "cell_outside"


# --- a grid --------------------------------------------------------------------------------------


def test_a_plate_of_11_by_11_less_its_corners_holds_117() -> None:
    # Common practice, no source: 117 plugs a plate, 2925 on 25 plates.
    plate = Grid(11, 11, frozenset(expand("A1, K1, A11, K11")))
    assert plate.capacity == 117
    assert 25 * plate.capacity == 2925


def test_a_grid_is_filled_row_by_row_around_blocked_cells() -> None:
    grid = Grid(rows=2, columns=3, blocked=frozenset(expand("B1")))
    assert _names(list(grid.cells())) == ["A1", "C1", "A2", "B2", "C2"]


@given(sides, sides, st.data())
def test_what_a_grid_holds_is_what_it_lists(rows: int, columns: int, data: st.DataObject) -> None:
    inside = st.builds(Cell, row=st.integers(1, rows), column=st.integers(1, columns))
    grid = Grid(rows, columns, frozenset(data.draw(st.frozensets(inside, max_size=5))))
    listed = list(grid.cells())
    assert listed == sorted(set(listed))
    assert len(listed) == grid.capacity
    cell = data.draw(near_cells)
    assert grid.holds(cell) == (cell in listed)


def test_a_free_cell_passes() -> None:
    grid = Grid(2, 3, frozenset(expand("B1")))
    for cell in grid.cells():
        grid.check(cell)


@pytest.mark.parametrize("name", ["A3", "D1", "D3", "ZZ999"])
def test_a_cell_outside_is_refused(name: str) -> None:
    grid = Grid(2, 3)
    assert not grid.holds(parse_cell(name))
    with pytest.raises(CellError, match="last one is C2") as refused:
        grid.check(parse_cell(name))
    assert refused.value.code == "cell_outside"


def test_a_blocked_cell_is_refused() -> None:
    grid = Grid(2, 3, frozenset(expand("B1")))
    assert not grid.holds(parse_cell("B1"))
    with pytest.raises(CellError) as refused:
        grid.check(parse_cell("B1"))
    assert refused.value.code == "cell_blocked"


@pytest.mark.parametrize(("rows", "columns"), [(0, 1), (1, 0), (-1, 5), (41, 1), (1, 41)])
def test_a_grid_has_1_to_40_rows_and_columns(rows: int, columns: int) -> None:
    with pytest.raises(CellError) as refused:
        Grid(rows, columns)
    assert refused.value.code == "grid_size"


def test_the_smallest_and_the_largest_grid() -> None:
    assert Grid(1, 1).capacity == 1
    assert Grid(MAX_SIDE, MAX_SIDE).capacity == 1600


def test_only_cells_of_the_grid_can_be_blocked() -> None:
    with pytest.raises(CellError) as refused:
        Grid(2, 3, frozenset(expand("D1")))
    assert refused.value.code == "cell_outside"
