"""Cells of a structure: a column letter and a row number, ``C7``.

Columns run A to Z, then AA, AB and so on; rows are counted from 1. Pure: plain values in and out.
"""

import re
from collections.abc import Iterator
from dataclasses import dataclass

MAX_SIDE = 40
"""The most rows, and the most columns, of a structure."""

_CELL = re.compile(r"([A-Za-z]{1,2})0{0,3}([1-9][0-9]{0,2})")


class CellError(ValueError):
    """A text that is not a cell, a cell that a grid does not have, or a grid that cannot be.

    ``code`` is one of ``cell_malformed``, ``cell_outside``, ``cell_blocked``, ``grid_size``;
    ``message`` is for people.
    """

    def __init__(self, code: str, message: str) -> None:
        super().__init__(message)
        self.code = code
        self.message = message


def column_letters(index0: int) -> str:
    """The letters of a column counted from 0: 0 is A, 25 is Z, 26 is AA. ValueError below 0."""
    if index0 < 0:
        raise ValueError("Columns are counted from 0.")
    letters = ""
    left = index0 + 1
    while left:
        left, digit = divmod(left - 1, 26)
        letters = chr(ord("A") + digit) + letters
    return letters


def column_index(letters: str) -> int:
    """The column counted from 0 of its letters, in either case. ValueError for anything else."""
    if not re.fullmatch("[A-Za-z]+", letters):
        raise ValueError(f"A column is letters A to Z: {letters!r}.")
    index = 0
    for letter in letters.upper():
        index = index * 26 + ord(letter) - ord("A") + 1
    return index - 1


@dataclass(frozen=True, slots=True, order=True)
class Cell:
    """A cell by its row and column, both counted from 1. Cells sort in filling order, row by
    row."""

    row: int
    column: int

    def __post_init__(self) -> None:
        if self.row < 1 or self.column < 1:
            raise ValueError(f"Rows and columns are counted from 1: {self.row}, {self.column}.")

    @property
    def name(self) -> str:
        """As it is written: ``C7``."""
        return f"{column_letters(self.column - 1)}{self.row}"

    def __str__(self) -> str:
        return self.name


def parse_cell(text: str) -> Cell:
    """Read one cell: ``C7``, ``c7``, ``C07``. Raises CellError ``cell_malformed``."""
    match = _CELL.fullmatch(text.strip())
    if match is None:
        raise CellError(
            "cell_malformed",
            f"{text.strip()!r} is not a cell: a column letter and a row number, such as C7.",
        )
    return Cell(row=int(match[2]), column=column_index(match[1]) + 1)


def expand(text: str) -> list[Cell]:
    """Read cells and blocks of cells, ``A1:C4, D2``, with commas, semicolons or spaces between.

    A block is named by two opposite corners and comes row by row; a cell named twice comes once,
    where it is first. No cells for an empty text. Raises CellError: ``cell_malformed``, or
    ``cell_outside`` for what no structure can have.
    """
    cells: dict[Cell, None] = {}
    for part in re.split(r"[\s,;]+", re.sub(r"\s*:\s*", ":", text.strip())):
        if not part:
            continue
        first, colon, second = part.partition(":")
        a = parse_cell(first)
        b = parse_cell(second) if colon else a
        for corner in (a, b):
            if corner.row > MAX_SIDE or corner.column > MAX_SIDE:
                raise CellError("cell_outside", f"No structure has a cell {corner}.")
        for row in range(min(a.row, b.row), max(a.row, b.row) + 1):
            for column in range(min(a.column, b.column), max(a.column, b.column) + 1):
                cells[Cell(row, column)] = None
    return list(cells)


@dataclass(frozen=True, slots=True)
class Grid:
    """The cells of a structure: rows and columns, 1 to MAX_SIDE each, less the blocked cells.

    Raises CellError: ``grid_size``, or ``cell_outside`` for a blocked cell that is not in it.
    """

    rows: int
    columns: int
    blocked: frozenset[Cell] = frozenset()

    def __post_init__(self) -> None:
        if not (1 <= self.rows <= MAX_SIDE and 1 <= self.columns <= MAX_SIDE):
            raise CellError("grid_size", f"A structure has 1 to {MAX_SIDE} rows and columns.")
        for cell in sorted(self.blocked):
            self._check_inside(cell)

    def _inside(self, cell: Cell) -> bool:
        return cell.row <= self.rows and cell.column <= self.columns

    def _check_inside(self, cell: Cell) -> None:
        if not self._inside(cell):
            last = Cell(self.rows, self.columns)
            raise CellError("cell_outside", f"There is no cell {cell}: the last one is {last}.")

    def holds(self, cell: Cell) -> bool:
        """Whether something can be put there: inside and not blocked."""
        return self._inside(cell) and cell not in self.blocked

    def check(self, cell: Cell) -> None:
        """Raise CellError, ``cell_outside`` or ``cell_blocked``, if nothing can be put there."""
        self._check_inside(cell)
        if cell in self.blocked:
            raise CellError("cell_blocked", f"Cell {cell} is blocked and holds nothing.")

    def cells(self) -> Iterator[Cell]:
        """The cells that hold something, in filling order: A1, B1, … then the next row."""
        for row in range(1, self.rows + 1):
            for column in range(1, self.columns + 1):
                cell = Cell(row, column)
                if cell not in self.blocked:
                    yield cell

    @property
    def capacity(self) -> int:
        """How many cells hold something."""
        return self.rows * self.columns - len(self.blocked)
