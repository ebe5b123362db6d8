"""A structure as it lies on the bench: each cell with what lives in it, or lay in it last.

Reads only, in a number of queries that does not grow with the cells. A plate may have 1,600 of
them, so that ramets come as plain values and not as rows.
"""

from __future__ import annotations

import datetime
import uuid
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from django.db.models import Q, QuerySet

from nursery.donors.models import Genet, Taxon
from nursery.lineage.living import INDIVIDUAL, living_by
from nursery.lineage.models import Ramet, Tag
from nursery.lineage.words import Life
from nursery.places.cells import Cell, column_letters
from nursery.places.models import Structure

MOST_LISTED = 500
"""The most ramets of an open structure that are listed one by one."""

MOST_ASKED = 200
"""Of how many structures at most it is looked up which have free cells."""


@dataclass(frozen=True, slots=True)
class Occupant:
    """A ramet that lives in the structure, or ended in it. `genet` and `taxon` are ids; `lot` is
    the uid of the cutting that it came from, if it came from one; `born` its latest day."""

    pk: int
    code: str
    taxon: int
    genet: int | None
    life: Life
    cell: Cell | None
    born: datetime.date
    lot: uuid.UUID | None

    @property
    def living(self) -> bool:
        return self.life is Life.LIVING


@dataclass(frozen=True, slots=True)
class Spot:
    """One cell. `blocked` holds nothing and is not there; at most one of the others is set."""

    cell: Cell
    blocked: bool = False
    ramet: Occupant | None = None
    structure: Structure | None = None

    @property
    def free(self) -> bool:
        """Whether something can be put there now."""
        alive = self.ramet is not None and self.ramet.living
        return not self.blocked and not alive and self.structure is None


@dataclass(frozen=True, slots=True)
class GenetHere:
    """How many ramets of a genet (None: not known) live in the structure."""

    genet: Genet | None
    living: int


@dataclass(frozen=True, slots=True)
class Lot:
    """Untagged ramets of one cutting that live in an open structure: interchangeable."""

    uid: uuid.UUID
    born: datetime.date
    genet: int | None
    living: int


@dataclass(frozen=True, slots=True)
class Bench:
    """What a structure holds. `rows` is empty for an open one, whose ramets are in `loose`.

    `ended` counts those that ended in it, of which a cell shows the last one. `unlisted` are those
    that `loose` has no room for.
    """

    columns: tuple[str, ...]
    rows: tuple[tuple[int, tuple[Spot, ...]], ...]
    loose: tuple[Occupant, ...]
    unlisted: int
    held: tuple[Structure, ...]
    living: int
    ended: int
    free: int | None
    genets: tuple[GenetHere, ...]
    taxa: tuple[Taxon, ...]
    lots: tuple[Lot, ...]

    @property
    def spots(self) -> Iterator[Spot]:
        """All cells, in the order in which they are filled."""
        return (spot for _, row in self.rows for spot in row)


def bench(structure: Structure) -> Bench:
    """The structure's cells and what is in them now."""
    inside = Ramet.objects.filter(structure=structure)
    living = _occupants(inside.filter(life=Life.LIVING).order_by("row", "column", "pk"))
    ended = inside.exclude(life=Life.LIVING)
    held = list(structure.held.order_by("parent_row", "parent_column", "code"))
    grid = structure.grid
    rows: list[tuple[int, tuple[Spot, ...]]] = []
    free: int | None = None
    lots: tuple[Lot, ...] = ()
    if grid is None:
        whole = [*living, *_occupants(ended.order_by("-pk")[:MOST_LISTED])]
        lots = _lots(living)
    else:
        whole = [ramet for ramet in living if ramet.cell is None]
        spots = _spots(_last_in_cells(ended), living, held)
        for row in range(1, grid.rows + 1):
            cells = [Cell(row, column) for column in range(1, grid.columns + 1)]
            line = [spots.get(cell) or Spot(cell, blocked=not grid.holds(cell)) for cell in cells]
            rows.append((row, tuple(line)))
        free = sum(spot.free for _, line in rows for spot in line)
    known = Genet.objects.in_bulk({ramet.genet for ramet in living if ramet.genet})
    return Bench(
        columns=tuple(column_letters(index) for index in range(grid.columns if grid else 0)),
        rows=tuple(rows),
        loose=tuple(whole[:MOST_LISTED]),
        unlisted=max(len(whole) - MOST_LISTED, 0),
        held=tuple(held),
        living=len(living),
        ended=ended.count(),
        free=free,
        genets=tuple(
            GenetHere(known[key] if key is not None else None, n)
            for key, n in Counter(ramet.genet for ramet in living).most_common()
        ),
        taxa=tuple(
            Taxon.objects.filter(pk__in={ramet.taxon for ramet in living}).order_by("name", "pk")
        ),
        lots=lots,
    )


