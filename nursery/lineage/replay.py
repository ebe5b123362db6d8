"""What a ramet is: the fold of its steps. Pure: no database, plain values in and out.

The same rules judge a new entry on the fast path (one step on the state that is cached) and a
whole history. `not_before` is the earliest moment at which the last step can have happened, if
all steps happened in their order: each step's own lower bound, or that of a step before it.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import datetime

from nursery.core.dates import When
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
    }
)
"""Steps that somebody did, so that they need a living ramet. The others were only seen."""


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


@dataclass(frozen=True, slots=True)
class State:
    """What a ramet is after its steps. `life` is None before its birth."""

    life: Life | None = None
    cause: Cause | None = None
    place: Place = Place.NOWHERE
    structure: int | None = None
    row: int | None = None
    column: int | None = None
    plot: int | None = None
    steps: int = 0
    not_before: datetime = datetime.min  # noqa: DTZ901 - the calendar of the place, no zone


def advance(state: State, change: Change, when: When) -> State:
    """The state after one more step.

    Raises StepRefused: `born_twice`, `before_birth`, `behind_later_entry` (on every reading of
    its date the step lies before one already taken), `not_living`, `already_planted`,
    `still_planted`, `not_planted`, `not_packed`.
    """
    _check_time(state, change, when)
    _check_rules(state, change)
    after = replace(state, steps=state.steps + 1, not_before=max(state.not_before, when.lower))
    if change.life is not None:
        after = replace(after, life=change.life, cause=change.cause)
    if change.place is not None:
        after = replace(
            after,
            place=change.place,
            structure=change.structure,
            row=change.row,
            column=change.column,
            plot=change.plot,
        )
    return after


def fold(steps: Iterable[tuple[Change, When]]) -> State:
    """The state after all steps, taken in the order given; raises StepRefused."""
    state = State()
    for change, when in steps:
        state = advance(state, change, when)
    return state


def _check_time(state: State, change: Change, when: When) -> None:
    if change.what is What.BORN:
        if state.life is not None:
            raise StepRefused("born_twice")
    elif state.life is None:
        raise StepRefused("before_birth")
    elif when.upper < state.not_before:
        raise StepRefused("behind_later_entry")


def _check_rules(state: State, change: Change) -> None:
    what = change.what
    if what in ACTS and state.life is not Life.LIVING:
        raise StepRefused("not_living")
    if what is What.PLANTED and state.place is Place.PLOT:
        raise StepRefused("already_planted")
    if what in (What.PLACED, What.PACKED) and state.place is Place.PLOT:
        raise StepRefused("still_planted")
    if what is What.LIFTED and state.place is not Place.PLOT:
        raise StepRefused("not_planted")
    if what is What.RECEIVED and state.place is not Place.PACKED:
        raise StepRefused("not_packed")
