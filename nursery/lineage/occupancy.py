"""Who lived or stood in which cell, from when to when: read from the ledgers of ramets and of
structures."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable, Iterator
from datetime import datetime

from nursery.core import bulk
from nursery.lineage.models import Ramet, Step
from nursery.lineage.replay import Change
from nursery.lineage.rows import histories, key_of, plain_moment, stamp
from nursery.lineage.timeline import Key, Stay, states, stays
from nursery.lineage.words import Life
from nursery.places.models import Structure, StructureStep

Cell = tuple[int, int, int]
"""Structure, row and column."""


def cells_of(changes: Iterable[Change]) -> set[Cell]:
    """The cells that changes put ramets into."""
    return {
        (change.structure, change.row, change.column)
        for change in changes
        if change.structure is not None and change.row is not None and change.column is not None
    }


def stays_in(
    structures: Collection[int], cells: Collection[Cell] | None = None, but: Iterable[int] = ()
) -> list[Stay]:
    """All stays in these cells of these structures (None: in any cell), of ramets and of
    structures, in a constant number of queries; without those of the ramets `but`."""
    if not structures:
        return []
    wanted = None if cells is None else set(cells)
    steps = Step.objects.filter(structure__in=structures, row__isnull=False, live=True)
    left_out = set(but)
    ramets = {
        ramet
        for ramet, *cell in steps.values_list("ramet_id", "structure_id", "row", "column")
        if ramet not in left_out and (wanted is None or tuple(cell) in wanted)
    }
    found: list[Stay] = []
    for pk, lines in histories(ramets).items():
        found += stays(pk, lines, states(lines))
    found += _of_structures(structures)
    return [
        stay
        for stay in found
        if stay.cell[0] in structures and (wanted is None or stay.cell in wanted)
    ]


def _of_structures(parents: Collection[int]) -> Iterator[Stay]:
    """The stays of structures in cells of these, by their steps."""
    inside = StructureStep.objects.filter(parent__in=parents, parent_row__isnull=False, live=True)
    moved = StructureStep.objects.filter(
        structure__in=inside.values("structure"), live=True
    ).select_related("event")
    by_structure: dict[int, list[StructureStep]] = defaultdict(list)
    for step in moved.order_by("structure_id", "order"):
        by_structure[step.structure_id].append(step)
    for pk, steps in by_structure.items():
        cell: Cell | None = None
        begin: Key | None = None
        for step in steps:
            now = _cell(step)
            if now == cell:
                continue
            key = key_of(step.event)
            if cell is not None and begin is not None:
                yield Stay(-pk, cell, begin, key)
            cell, begin = now, key
        if cell is not None and begin is not None:
            yield Stay(-pk, cell, begin, None)


def _cell(step: StructureStep) -> Cell | None:
    if step.parent_id is None or step.parent_row is None or step.parent_column is None:
        return None
    return step.parent_id, step.parent_row, step.parent_column


def homes(ramets: Iterable[Ramet]) -> set[int]:
    """The structures in whose cells the ramets are, or ever were.

    All are locked at once and before the code series, for an entry that turns out not to stand
    after all that it touches is judged by whole histories: who then had to wait for a structure
    while he kept the series would keep waiting for whom he keeps waiting.
    """
    ids = [row.pk for row in ramets]
    steps = Step.objects.filter(ramet__in=ids, row__isnull=False, live=True).order_by()
    return set(steps.values_list("structure_id", flat=True).distinct())


def busy_after(structure: Structure, moment: datetime) -> bool:
    """Whether a cell of it was filled or emptied after a moment: what its cells hold now then says
    nothing of that moment."""
    return structure.busy_until is not None and plain_moment(structure.busy_until) > moment


def busy_anew(structures: Collection[int]) -> None:
    """Write again when cells of these (locked) structures were filled or emptied last; one whose
    cells were never used has no such moment."""
    moments: dict[int, datetime] = {}
    for stay in stays_in(structures):
        moment = (stay.end or stay.begin)[0]
        pk = stay.cell[0]
        moments[pk] = max(moment, moments.get(pk, moment))
    changed = []
    for row in Structure.objects.filter(pk__in=structures):
        last = stamp(moments[row.pk]) if row.pk in moments else None
        if row.busy_until != last:
            row.busy_until = last
            changed.append(row)
    bulk.update(Structure, changed, ["busy_until"])


def ramets_at(structures: Collection[int], at: Key) -> dict[Cell, int]:
    """The ramet that was in each cell at a moment."""
    return {
        stay.cell: stay.holder
        for stay in stays_in(structures)
        if stay.holder > 0 and stay.begin <= at and (stay.end is None or at < stay.end)
    }


def ramets_now(structures: Collection[int]) -> dict[Cell, tuple[int, str]]:
    """The living ramet in each cell, its id and its code."""
    if not structures:
        return {}
    rows = Ramet.objects.filter(structure__in=structures, life=Life.LIVING, row__isnull=False)
    return {
        (structure or 0, row or 0, column or 0): (pk, code)
        for structure, row, column, pk, code in rows.order_by().values_list(
            "structure_id", "row", "column", "pk", "code"
        )
    }


def structures_now(parents: Collection[int]) -> dict[Cell, tuple[int, str]]:
    """The structure that stands in each cell, its id and its code."""
    if not parents:
        return {}
    rows = Structure.objects.filter(parent__in=parents, parent_row__isnull=False)
    return {
        (parent or 0, row or 0, column or 0): (pk, code)
        for parent, row, column, pk, code in rows.order_by().values_list(
            "parent_id", "parent_row", "parent_column", "pk", "code"
        )
    }


def used_after(structures: Collection[int], moment: datetime, but: Iterable[int] = ()) -> set[Cell]:
    """The cells that anything is in at a moment, or later."""
    return {
        stay.cell
        for stay in stays_in(structures, but=but)
        if stay.end is None or stay.end[0] > moment
    }
