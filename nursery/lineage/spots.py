"""Which cell each ramet of an entry gets: asked for, or the next free one.

Structures are locked here (after the ramets); what is full, blocked, outside or taken is said for
all rows at once. A structure of which cells were used after the entry's date is another matter: who
was where at that time is judged when the entry is settled.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

from nursery.core.dates import When, words
from nursery.core.errors import Path, Problem, ProblemList
from nursery.lineage.models import Ramet, Step
from nursery.lineage.occupancy import used_after
from nursery.lineage.rows import plain_moment
from nursery.lineage.words import Life
from nursery.places.actions import lock_structures
from nursery.places.cells import Cell, CellError, parse_cell
from nursery.places.models import Structure
from nursery.places.queries import lost_ever, lost_on, structures_by_code


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
    known = structures_by_code(wish.structure for wish in wishes if wish is not None)
    unknown: set[str] = set()
    for wish in wishes:
        if wish is not None and wish.structure not in known and wish.structure not in unknown:
            unknown.add(wish.structure)
            problems.add(
                "unknown_structure", f"There is no structure {wish.structure}.", *wish.path
            )
    problems.raise_if_any()
    locked = lock_structures(
        {row.pk for row in known.values()} | _homes(when, [*leaving, *staying])
    )
    rows = {code: locked[row.pk] for code, row in known.items()}
    ever_lost = lost_ever(row.pk for row in rows.values())
    for code, row in rows.items():
        if row.closed_on is not None and when.earliest > row.closed_on:
            problems.add("structure_closed", f"{code} was closed on {row.closed_on}.")
        elif row.pk in ever_lost:
            _refuse_lost(row, when, problems)
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


def _homes(when: When, ramets: Sequence[Ramet]) -> set[int]:
    """The structures in whose cells the ramets are, or ever were if the entry is a late one."""
    homes = {row.structure_id for row in ramets if row.row is not None and row.structure_id}
    late = [row.pk for row in ramets if plain_moment(row.not_before) > when.upper]
    if late:
        steps = Step.objects.filter(ramet__in=late, row__isnull=False, live=True)
        homes |= set(steps.values_list("structure_id", flat=True))
    return homes


def _refuse_lost(row: Structure, when: When, problems: ProblemList) -> None:
    """Nothing goes into a structure that is lost, or was on every day of a past date."""
    since = lost_on(row, when)
    if since is not None:
        problems.add("structure_lost", f"{row.code} was lost {words(since)}.")


def cell_of_nothing(cell: str, path: Path) -> Problem:
    """Why a cell is refused for which no structure is named."""
    return Problem("cell_without_structure", f"{cell} of which structure?", path)


class _Taken:
    """The cells that hold a living ramet or a structure, and those this entry gives away.

    Of structures that were used after the entry's date, the cells are known that are in use then
    or later; a cell that is asked for there is judged when the entry is settled.
    """

    def __init__(self, structures: Iterable[Structure], when: When, leaving: set[int]) -> None:
        rows = list(structures)
        self.late = {
            row.pk
            for row in rows
            if row.busy_until is not None and plain_moment(row.busy_until) > when.upper
        }
        self.later = used_after(self.late, when.lower, but=leaving)
        ids = [row.pk for row in rows if row.pk not in self.late]
        self.by: dict[tuple[int, Cell], str] = {}
        self.ramets: dict[tuple[int, Cell], int] = {}
        self.given: set[tuple[int, Cell]] = set()
        living = Ramet.objects.filter(structure_id__in=ids, life=Life.LIVING, row__isnull=False)
        for pk, code, structure, row, column in living.values_list(
            "pk", "code", "structure_id", "row", "column"
        ):
            if pk not in leaving and row is not None and column is not None and structure:
                self.by[structure, Cell(row, column)] = code
                self.ramets[structure, Cell(row, column)] = pk
        held = Structure.objects.filter(parent_id__in=ids, parent_row__isnull=False)
        for inner in held:
            cell = inner.parent_cell
            if cell is not None and inner.parent_id is not None:
                self.by[inner.parent_id, cell] = inner.code

    def holds(self, structure: Structure, cell: Cell) -> bool:
        where = (structure.pk, cell)
        used = (structure.pk, cell.row, cell.column) in self.later
        return where in self.by or where in self.given or used

    def who(self, structure: Structure, cell: Cell) -> str:
        """Who holds the cell and since when."""
        where = (structure.pk, cell)
        code = self.by[where]
        pk = self.ramets.get(where)
        if pk is None:
            return code
        step = (
            Step.objects.filter(ramet_id=pk, live=True, place__isnull=False)
            .select_related("event")
            .order_by("-order")
            .first()
        )
        return f"{code} since {words(step.event.when)}" if step else code


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
    where = (row.pk, cell)
    if where in taken.given:
        problems.add("cell_twice", f"{row.code} {cell} is given twice in this entry.", *wish.path)
        return None
    if where in taken.by:
        problems.add(
            "cell_occupied",
            f"{row.code} {cell} is taken by {taken.who(row, cell)}. "
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
        if not taken.holds(row, cell):
            taken.given.add((row.pk, cell))
            yield cell
