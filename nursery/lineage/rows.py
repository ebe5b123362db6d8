"""Rows of the ledger and plain values, each as the other."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from datetime import UTC, datetime

from nursery.core.errors import Problem, Refused
from nursery.core.models import Event
from nursery.lineage.models import Ramet, Step
from nursery.lineage.replay import Change, State
from nursery.lineage.timeline import Key, Line
from nursery.lineage.words import Cause, Life, Place, What

CACHED = (
    "life",
    "cause",
    "place",
    "structure",
    "row",
    "column",
    "plot",
    "rebased",
    "steps_taken",
    "not_before",
)
"""The fields of a ramet that are the fold of its steps."""


def stamp(moment: datetime) -> datetime:
    """A moment of the calendar, stored as it is read: the zone is only the column's habit."""
    return moment.replace(tzinfo=UTC)


def plain_moment(stored: datetime) -> datetime:
    """A stored moment as the calendar has it."""
    return stored.replace(tzinfo=None)


def lock(ids: Iterable[int]) -> dict[int, Ramet]:
    """Lock ramets in the order of their ids and read them as they are now.

    Not against those who only point at them (a foreign key is checked when they commit), so that
    nobody waits for whom he keeps waiting.

    Raises Refused (`never_born`) where the birth of one was voided while this waited.
    """
    wanted = set(ids)
    rows = Ramet.objects.select_for_update(no_key=True).filter(pk__in=wanted).order_by("pk")
    found = {row.pk: row for row in rows}
    gone = Ramet.everything.filter(pk__in=wanted - found.keys()).order_by("pk")
    if len(found) < len(wanted):
        raise Refused(
            Problem("never_born", f"{row.code} has never been: what made it was voided.")
            for row in gone
        )
    return found


def lock_all(ids: Iterable[int], known: Mapping[int, Ramet]) -> dict[int, Ramet]:
    """The same with those that have never been; rows that are `known` (locked) are kept as such."""
    missing = set(ids) - known.keys()
    rows = Ramet.everything.select_for_update(no_key=True).filter(pk__in=missing).order_by("pk")
    return {**known, **{row.pk: row for row in rows}}


def key_of(event: Event) -> Key:
    """Where an event stands among all others."""
    return plain_moment(event.moment), event.pk


def put_at(event: Event, moment: datetime) -> None:
    """Let an event stand at a moment of the calendar."""
    if plain_moment(event.moment) != moment:
        event.moment = stamp(moment)
        event.save(update_fields=["moment"])


def state_of(ramet: Ramet) -> State:
    """What the row says the ramet is."""
    life = Life(ramet.life)
    return State(
        life=None if life is Life.NEVER else life,
        cause=Cause(ramet.cause) if ramet.cause is not None else None,
        place=Place(ramet.place),
        structure=ramet.structure_id,
        row=ramet.row,
        column=ramet.column,
        plot=ramet.plot_id,
        base=ramet.rebased,
        steps=ramet.steps_taken,
        moment=plain_moment(ramet.not_before),
    )


def set_state(ramet: Ramet, state: State) -> None:
    """Put a state on the row (not saved). One that has no steps has never been."""
    ramet.life = Life.NEVER if state.life is None else state.life
    ramet.cause = state.cause
    ramet.place = state.place
    ramet.structure_id = state.structure
    ramet.row = state.row
    ramet.column = state.column
    ramet.plot_id = state.plot
    ramet.rebased = state.base
    ramet.steps_taken = state.steps
    if state.life is not None:
        ramet.not_before = stamp(state.moment)


STEP = (
    *("event_id", "ramet_id", "order", "what", "life", "cause"),
    *("place", "structure_id", "row", "column", "plot_id", "base"),
)
"""The fields of `step_values`."""


def step_values(event: Event, ramet: Ramet, change: Change, order: int) -> tuple[object, ...]:
    """A row of the ledger as plain values."""
    return (
        *(event.pk, ramet.pk, order, change.what, change.life, change.cause),
        *(change.place, change.structure, change.row, change.column, change.plot, change.base),
    )


def change_of(step: Step) -> Change:
    """What a row of the ledger says."""
    return Change(
        what=What(step.what),
        life=Life(step.life) if step.life is not None else None,
        cause=Cause(step.cause) if step.cause is not None else None,
        place=Place(step.place) if step.place is not None else None,
        structure=step.structure_id,
        row=step.row,
        column=step.column,
        plot=step.plot_id,
        base=step.base,
    )


def histories(ramet_ids: Iterable[int], but: int | None = None) -> dict[int, list[Line]]:
    """The live lines of each ramet in order, in one query; without those of the event `but`."""
    ids = list(ramet_ids)
    if not ids:
        return {}
    steps = Step.objects.filter(ramet__in=ids, live=True).select_related("event")
    if but is not None:
        steps = steps.exclude(event=but)
    found: dict[int, list[Line]] = defaultdict(list)
    for step in steps.order_by("ramet_id", "order"):
        found[step.ramet_id].append(Line(key_of(step.event), change_of(step)))
    return found
