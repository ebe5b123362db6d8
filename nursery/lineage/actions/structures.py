"""Whole structures set up or moved, in one event for all they hold."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from django.db import transaction

from nursery.core.actor import Actor, Role, require, require_at
from nursery.core.dates import When, dated, words
from nursery.core.errors import Problem, ProblemList, Refused
from nursery.core.models import Event, EventKind
from nursery.core.recording import Recorded, begin
from nursery.core.registers import write
from nursery.donors.permits import attach
from nursery.lineage.inputs import StandingIn, StructureMoveIn
from nursery.lineage.occupancy import Cell as Where
from nursery.lineage.occupancy import busy_after, busy_anew, ramets_now, stays_in, structures_now
from nursery.lineage.rows import key_of, plain_moment, put_at
from nursery.lineage.timeline import Overlap, candidates, refuse_overlaps
from nursery.places.actions import Standing, busy, lock_structures, lock_with_kin, put, ring_in_past
from nursery.places.cells import Cell, CellError, parse_cell
from nursery.places.models import Bay, Plot, Structure, StructureStep
from nursery.places.queries import lost_on, plots_by_code, structures_by_code

ACT = "move structures"


@transaction.atomic
def move_structures(actor: Actor, given: StructureMoveIn) -> Recorded:
    """Record where structures stand from a day on. The ramets in them stay in their cells.

    Raises NotAllowed; Refused (`unknown_structure`, `unknown_bay`, `unknown_plot`, `named_twice`,
    `structure_in_itself`, `cell_…`, `no_cells`, `behind_later_entry`).
    """
    require(actor, Role.NURSERY, act=ACT)
    recorded = begin(actor, EventKind.STRUCTURE_MOVE, given)
    if not recorded.fresh:
        return recorded
    event = recorded.event
    attach(event, given.permits)
    standings = _standings(given)
    nurseries: list[tuple[int | None, str]] = []
    for standing in standings:
        here = standing.structure.nursery_id
        if here is not None:
            nurseries.append((here, standing.structure.code))
        if standing.bay is not None:
            nurseries.append((standing.bay.system.nursery_id, standing.bay.code))
        if standing.parent is not None:
            nurseries.append((standing.parent.nursery_id, standing.parent.code))
    require_at(actor, nurseries, act=ACT)
    stand(event, standings)
    return recorded


def stand(event: Event, standings: Sequence[Standing], lost: bool = False) -> None:
    """Write where (locked) structures stand from this event on, at the latest moment that its date
    allows. Raises Refused (`cell_was_held`, `structure_in_itself`)."""
    rows = [standing.structure for standing in standings]
    parents: set[int] = set()
    for standing in standings:
        before, now = _cell_of(standing.structure), _cell_to(standing)
        if before != now:
            parents |= {cell[0] for cell in (before, now) if cell is not None}
    kin = lock_structures(parents)
    steps = StructureStep.objects.filter(structure__in=rows, live=True).select_related("event")
    keys = [key_of(step.event) for step in steps]
    busy_moments = [row.busy_until for row in kin.values() if row.busy_until is not None]
    keys += [(plain_moment(moment), 0) for moment in busy_moments]
    moment = candidates(event.when, keys)[0]
    put_at(event, moment)
    late = any(key[0] > moment for key in keys)
    if late:
        _refuse_lost_with_parent(event, standings)
    put(event, standings, lost)
    if not late:
        busy(kin.values(), event.moment)
        return
    ring = ring_in_past(row.pk for row in rows)
    if ring is not None:
        raise Refused(
            Problem(
                "structure_in_itself",
                f"{ring.structure.code} would have stood in itself from {words(ring.event.when)} "
                "on. Check both dates.",
                ("when",),
            )
        )
    ever = StructureStep.objects.filter(structure__in=rows, parent_row__isnull=False, live=True)
    homes = lock_structures(ever.filter(parent__isnull=False).values_list("parent_id", flat=True))
    try:
        refuse_overlaps(stays_in(homes.keys()))
    except Overlap as overlap:
        raise Refused(
            Problem(
                "cell_was_held",
                f"{homes[overlap.first.cell[0]].code} "
                f"{Cell(*overlap.first.cell[1:]).name} was taken at that time.",
                ("when",),
            )
        ) from None
    busy_anew(homes.keys())


def _cell_of(row: Structure) -> tuple[int, int | None, int | None] | None:
    if row.parent_id is None or row.parent_row is None:
        return None
    return row.parent_id, row.parent_row, row.parent_column


def _cell_to(standing: Standing) -> tuple[int, int | None, int | None] | None:
    if standing.parent is None or standing.cell is None:
        return None
    return standing.parent.pk, standing.cell.row, standing.cell.column


def _refuse_lost_with_parent(event: Event, standings: Sequence[Standing]) -> None:
    """A late move of what was lost later with the structure it stood in: it was not there, then."""
    rows = [standing.structure.pk for standing in standings]
    steps = StructureStep.objects.filter(structure__in=rows, live=True)
    losses = StructureStep.objects.filter(
        event__in=steps.filter(lost=True).values("event"), live=True
    )
    together = set(losses.values_list("event_id", "structure_id"))
    parents: dict[int, int | None] = {}
    for step in steps.select_related("event", "structure").order_by("structure_id", "order"):
        parent = parents.get(step.structure_id)
        later = step.event.moment > event.moment
        if later and step.lost and (step.event_id, parent) in together:
            raise Refused(
                Problem(
                    "behind_later_entry",
                    f"{step.structure.code} was lost {dated(step.event.when)} with what it "
                    f"stood in. This move {dated(event.when)} would come before it, and it "
                    "would not have been there. Check both dates.",
                    ("when",),
                )
            )
        parents[step.structure_id] = step.parent_id


@transaction.atomic
def edit_structure(
    actor: Actor, row: Structure, given: Mapping[str, Any], seen_version: int | None = None
) -> Structure:
    """Edit a structure, by those who work where it stands.

    Its cells may change as long as everything that lives or stands in one keeps it.
    Raises NotAllowed, or Refused (`cell_occupied` and the register's own).
    """
    require(actor, *Structure.WRITERS, act=Structure.ACT)
    if row.nursery is not None:
        require_at(actor, [(row.nursery_id, str(row.nursery))], act=Structure.ACT)
    changed = write(actor, row, given, seen_version)
    grid = changed.grid
    taken = [*ramets_now([changed.pk]), *structures_now([changed.pk])]
    cells = [Cell(*where[1:]) for where in taken]
    lost = [cell.name for cell in cells if grid is None or not grid.holds(cell)]
    if lost:
        raise Refused(
            Problem(
                "cell_occupied",
                f"{changed.code} holds something in {', '.join(lost[:5])}. Move it first.",
            )
        )
    return changed


def _standings(given: StructureMoveIn) -> list[Standing]:
    problems = ProblemList()
    rows = given.structures
    names = {row.structure for row in rows} | {row.parent for row in rows if row.parent}
    known = structures_by_code(names)
    locked = lock_with_kin(
        [known[row.structure].pk for row in rows if row.structure in known],
        [
            *(known[row.parent].pk for row in rows if row.parent in known),
            *(parent for row in known.values() if (parent := row.parent_id) is not None),
        ],
    )
    structures = {code: locked[row.pk] for code, row in known.items()}
    bays = {
        bay.code: bay
        for bay in Bay.objects.select_related("system").filter(
            code__in=[row.bay for row in rows if row.bay]
        )
    }
    plots = plots_by_code(row.plot for row in rows if row.plot)
    seen: set[str] = set()
    for number, row in enumerate(rows):
        path = ("structures", number)
        if row.structure not in structures:
            problems.add(
                "unknown_structure", f"There is no structure {row.structure}.", *path, "structure"
            )
        elif row.structure in seen:
            problems.add("named_twice", f"{row.structure} is named twice.", *path, "structure")
        seen.add(row.structure)
        if row.parent and row.parent not in structures:
            problems.add(
                "unknown_structure", f"There is no structure {row.parent}.", *path, "parent"
            )
        if row.bay and row.bay not in bays:
            problems.add("unknown_bay", f"There is no bay {row.bay}.", *path, "bay")
        if row.plot and row.plot not in plots:
            problems.add("unknown_plot", f"There is no plot {row.plot}.", *path, "plot")
    problems.raise_if_any()
    parents = {structures[row.parent].pk: structures[row.parent] for row in rows if row.parent}
    lost = lost_on(parents, given.when)
    current = [pk for pk, row in parents.items() if not busy_after(row, given.when.upper)]
    leaving = {structures[row.structure].pk for row in rows}
    taken = {
        where: code for where, (pk, code) in structures_now(current).items() if pk not in leaving
    }
    taken |= {where: code for where, (_, code) in ramets_now(current).items()}
    standings = [
        _standing(number, row, structures, bays, plots, lost, taken, problems)
        for number, row in enumerate(rows)
    ]
    problems.raise_if_any()
    return standings


def _standing(
    number: int,
    row: StandingIn,
    structures: Mapping[str, Structure],
    bays: Mapping[str, Bay],
    plots: Mapping[str, Plot],
    lost: Mapping[int, When],
    taken: dict[Where, str],
    problems: ProblemList,
) -> Standing:
    """Where a row says; its cell is added to those that are taken."""
    structure = structures[row.structure]
    if row.bay:
        return Standing(structure, bay=bays[row.bay])
    if row.plot:
        return Standing(structure, plot=plots[row.plot])
    parent = structures[row.parent or ""]
    path = ("structures", number, "cell")
    if parent.pk in lost:
        problems.add(
            "structure_lost",
            f"{parent.code} was lost {words(lost[parent.pk])}.",
            *("structures", number, "parent"),
        )
    grid = parent.grid
    if row.cell is None:
        if grid is not None:
            problems.add("required", f"Say which cell of {parent.code}.", *path)
        return Standing(structure, parent=parent)
    if grid is None:
        problems.add("no_cells", f"{parent.code} is open: it has no cell {row.cell}.", *path)
        return Standing(structure, parent=parent)
    try:
        cell = parse_cell(row.cell)
        grid.check(cell)
    except CellError as error:
        problems.add(error.code, f"{parent.code}: {error.message}", *path)
        return Standing(structure, parent=parent)
    where = (parent.pk, cell.row, cell.column)
    if where in taken:
        problems.add("cell_occupied", f"{parent.code} {cell} is taken by {taken[where]}.", *path)
    taken.setdefault(where, "this entry")
    return Standing(structure, parent=parent, cell=cell)
