"""Ramets: their steps in one order, each history replayed, and what the row says beside it."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence
from datetime import datetime
from functools import lru_cache
from itertools import pairwise
from typing import Any

from nursery.core.words import Word
from nursery.lineage.models import Ramet, Step
from nursery.lineage.replay import Change, State
from nursery.lineage.rows import plain_moment, stamp
from nursery.lineage.timeline import Clash, Line, states
from nursery.lineage.words import Cause, Life, Place, What
from nursery.outplanting.verify.difference import Difference, Tell, breaks, differs
from nursery.outplanting.verify.reading import Row, by_id, event_names
from nursery.places.models import Plot, Structure

CACHED = (
    "life",
    "cause",
    "place",
    "structure_id",
    "row",
    "column",
    "plot_id",
    "rebased",
    "steps_taken",
    "not_before",
)
"""The columns of a ramet that are the fold of its steps."""

SAYS = ("what", "life", "cause", "place", "structure_id", "row", "column", "plot_id", "base")
"""The columns of a step that say what it does."""

_STEP = ("ramet_id", "order", "event_id", "event__moment", "event__live", *SAYS)
_WORDS: dict[str, type[Word]] = {"life": Life, "cause": Cause, "place": Place}

_LIVES = {
    What.BORN: {Life.LIVING},
    What.USED_UP: {Life.USED_UP},
    What.SEEN_ALIVE: {Life.LIVING},
    What.SEEN_DEAD: {Life.DEAD},
    What.SEEN_MISSING: {Life.LOST},
    What.ENDED: set(Life) - {Life.NEVER, Life.LIVING},
    What.FOUND: {Life.LIVING},
    What.COUNTED_DEAD: {Life.DEAD},
    What.COUNTED_MISSING: {Life.LOST},
    What.CHECKED_ALIVE: {Life.LIVING},
    What.CHECKED_DEAD: {Life.DEAD},
    What.CHECKED_MISSING: {Life.LOST},
}
"""What a step makes of a ramet's life; any other leaves it."""

_PLACES = {
    What.BORN: {Place.NOWHERE, Place.STRUCTURE, Place.PACKED},
    What.PLACED: {Place.STRUCTURE},
    What.PACKED: {Place.PACKED},
    What.PLANTED: {Place.PLOT},
    What.LIFTED: {Place.STRUCTURE, Place.PACKED},
}
"""Where a step puts a ramet, for those that always do."""

_REBASE = {What.PLACED, What.PACKED, What.REBASED}
"""The steps that may give another base."""


def find(tell: Tell) -> Iterator[Difference]:
    """Every ramet, those that have never been too."""
    rows = Ramet.everything.all()
    for batch in by_id(rows, "code", "born_id", "born__live", *CACHED, tell=tell, things="ramets"):
        steps = _live_steps(batch[0][0], batch[-1][0])
        for pk, code, born, born_live, *cached in batch:
            yield from _of_ramet(code, born, born_live, cached, steps.get(pk, []))


def _live_steps(first: int, last: int) -> dict[int, list[Row]]:
    found: dict[int, list[Row]] = defaultdict(list)
    steps = Step.objects.filter(ramet__gte=first, ramet__lte=last, live=True)
    for row in steps.order_by("ramet_id", "order").values_list(*_STEP):
        found[row[0]].append(row)
    return found


@lru_cache(maxsize=50_000)
def change_from(*said: Any) -> Change:
    """What a step says, from its columns; raises ValueError for an unknown word."""
    what, life, cause, place, *rest = said
    return Change(
        What(what),
        None if life is None else Life(life),
        None if cause is None else Cause(cause),
        None if place is None else Place(place),
        *rest,
    )


