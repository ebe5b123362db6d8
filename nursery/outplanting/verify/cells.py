"""Cells: nobody was in one while another was, none holds what it cannot, and when each structure's
were used last."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from datetime import datetime
from itertools import pairwise
from typing import Any

from django.db.models import Count

from nursery.lineage.models import Ramet, Step
from nursery.lineage.rows import plain_moment
from nursery.lineage.timeline import Clash, Key, Line, Stay, states, stays
from nursery.outplanting.verify.difference import Difference, Tell, breaks, differs
from nursery.outplanting.verify.histories import SAYS, change_from
from nursery.outplanting.verify.reading import by_id, chunks, event_names
from nursery.places.cells import Cell, CellError, Grid, parse_cell
from nursery.places.models import Structure, StructureStep

AT_ONCE = 20_000
"""About how many steps into cells are looked at together."""

_LOOKED_AT = 500
"""The most structures that are looked at together."""

_STRUCTURE = ("code", "rows", "columns", "blocked", "busy_until")


def find(tell: Tell) -> Iterator[Difference]:
    """Every structure with all that was ever in one of its cells."""
    used: dict[int, int] = dict(
        Step.objects.filter(live=True, structure__isnull=False, row__isnull=False)
        .order_by("structure_id")
        .values_list("structure_id")
        .annotate(number=Count("pk"))
    )
    done = 0
    for batch in by_id(Structure.objects.all(), *_STRUCTURE):
        for part in _parts(batch, used):
            yield from _of_structures(part)
            done += len(part)
            tell("structures' cells", done)


def _parts(rows: Sequence[Any], used: dict[int, int]) -> Iterator[list[Any]]:
    """The structures, as many together as have about AT_ONCE steps."""
    part: list[Any] = []
    steps = 0
    for row in rows:
        part.append(row)
        steps += used.get(row[0], 0)
        if steps >= AT_ONCE or len(part) >= _LOOKED_AT:
            yield part
            part, steps = [], 0
    if part:
        yield part


def _of_structures(rows: Sequence[Any]) -> Iterator[Difference]:
    by_structure: dict[int, list[Stay]] = defaultdict(list)
    ids = {row[0] for row in rows}
    for stay in _stays(ids):
        if stay.cell[0] in ids:
            by_structure[stay.cell[0]].append(stay)
    for pk, code, count, columns, blocked, busy in rows:
        what = f"structure {code}"
        found = by_structure.get(pk, [])
        yield from _overlaps(what, found)
        yield from _outside(what, _grid(count, columns, blocked), found)
        last = max((_last_change(stay) for stay in found), default=None)
        written = None if busy is None else plain_moment(busy)
        if written != last:
            yield differs(
                "structure_busy_until", what, "when its cells changed last", written, last
            )


def _last_change(stay: Stay) -> datetime:
    """The moment of the last change that a stay made."""
    return (stay.end or stay.begin)[0]


def _grid(rows: int | None, columns: int | None, blocked: Any) -> Grid | None:
    if rows is None or columns is None:
        return None
    try:
        return Grid(rows, columns, frozenset(parse_cell(str(name)) for name in blocked))
    except CellError:
        # Blocked cells that it has not: then they block nothing.
        return Grid(rows, columns)


def _overlaps(what: str, found: Iterable[Stay]) -> Iterator[Difference]:
    by_cell: dict[tuple[int, int, int], list[Stay]] = defaultdict(list)
    for stay in found:
        by_cell[stay.cell].append(stay)
    for cell, inside in sorted(by_cell.items()):
        inside.sort(key=lambda stay: (stay.begin, stay.holder))
        for first, second in pairwise(inside):
            if first.end is None or second.begin < first.end:
                yield breaks(
                    "cell_held_twice",
                    what,
                    f"{Cell(*cell[1:])} held {_holder(first)} and {_holder(second)} at once, from "
                    f"{_event(second.begin)} on.",
                    [_holder(first), _holder(second)],
                )


def _outside(what: str, grid: Grid | None, found: Iterable[Stay]) -> Iterator[Difference]:
    """What is now in a cell that holds nothing. What left it before may have been in a cell that
    was blocked or taken off since."""
    for stay in found:
        if stay.end is not None:
            continue
        cell = Cell(*stay.cell[1:])
        if grid is None or not grid.holds(cell):
            yield breaks(
                "cell_holds_nothing", what, f"{_holder(stay)} is in {cell}, which holds nothing."
            )


def _stays(structures: set[int]) -> Iterator[Stay]:
    """All stays in cells of these structures, and in others of the same ramets and structures."""
    inside = Step.objects.filter(structure__in=structures, row__isnull=False, live=True)
    ramets = sorted(set(inside.values_list("ramet_id", flat=True)))
    for part in chunks(ramets):
        yield from _of_ramets(part)
    standing = StructureStep.objects.filter(
        parent__in=structures, parent_row__isnull=False, live=True
    )
    for part in chunks(sorted(set(standing.values_list("structure_id", flat=True)))):
        yield from _of_inner(part)


def _of_ramets(ids: Sequence[int]) -> Iterator[Stay]:
    lines: dict[int, list[Line]] = defaultdict(list)
    steps = Step.objects.filter(ramet__in=ids, live=True).order_by("ramet_id", "order")
    for ramet, event, moment, *said in steps.values_list(
        "ramet_id", "event_id", "event__moment", *SAYS
    ):
        try:
            change = change_from(*said)
        except ValueError:
            continue
        lines[ramet].append(Line((plain_moment(moment), event), change))
    for ramet, history in lines.items():
        history.sort(key=lambda line: line.key)
        try:
            after = states(history)
        except Clash:
            # An impossible history is a difference of its own, and says nothing of cells.
            continue
        yield from stays(ramet, history, after)


def _of_inner(ids: Sequence[int]) -> Iterator[Stay]:
    """The stays of structures in cells of others."""
    steps = StructureStep.objects.filter(structure__in=ids, live=True)
    rows = steps.values_list(
        "structure_id", "event__moment", "event_id", "parent_id", "parent_row", "parent_column"
    )
    by_structure: dict[int, list[tuple[Key, tuple[Any, ...] | None]]] = defaultdict(list)
    for pk, moment, event, *standing in rows:
        cell = None if None in standing else tuple(standing)
        by_structure[pk].append(((plain_moment(moment), event), cell))
    for pk, standings in by_structure.items():
        standings.sort(key=lambda standing: standing[0])
        begin, cell = standings[0]
        for key, now in standings[1:]:
            if now == cell:
                continue
            if cell is not None:
                yield Stay(-pk, _cell(cell), begin, key)
            begin, cell = key, now
        if cell is not None:
            yield Stay(-pk, _cell(cell), begin, None)


def _cell(standing: Sequence[Any]) -> tuple[int, int, int]:
    structure, row, column = standing
    return structure, row, column


def _holder(stay: Stay) -> str:
    if stay.holder < 0:
        return Structure.objects.get(pk=-stay.holder).code
    return Ramet.everything.get(pk=stay.holder).code


def _event(key: Key) -> str:
    return event_names([key[1]])[key[1]]
