"""Ramets that live again because they were seen alive: whether their last cell is still theirs."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass

from nursery.core.dates import When
from nursery.lineage.models import Ramet
from nursery.lineage.occupancy import stays_in
from nursery.lineage.replay import Change
from nursery.lineage.rows import histories, plain_moment
from nursery.lineage.timeline import Clash, Key, Line, Stay, states, stays
from nursery.lineage.words import Life, Place, What
from nursery.places.cells import Cell
from nursery.places.models import Structure

_LAST_ID = 2**63 - 1
"""Past the id of any event: the look stands after all else of its date."""

_NOT_GONE = (None, Life.LIVING, Life.IDENTIFIED)
_SEEN = Change(What.CHECKED_ALIVE, life=Life.LIVING)


def may_return(ramets: Sequence[Ramet], when: When) -> list[Ramet]:
    """Those of these, seen alive then, that the record may have had for dead or lost by then."""
    return [
        row
        for row in ramets
        if Life(row.life) not in _NOT_GONE or plain_moment(row.not_before) > when.upper
    ]


@dataclass(frozen=True, slots=True)
class _Return:
    """One that lives again: when it had gone, and the stay that it would have in its cell."""

    gone: Key
    stay: Stay


def without_cell(
    ramets: Sequence[Ramet], when: When, structures: Mapping[int, Structure]
) -> set[int]:
    """The ids of those that come back to life but not into their cell: it has been taken, blocked
    or taken away. Of two that had it one after the other, the later keeps it. Their structures are
    locked. Constant number of queries."""
    seen: Key = (when.upper, _LAST_ID)
    back = [
        found
        for pk, lines in histories(row.pk for row in ramets).items()
        if (found := _return(pk, lines, seen)) is not None
    ]
    if not back:
        return set()
    cells = {one.stay.cell for one in back}
    held: list[Stay] = stays_in({cell[0] for cell in cells}, cells)
    homeless = set()
    for one in sorted(back, key=lambda each: each.gone, reverse=True):
        stay = one.stay
        if _holds(structures, stay) and not _taken(stay, held):
            held.append(stay)
        else:
            homeless.add(stay.holder)
    return homeless


def _return(pk: int, lines: Sequence[Line], seen: Key) -> _Return | None:
    """How a ramet comes back into the cell that it was in when it had gone, if it had gone then."""
    before = [line for line in lines if line.key < seen]
    if not before:
        return None
    then = states(before)[-1]
    if then.life in _NOT_GONE or then.place is not Place.STRUCTURE or then.row is None:
        return None
    whole = [*before, Line(seen, _SEEN), *lines[len(before) :]]
    try:
        after = states(whole)
    except Clash:
        # It cannot have been seen at all then, which is said when it is recorded.
        return None
    stay = next((one for one in stays(pk, whole, after) if one.begin == seen), None)
    return _Return(before[-1].key, stay) if stay is not None else None


def _holds(structures: Mapping[int, Structure], stay: Stay) -> bool:
    structure, row, column = stay.cell
    grid = structures[structure].grid if structure in structures else None
    return grid is not None and grid.holds(Cell(row, column))


def _taken(mine: Stay, held: Collection[Stay]) -> bool:
    return any(
        other.cell == mine.cell
        and other.holder != mine.holder
        and (other.end is None or other.end > mine.begin)
        and (mine.end is None or other.begin < mine.end)
        for other in held
    )
