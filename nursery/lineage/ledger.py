"""Writing steps: lock, judge each by the pure rules, insert them, save what changed.

This is the fast path: an entry that is not earlier than the last step of all it touches. An entry
that lies before a later step is refused, naming both (`behind_later_entry`).
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime

from nursery.core import bulk
from nursery.core.dates import dated
from nursery.core.errors import Path, Problem, ProblemList
from nursery.core.models import Event
from nursery.lineage.models import Ramet, Step
from nursery.lineage.replay import Change, State, StepRefused, advance
from nursery.lineage.words import Cause, Life, Place, What

CACHED = (
    "life",
    "cause",
    "place",
    "structure",
    "row",
    "column",
    "plot",
    "steps_taken",
    "not_before",
)


@dataclass(frozen=True, slots=True)
class Entry:
    """One step to be written: of which ramet, what, and where in the input it was asked for."""

    ramet: Ramet
    change: Change
    path: Path = ()


def lock(ids: Iterable[int]) -> dict[int, Ramet]:
    """Lock ramets in the order of their ids and read them as they are now."""
    rows = Ramet.objects.select_for_update().filter(pk__in=set(ids)).order_by("pk")
    return {row.pk: row for row in rows}


def state_of(ramet: Ramet) -> State:
    """What the row says the ramet is."""
    return State(
        life=Life(ramet.life),
        cause=Cause(ramet.cause) if ramet.cause is not None else None,
        place=Place(ramet.place),
        structure=ramet.structure_id,
        row=ramet.row,
        column=ramet.column,
        plot=ramet.plot_id,
        steps=ramet.steps_taken,
        not_before=ramet.not_before.replace(tzinfo=None),
    )


def set_state(ramet: Ramet, state: State) -> None:
    """Put a state on the row (not saved)."""
    if state.life is None:
        raise ValueError("a ramet on record has been born")
    ramet.life = state.life
    ramet.cause = state.cause
    ramet.place = state.place
    ramet.structure_id = state.structure
    ramet.row = state.row
    ramet.column = state.column
    ramet.plot_id = state.plot
    ramet.steps_taken = state.steps
    ramet.not_before = stamp(state.not_before)


def stamp(moment: datetime) -> datetime:
    """A moment of the calendar, stored as it is read: the zone is only the column's habit."""
    return moment.replace(tzinfo=UTC)


def step_row(event: Event, ramet: Ramet, change: Change, order: int) -> Step:
    """A row of the ledger."""
    return Step(
        event=event,
        ramet=ramet,
        order=order,
        what=change.what,
        life=change.life,
        cause=change.cause,
        place=change.place,
        structure_id=change.structure,
        row=change.row,
        column=change.column,
        plot_id=change.plot,
    )


def born(event: Event, ramets: Sequence[Ramet], changes: Sequence[Change]) -> list[Ramet]:
    """Insert new ramets with their birth steps. Each change is a BORN with life and place."""
    for ramet, change in zip(ramets, changes, strict=True):
        ramet.born = event
        set_state(ramet, advance(State(), change, event.when))
    rows = bulk.insert(Ramet, ramets)
    bulk.insert(
        Step,
        [step_row(event, ramet, change, 1) for ramet, change in zip(rows, changes, strict=True)],
    )
    return rows


def take(event: Event, entries: Sequence[Entry]) -> None:
    """Judge and write steps of ramets that are locked; raises Refused with one problem an entry.

    Cells are emptied before they are filled, so that ramets may change places in one event.
    """
    problems = ProblemList()
    steps: list[Step] = []
    changed: dict[int, Ramet] = {}
    vacated: set[int] = set()
    when = event.when
    for entry in entries:
        ramet = entry.ramet
        try:
            after = advance(state_of(ramet), entry.change, when)
        except StepRefused as refused:
            problems.items.append(refusal(refused.code, entry, event))
            continue
        if ramet.row is not None and entry.change.place is not None:
            vacated.add(ramet.pk)
        set_state(ramet, after)
        steps.append(step_row(event, ramet, entry.change, after.steps))
        changed[ramet.pk] = ramet
    problems.raise_if_any()
    bulk.insert(Step, steps)
    if vacated:
        Ramet.objects.filter(pk__in=vacated).update(row=None, column=None)
    bulk.update(Ramet, list(changed.values()), CACHED)


def refusal(code: str, entry: Entry, event: Event) -> Problem:
    """Why a step cannot follow, in a sentence that names both events and their dates."""
    ramet = entry.ramet
    if code == "behind_later_entry":
        return _behind(entry, event)
    last = _deciding_step(ramet, code)
    since = f" ({last.event.get_kind_display()} {dated(last.event.when)})" if last else ""
    act = _DONE[entry.change.what]
    sentence = {
        "not_living": f"{ramet.code} is {Life(ramet.life).label}{since}, so it cannot be {act} "
        f"{dated(event.when)}.",
        "already_planted": f"{ramet.code} is planted already{since}. Lift it first.",
        "still_planted": f"{ramet.code} stands on the reef{since}. Lift it first.",
        "not_planted": f"{ramet.code} is not planted.",
        "not_packed": f"{ramet.code} is not on its way: it has been received already{since}.",
    }.get(code, f"{ramet.code} cannot be {act} now.")
    return Problem(code, sentence, entry.path)


def _behind(entry: Entry, event: Event) -> Problem:
    """The earliest step that the new entry would come before, on every reading of the dates."""
    ramet = entry.ramet
    steps = Step.objects.filter(ramet=ramet, live=True).select_related("event").order_by("order")
    in_the_way = next(step for step in steps if event.when.upper < step.event.when.lower)
    kind = in_the_way.event.get_kind_display()
    if in_the_way.what == What.BORN:
        code = f"before_{in_the_way.event.kind_word}"
        sentence = (
            f"{ramet.code} came into the record {dated(in_the_way.event.when)} ({kind}); an entry "
            f"{dated(event.when)} is before that. Check both dates."
        )
        return Problem(code, sentence, entry.path)
    sentence = (
        f"{ramet.code} already has a later entry: {kind} {dated(in_the_way.event.when)}. "
        f"This one {dated(event.when)} would come before it. Check both dates."
    )
    return Problem("behind_later_entry", sentence, entry.path)


def _deciding_step(ramet: Ramet, code: str) -> Step | None:
    """The last step that said what the refusal is about: of its life, or of its place."""
    steps = Step.objects.filter(ramet=ramet, live=True)
    steps = (
        steps.filter(life__isnull=False)
        if code == "not_living"
        else steps.filter(place__isnull=False)
    )
    return steps.select_related("event").order_by("-order").first()


_DONE = {
    What.BORN: "born",
    What.RECEIVED: "received",
    What.PLACED: "moved",
    What.PACKED: "packed",
    What.CUT_FROM: "cut",
    What.USED_UP: "cut",
    What.PLANTED: "planted",
    What.SEEN_ALIVE: "seen",
    What.SEEN_DEAD: "seen",
    What.SEEN_MISSING: "seen",
    What.LIFTED: "lifted",
    What.ENDED: "ended",
}
