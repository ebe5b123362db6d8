"""What a ramet is: the fold of its steps. Pure: no database, plain values in and out.

The same rules judge a new entry on the fast path (one step on the state that is cached) and a
whole history. The order of steps is not judged here: `timeline` puts them in it.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from nursery.lineage.words import Cause, Life, Place, What

ACTS = frozenset(
    {
        What.RECEIVED,
        What.PLACED,
        What.PACKED,
        What.CUT_FROM,
        What.USED_UP,
        What.PLANTED,
        What.LIFTED,
        What.ENDED,
        What.COUNTED_DEAD,
        What.COUNTED_MISSING,
        What.REBASED,
        What.SAMPLED,
    }
)
"""Steps that somebody did, so that they need a living ramet."""

ENDS_THERE = frozenset({What.ENDED, What.COUNTED_DEAD, What.COUNTED_MISSING})
"""Steps that end a ramet. Where one names a structure, that is where the ramet has to be when it is
lost or counted with all else there; its cell stays as the last that it was in."""

CHECKED = frozenset({What.CHECKED_ALIVE, What.CHECKED_DEAD, What.CHECKED_MISSING})
"""Steps that were seen in a nursery, so not of what stands on the reef: there a visit looks."""

SIGHTINGS = CHECKED | {What.SEEN_ALIVE, What.SEEN_DEAD, What.SEEN_MISSING, What.FOUND}
"""Steps that were only seen. They are never refused for disagreeing: the latest decides."""


class StepRefused(ValueError):
    """A step that cannot follow; `code` is stable."""

    def __init__(self, code: str) -> None:
        super().__init__(code)
        self.code = code


@dataclass(frozen=True, slots=True)
class Change:
    """What a step says. Values are absolute; None means unchanged.

    Where `place` is given, structure, cell and plot are taken with it, as they are.
    """

    what: What
    life: Life | None = None
    cause: Cause | None = None
    place: Place | None = None
    structure: int | None = None
    row: int | None = None
    column: int | None = None
    plot: int | None = None
    base: str | None = None


@dataclass(frozen=True, slots=True)
class State:
    """What a ramet is after its steps. `life` is None before its birth; `moment` is that of the
    last step; `base` is what it was given after birth, None where it still has the first."""

    life: Life | None = None
    cause: Cause | None = None
    place: Place = Place.NOWHERE
    structure: int | None = None
    row: int | None = None
    column: int | None = None
    plot: int | None = None
    base: str | None = None
    steps: int = 0
    moment: datetime = datetime.min  # noqa: DTZ901 - the calendar of the place, no zone

    @property
    def cell(self) -> tuple[int, int, int] | None:
        """Structure, row and column of the cell that it lives in, or None."""
        if self.life is not Life.LIVING or self.structure is None:
            return None
        if self.row is None or self.column is None:
            return None
        return self.structure, self.row, self.column


def advance(state: State, change: Change, moment: datetime) -> State:
    """The state after one more step, at a moment that is not before the last.

    Raises StepRefused: `born_twice`, `before_birth`, `not_living`, `already_planted`,
    `still_planted`, `not_planted`, `on_the_reef`, `not_packed`, `not_there`.
    """
    _check(state, change)
    lives = change.life is not None and not _seen_under_another_name(state, change)
    stands = change.place is not None and not _stays_there(change)
    fate, where = change if lives else state, change if stands else state
    return State(
        life=fate.life,
        cause=fate.cause,
        place=where.place or Place.NOWHERE,
        structure=where.structure,
        row=where.row,
        column=where.column,
        plot=where.plot,
        base=state.base if change.base is None else change.base,
        steps=state.steps + 1,
        moment=moment,
    )


def _seen_under_another_name(state: State, change: Change) -> bool:
    """What was seen of a piece that is another ramet on record: it does not live a second time."""
    return state.life is Life.IDENTIFIED and change.what in SIGHTINGS


def _stays_there(change: Change) -> bool:
    return change.what in ENDS_THERE and change.place is Place.STRUCTURE


def _check(state: State, change: Change) -> None:
    what = change.what
    if what is What.BORN:
        if state.life is not None:
            raise StepRefused("born_twice")
        return
    if state.life is None:
        raise StepRefused("before_birth")
    if what in ACTS and state.life is not Life.LIVING:
        raise StepRefused("not_living")
    if what is What.PLANTED and state.place is Place.PLOT:
        raise StepRefused("already_planted")
    if what in (What.PLACED, What.PACKED) and state.place is Place.PLOT:
        raise StepRefused("still_planted")
    if what is What.LIFTED and state.place is not Place.PLOT:
        raise StepRefused("not_planted")
    if what in CHECKED and state.place is Place.PLOT:
        raise StepRefused("on_the_reef")
    if what is What.RECEIVED and state.place is not Place.PACKED:
        raise StepRefused("not_packed")
    if _stays_there(change) and state.structure != change.structure:
        raise StepRefused("not_there")
