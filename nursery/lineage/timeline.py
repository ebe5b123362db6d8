"""Histories in one order: of a ramet, and of a cell that one after another lived in.

Every event stands at one moment among all others (`Key`: moment, then the order of entry), so a
ramet's steps and a cell's stays are in the same order wherever they are looked at. Pure: plain
values in and out.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from itertools import pairwise

from nursery.core.dates import When
from nursery.lineage.replay import ACTS, SIGHTINGS, Change, State, StepRefused, advance
from nursery.lineage.words import Life, What

Key = tuple[datetime, int]
"""Where an event stands: its moment, and its id."""

TICK = timedelta(milliseconds=1)
"""How far apart events of one day are put, so that another fits between two of them."""

_SEEN_ON_REEF = frozenset({What.SEEN_ALIVE, What.SEEN_DEAD, What.SEEN_MISSING})


@dataclass(frozen=True, slots=True)
class Line:
    """One step in a ramet's history."""

    key: Key
    change: Change


class Clash(ValueError):
    """A line that cannot stand: `code` says by which rule, `because` is the line before it that
    decided, where there is one."""

    def __init__(self, code: str, line: Line, because: Line | None) -> None:
        super().__init__(code)
        self.code = code
        self.line = line
        self.because = because


@dataclass(frozen=True, slots=True)
class Stay:
    """One living in one cell from an event to another (`end` None: still). `holder` says who: a
    ramet's id, or that of a structure as a negative number."""

    holder: int
    cell: tuple[int, int, int]
    begin: Key
    end: Key | None


class Overlap(ValueError):
    """Two that are in one cell at once: `second` came while `first` was there."""

    def __init__(self, first: Stay, second: Stay) -> None:
        super().__init__("cell_was_held")
        self.first = first
        self.second = second


def states(lines: Sequence[Line]) -> list[State]:
    """The state after each line of a whole history, which is given in the order of its keys.

    An act that was entered before a sighting which would have made it impossible stands, and shows
    that the ramet lived: sightings are never refused, and both are listed as a contradiction.
    Raises Clash with the rules of `advance`, or with `not_planted_here` where something was seen on
    the reef that had not been planted by then.
    """
    found: list[State] = []
    state = State()
    life: Line | None = None
    place: Line | None = None
    planted = False
    for line in lines:
        change = line.change
        if (
            change.what in ACTS
            and life is not None
            and state.life is not Life.LIVING
            and life.change.what in SIGHTINGS
            and life.key[1] > line.key[1]
        ):
            state = replace(state, life=Life.LIVING, cause=None)
        if change.what in _SEEN_ON_REEF and not planted and state.life is not None:
            raise Clash("not_planted_here", line, None)
        try:
            state = advance(state, change, line.key[0])
        except StepRefused as refused:
            because = life if refused.code == "not_living" else place
            raise Clash(refused.code, line, because) from None
        if change.life is not None:
            life = line
        if change.place is not None:
            place = line
        planted = planted or change.what is What.PLANTED
        found.append(state)
    return found


def stays(holder: int, lines: Sequence[Line], after: Sequence[State]) -> Iterator[Stay]:
    """The cells that a ramet lived in, one after another. `after` are the states of the lines."""
    cell: tuple[int, int, int] | None = None
    begin: Key | None = None
    for line, state in zip(lines, after, strict=True):
        now = state.cell
        if now == cell:
            continue
        if cell is not None and begin is not None:
            yield Stay(holder, cell, begin, line.key)
        cell, begin = now, line.key
    if cell is not None and begin is not None:
        yield Stay(holder, cell, begin, None)


def refuse_overlaps(all_stays: Iterable[Stay]) -> None:
    """Raise Overlap for the first two that were in one cell at the same time."""
    by_cell: dict[tuple[int, int, int], list[Stay]] = {}
    for stay in all_stays:
        by_cell.setdefault(stay.cell, []).append(stay)
    for cell in sorted(by_cell):
        inside = sorted(by_cell[cell], key=lambda stay: (stay.begin, stay.holder))
        for first, second in pairwise(inside):
            if first.end is None or second.begin < first.end:
                raise Overlap(first, second)


def candidates(when: When, keys: Iterable[Key]) -> list[datetime]:
    """The moments within a date at which an event may stand, the best first.

    `keys` are those of all that it may come before or after. It stands right after one of them, the
    last first (on one day the order of entry decides), or else at the beginning of its date. Two
    of one moment are told apart by their ids.
    """
    moments = sorted({key[0] for key in keys})
    inside = [moment for moment in moments if when.lower <= moment <= when.upper]
    following = dict(pairwise(moments))
    found = [after(moment, when, following.get(moment)) for moment in reversed(inside)]
    if not inside or inside[0] > when.lower:
        found.append(when.lower)
    return list(dict.fromkeys(found))


def after(moment: datetime, when: When, following: datetime | None = None) -> datetime:
    """Right after a moment and before the `following`, or at it where the date leaves no room."""
    wanted = moment + TICK
    if following is not None and following <= wanted:
        wanted = moment + (following - moment) / 2
    return min(wanted, when.upper)