@lru_cache(maxsize=50_000)
def _misfit(change: Change) -> str:
    """What does not fit together in a step, in words; empty where all does."""
    lives = _LIVES.get(change.what)
    if (change.life is not None) if lives is None else (change.life not in lives):
        return f"{change.what.label} with the life {change.life and change.life.label}"
    places = _PLACES.get(change.what)
    if places is not None and change.place not in places:
        return f"{change.what.label} with the place {change.place and change.place.label}"
    if change.cause is not None and change.life is not Life.DEAD:
        return "a cause of death without a death"
    if change.what is What.REBASED and change.base is None:
        return "rebased without a base"
    if change.base is not None and change.what not in _REBASE:
        return f"{change.what.label} with a base"
    return ""


def _of_ramet(
    code: str, born: int, born_live: bool, cached: Sequence[Any], steps: Sequence[Row]
) -> Iterator[Difference]:
    what = f"ramet {code}"
    if not steps:
        yield from _caches(what, cached, State())
        return
    lines: list[Line] = []
    for number, (_, order, event, moment, live, *said) in enumerate(steps, start=1):
        if order != number:
            yield differs("step_numbers", what, f"the order of live step {number}", order, number)
        if not live:
            yield breaks("live_step_of_void_event", what, f"a live step is of {_event(event)}.")
        try:
            change = change_from(*said)
        except ValueError as unknown:
            yield breaks("step_words", what, f"a step of {_event(event)} says {unknown}.")
            return
        if misfit := _misfit(change):
            yield breaks("step_values", what, f"the step of {_event(event)} is {misfit}.")
        lines.append(Line((plain_moment(moment), event), change))
    keys = [line.key for line in lines]
    if any(before >= after for before, after in pairwise(keys)):
        yield from _disorder(what, lines)
        lines.sort(key=lambda line: line.key)
    first = lines[0]
    if first.change.what is What.BORN and first.key[1] != born:
        yield differs(
            "born_by", what, "the event it was born by", _event(born), _event(first.key[1])
        )
    if not born_live:
        yield breaks("born_by_void_event", what, f"it was born by {_event(born)}, which is void.")
    try:
        after = states(lines)
    except Clash as clash:
        yield breaks(
            "impossible_history",
            what,
            f"its {clash.line.change.what.label} by {_event(clash.line.key[1])} cannot follow what "
            f"was before it ({clash.code}).",
            clash.code,
        )
        return
    yield from _caches(what, cached, after[-1])


def _disorder(what: str, lines: Sequence[Line]) -> Iterator[Difference]:
    """Live steps that are not in the order of their events, or two of one event."""
    events = [line.key[1] for line in lines]
    for event in sorted({event for event in events if events.count(event) > 1}):
        yield breaks("two_steps_of_one_event", what, f"{_event(event)} has several of its steps.")
    right = sorted(lines, key=lambda line: line.key)
    if [line.key for line in right] != [line.key for line in lines]:
        yield breaks(
            "steps_out_of_order",
            what,
            "its steps are not in the order in which their events stand.",
            [_event(line.key[1]) for line in lines],
            [_event(line.key[1]) for line in right],
        )


def _caches(what: str, cached: Sequence[Any], state: State) -> Iterator[Difference]:
    """What the row says, beside the state after the last step."""
    expected = (
        Life.NEVER if state.life is None else state.life,
        state.cause,
        state.place,
        state.structure,
        state.row,
        state.column,
        state.plot,
        state.base,
        state.steps,
        None if state.life is None else stamp(state.moment),
    )
    if tuple(cached) == expected:
        return
    for column, found, right in zip(CACHED, cached, expected, strict=True):
        if found == right or (column == "not_before" and right is None):
            # One that has never been keeps the moment that it would have been born at.
            continue
        name = column.removesuffix("_id")
        yield differs(f"ramet_{name}", what, name, _said(column, found), _said(column, right))


def _said(column: str, value: Any) -> Any:
    """A cached value as people read it."""
    if value is None:
        return None
    if column in _WORDS:
        words = _WORDS[column]
        return words(value).label if value in words.numbers() else value
    if column == "structure_id":
        return Structure.objects.get(pk=value).code
    if column == "plot_id":
        return Plot.objects.get(pk=value).code
    return plain_moment(value) if isinstance(value, datetime) else value


def _event(pk: int) -> str:
    return event_names([pk])[pk]
