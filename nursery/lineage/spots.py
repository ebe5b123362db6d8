"""Which cell each ramet of an entry gets: asked for, or the next free one.

Structures are locked here (after the ramets); what is full, blocked, outside or taken is said for
all rows at once. A structure of which cells were used after the entry's date is another matter: who
was where at that time is judged when the entry is settled.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

from nursery.core.dates import When, words
from nursery.core.errors import Path, Problem, ProblemList, Refused
from nursery.core.models import Event
from nursery.lineage.models import Ramet, Step
from nursery.lineage.occupancy import Cell as Where
from nursery.lineage.occupancy import (
    busy_after,
    homes,
    ramets_now,
    structures_now,
    used_after,
)
from nursery.places.actions import lock_structures
from nursery.places.cells import Cell, CellError, parse_cell
from nursery.places.models import Nursery, Structure
from nursery.places.queries import lost_on


@dataclass(frozen=True, slots=True)
class Wish:
    """Where a ramet is to go: structure and cell as they were given, and where in the input."""

    structure: str
    cell: str | None
    path: Path


@dataclass(frozen=True, slots=True)
class Spot:
    """Where it goes: in an open structure without a cell."""

    structure: Structure
    cell: Cell | None


@dataclass(frozen=True, slots=True)
class Assigned:
    """A spot for each wish, and the structures that were locked for it."""

    spots: list[Spot | None]
    locked: Mapping[int, Structure]

    @property
    def targets(self) -> list[Structure]:
        """The structures that something goes to, each once."""
        found = {spot.structure.pk: spot.structure for spot in self.spots if spot is not None}
        return list(found.values())


def assign(
    wishes: Sequence[Wish | None],
    when: When,
    leaving: Sequence[Ramet] = (),
    staying: Sequence[Ramet] = (),
) -> Assigned:
    """A spot for each wish, in order; None stays None.

    `leaving` are the ramets that this entry takes out of their cells, `staying` others that it
    touches; the structures they are in are locked too. Raises Refused (`unknown_structure`,
    `structure_closed`, `structure_lost`, `cell_malformed`, `cell_outside`, `cell_blocked`,
    `cell_occupied`, `cell_twice`, `no_cells`, `structure_full`).
    """
    problems = ProblemList()
    asked: dict[str, Path] = {}
    for wish in wishes:
        if wish is not None:
            asked.setdefault(wish.structure, wish.path)
    locked = lock_structures(homes([*leaving, *staying]), asked)
    rows = {row.code: row for row in locked.values() if row.code in asked}
    for code, path in asked.items():
        if code not in rows:
            problems.add("unknown_structure", f"There is no structure {code}.", *path)
    problems.raise_if_any()
    lost = lost_on((row.pk for row in rows.values()), when)
    for code, row in rows.items():
        if row.closed_on is not None and when.earliest > row.closed_on:
            problems.add("structure_closed", f"{code} was closed on {row.closed_on}.")
        elif row.pk in lost:
            problems.add("structure_lost", f"{code} was lost {words(lost[row.pk])}.")
    taken = _Taken(rows.values(), when, {ramet.pk for ramet in leaving})
    spots: list[Spot | None] = [None] * len(wishes)
    for number, wish in enumerate(wishes):
        if wish is not None and wish.cell is not None:
            spots[number] = _asked(wish, rows[wish.structure], taken, problems)
    fillers = {code: _free(row, taken) for code, row in rows.items()}
    short: dict[str, list[Path]] = {}
    for number, wish in enumerate(wishes):
        if wish is None or wish.cell is not None:
            continue
        row = rows[wish.structure]
        cell = next(fillers[wish.structure], None)
        if cell is None and not row.is_open:
            short.setdefault(wish.structure, []).append(wish.path)
        spots[number] = Spot(row, cell)
    for code, paths in short.items():
        wanted = sum(w is not None and w.cell is None and w.structure == code for w in wishes)
        problems.add(
            "structure_full",
            f"{code} has {wanted - len(paths)} free cells; {wanted} are needed. "
            "Choose another structure or cut fewer.",
            *paths[0],
        )
    problems.raise_if_any()
    return Assigned(spots, locked)


def wished(structure: str | None, cell: str | None, path: Path) -> Wish | None:
    """Where a row of an entry is to go; None where it says nothing of it.

    Raises Refused (`cell_without_structure`).
    """
    if structure is not None:
        return Wish(structure, cell, path)
    if cell is not None:
        raise Refused(Problem("cell_without_structure", f"{cell} of which structure?", path))
    return None


def refuse_other_nurseries(nursery: Nursery, spots: Sequence[Spot | None], rows: str) -> None:
    """Refuse (`other_nursery`) spots that are not at a nursery; `rows` is what they are of."""
    problems = ProblemList()
    for number, spot in enumerate(spots):
        if spot is not None and spot.structure.nursery_id not in (None, nursery.pk):
            problems.add(
                "other_nursery",
                f"{spot.structure.code} does not stand at {nursery.code}.",
                *(rows, number, "structure"),
            )
    problems.raise_if_any()


class _Taken:
    """The cells that hold a living ramet or a structure, and those this entry gives away.

    Of structures that were used after the entry's date, the cells are known that are in use then
    or later; a cell that is asked for there is judged when the entry is settled.
    """

    def __init__(self, structures: Iterable[Structure], when: When, leaving: set[int]) -> None:
        rows = list(structures)
        late = {row.pk for row in rows if busy_after(row, when.upper)}
        self.later = used_after(late, when.lower, but=leaving)
        ids = [row.pk for row in rows if row.pk not in late]
        self.ramets = {
            where: holder for where, holder in ramets_now(ids).items() if holder[0] not in leaving
        }
        self.structures = structures_now(ids)
        self.given: set[Where] = set()

    def holds(self, where: Where) -> bool:
        return self.held_now(where) or where in self.given or where in self.later

    def held_now(self, where: Where) -> bool:
        return where in self.ramets or where in self.structures

    def who(self, where: Where) -> str:
        """Who holds the cell, and since when if it is a ramet."""
        if where in self.structures:
            return self.structures[where][1]
        pk, code = self.ramets[where]
        return f"{code} since {words(self._since[pk].when)}"

    @cached_property
    def _since(self) -> dict[int, Event]:
        """Which event put each of the ramets where it is; read only for a refusal."""
        steps = Step.objects.filter(
            ramet__in=[pk for pk, _ in self.ramets.values()], live=True, place__isnull=False
        )
        ordered = steps.select_related("event").order_by("ramet_id", "order")
        return {step.ramet_id: step.event for step in ordered}


def _asked(wish: Wish, row: Structure, taken: _Taken, problems: ProblemList) -> Spot | None:
    grid = row.grid
    if grid is None:
        problems.add("no_cells", f"{row.code} is open: it has no cell {wish.cell}.", *wish.path)
        return None
    try:
        cell = parse_cell(wish.cell or "")
        grid.check(cell)
    except CellError as error:
        problems.add(error.code, f"{row.code}: {error.message}", *wish.path)
        return None
    where = (row.pk, cell.row, cell.column)
    if where in taken.given:
        problems.add("cell_twice", f"{row.code} {cell} is given twice in this entry.", *wish.path)
        return None
    if taken.held_now(where):
        problems.add(
            "cell_occupied",
            f"{row.code} {cell} is taken by {taken.who(where)}. "
            "Choose another cell or move that one first.",
            *wish.path,
        )
        return None
    taken.given.add(where)
    return Spot(row, cell)


def _free(row: Structure, taken: _Taken) -> Iterator[Cell]:
    """The free cells in filling order, each given away as it is taken."""
    grid = row.grid
    if grid is None:
        return
    for cell in grid.cells():
        where = (row.pk, cell.row, cell.column)
        if not taken.holds(where):
            taken.given.add(where)
            yield cell