def _occupants(rows: QuerySet[Ramet]) -> list[Occupant]:
    """Ramets as plain values, in one query."""
    values = rows.annotate(individual=INDIVIDUAL).values_list(
        *("pk", "code", "taxon_id", "individual", "life", "row", "column"),
        *("born__latest", "fragmentation__event__uid"),
    )
    return [
        Occupant(
            pk=pk,
            code=code,
            taxon=taxon,
            genet=genet,
            life=Life(life),
            cell=Cell(row, column) if row is not None and column is not None else None,
            born=born,
            lot=lot,
        )
        for pk, code, taxon, genet, life, row, column, born, lot in values
    ]


def _lots(living: Sequence[Occupant]) -> tuple[Lot, ...]:
    """The lots among ramets without cells; a tagged one is known by its tag and belongs to none."""
    of_cuttings = [ramet for ramet in living if ramet.lot is not None]
    tags = Tag.objects.filter(
        ramet__in=[ramet.pk for ramet in of_cuttings], live=True, until__isnull=True
    )
    tagged = set(tags.values_list("ramet_id", flat=True)) if of_cuttings else set()
    found: dict[Any, list[Occupant]] = {}
    for ramet in of_cuttings:
        if ramet.pk not in tagged:
            found.setdefault(ramet.lot, []).append(ramet)
    lots = [Lot(uid, each[0].born, each[0].genet, len(each)) for uid, each in found.items()]
    return tuple(sorted(lots, key=lambda lot: (lot.born, str(lot.uid))))


def _last_in_cells(ended: QuerySet[Ramet]) -> list[Occupant]:
    """Of the ramets that ended in cells, the last one in each."""
    last: dict[tuple[int | None, int | None], int] = {}
    in_cells = ended.filter(row__isnull=False).order_by("pk")
    for pk, row, column in in_cells.values_list("pk", "row", "column"):
        last[row, column] = pk
    return _occupants(ended.filter(pk__in=last.values()).order_by("pk"))


def _spots(
    ended: Sequence[Occupant], living: Sequence[Occupant], held: Sequence[Structure]
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


@dataclass(frozen=True, slots=True)
class Room:
    """A structure with free cells."""

    structure: Structure
    free: int
    living: int


def with_room(nurseries: Sequence[int] | None, most: int = 8) -> list[Room]:
    """Structures of these nurseries (None: of any) with free cells: the empty ones first, plates
    before others, then those that were filled last. Rocks are left out. Three queries."""
    rows = Structure.objects.filter(
        rows__isnull=False, lost=False, closed_on__isnull=True, plot__isnull=True
    ).exclude(Q(nursery__isnull=True) | Q(kind=Structure.Kind.ROCK))
    if nurseries is not None:
        rows = rows.filter(nursery__in=nurseries)
    asked = list(rows.select_related("nursery").order_by("-pk")[:MOST_ASKED])
    living = living_by("structure", [row.pk for row in asked])
    holding = Structure.objects.filter(
        parent__in=[row.pk for row in asked], parent_row__isnull=False
    )
    held = Counter(holding.values_list("parent_id", flat=True))
    rooms = []
    for row in asked:
        grid = row.grid
        inside = living.get(row.pk, 0)
        free = grid.capacity - inside - held[row.pk] if grid is not None else 0
        if free > 0:
            rooms.append(Room(row, free, inside))
    rooms.sort(key=_empty_first)
    return rooms[:most]


def _empty_first(room: Room) -> tuple[bool, bool, float, int]:
    row = room.structure
    filled = -row.busy_until.timestamp() if row.busy_until is not None else 0.0
    return room.living > 0, row.kind != Structure.Kind.PLATE, filled, -row.pk
