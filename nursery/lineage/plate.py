"""A structure as it lies on the bench: each cell with what lives in it, or lay in it last.

Reads only, in a number of queries that does not grow with the cells.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from django.db.models import QuerySet

from nursery.donors.models import Genet
from nursery.lineage.models import Ramet
from nursery.lineage.words import Life
from nursery.places.cells import Cell, column_letters
from nursery.places.models import Structure

MOST_LISTED = 500
"""The most ramets of an open structure that are listed one by one."""


@dataclass(frozen=True, slots=True)
class Spot:
    """One cell. `blocked` holds nothing and is not there; at most one of the others is set."""

    cell: Cell
    blocked: bool = False
    ramet: Ramet | None = None
    structure: Structure | None = None


@dataclass(frozen=True, slots=True)
class GenetHere:
    """How many ramets of a genet (None: not known) live in the structure."""

    genet: Genet | None
    living: int


@dataclass(frozen=True, slots=True)
class Bench:
    """What a structure holds. `rows` is empty for an open one, whose ramets are in `loose`.

    `ended` counts those that ended in it, of which a cell shows the last one.
    """

    columns: tuple[str, ...]
    rows: tuple[tuple[int, tuple[Spot, ...]], ...]
    loose: tuple[Ramet, ...]
    held: tuple[Structure, ...]
    living: int
    ended: int
    free: int | None
    genets: tuple[GenetHere, ...]


def genet_of(ramet: Ramet) -> Genet | None:
    """A ramet's genet, or the one that it turned out to be the same as."""
    return (ramet.genet.canonical or ramet.genet) if ramet.genet is not None else None


def bench(structure: Structure) -> Bench:
    """The structure's cells and what is in them now."""
    inside = Ramet.objects.filter(structure=structure).select_related("taxon", "genet__canonical")
    living = list(inside.filter(life=Life.LIVING).order_by("row", "column", "pk"))
    ended = inside.exclude(life=Life.LIVING)
    held = list(structure.held.order_by("parent_row", "parent_column", "code"))
    grid = structure.grid
    rows: list[tuple[int, tuple[Spot, ...]]] = []
    free = None
    if grid is None:
        loose = [*living, *ended.order_by("-pk")[:MOST_LISTED]][:MOST_LISTED]
    else:
        loose = [ramet for ramet in living if ramet.cell is None]
        spots = _spots(_last_in_cells(ended), living, held)
        for row in range(1, grid.rows + 1):
            cells = [Cell(row, column) for column in range(1, grid.columns + 1)]
            line = [spots.get(cell) or Spot(cell, blocked=not grid.holds(cell)) for cell in cells]
            rows.append((row, tuple(line)))
        taken = {ramet.cell for ramet in living} | {row.parent_cell for row in held}
        free = sum(cell not in taken for cell in grid.cells())
    return Bench(
        columns=tuple(column_letters(index) for index in range(grid.columns if grid else 0)),
        rows=tuple(rows),
        loose=tuple(loose),
        held=tuple(held),
        living=len(living),
        ended=ended.count(),
        free=free,
        genets=tuple(_genets(living)),
    )


def _genets(living: Sequence[Ramet]) -> Iterator[GenetHere]:
    """The genets of living ramets, the most numerous first."""
    genets = {genet.pk: genet for ramet in living if (genet := genet_of(ramet)) is not None}
    counts: Counter[int | None] = Counter()
    for ramet in living:
        genet = genet_of(ramet)
        counts[genet.pk if genet else None] += 1
    for key, n in counts.most_common():
        yield GenetHere(genets[key] if key is not None else None, n)


def _last_in_cells(ended: QuerySet[Ramet]) -> list[Ramet]:
    """Of the ramets that ended in cells, the last one in each."""
    last: dict[tuple[int | None, int | None], int] = {}
    in_cells = ended.filter(row__isnull=False).order_by("pk")
    for pk, row, column in in_cells.values_list("pk", "row", "column"):
        last[row, column] = pk
    return list(ended.filter(pk__in=last.values()))


def _spots(
    ended: Sequence[Ramet], living: Sequence[Ramet], held: Sequence[Structure]
) -> dict[Cell, Spot]:
    """What each cell shows: what stands or lives in it, else what ended in it last."""
    spots: dict[Cell, Spot] = {}
    for ramet in (*ended, *living):
        if ramet.cell is not None:
            spots[ramet.cell] = Spot(ramet.cell, ramet=ramet)
    for structure in held:
        if structure.parent_cell is not None:
            spots[structure.parent_cell] = Spot(structure.parent_cell, structure=structure)
    return spots
