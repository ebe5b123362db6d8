"""Writing steps: lock, judge each by the pure rules, insert them, save what changed.

`record` is the fast path: the entry stands after all else that it touches, so the cached state of
each ramet is what it is judged by. Anything else (`late.settle`) looks at whole histories. Which of
the two it is follows from the moments alone.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime

from nursery.core import bulk
from nursery.core.dates import When
from nursery.core.errors import Refused
from nursery.core.models import Event
from nursery.lineage import late
from nursery.lineage.entries import Entry, refusals
from nursery.lineage.models import Ramet, Step
from nursery.lineage.occupancy import Cell, homes
from nursery.lineage.replay import State, StepRefused, advance
from nursery.lineage.rows import (
    CACHED,
    STEP,
    lock,
    plain_moment,
    put_at,
    set_state,
    state_of,
    step_values,
)
from nursery.lineage.timeline import after
from nursery.lineage.words import Life
from nursery.places.actions import busy, lock_structures
from nursery.places.models import Structure

__all__ = ["Entry", "lock", "record"]


def record(
    event: Event, entries: Sequence[Entry], locked: Mapping[int, Structure] | None = None
) -> None:
    """Write the steps of an event, births among them; raises Refused with one problem an entry.

    Ramets of entries are locked or new (not saved yet; they get their ids here). `locked` are the
    structures that are locked already; those that are left or filled besides are locked here.
    Chooses the event's moment: the latest that its date allows, after all else that it touches.
    """
    when = event.when
    structures = _structures(entries, locked or {}, when)
    last = _last_moment(entries, structures.values())
    moment = when.lower if last is None or last < when.lower else after(last, when)
    fits = last is None or last < moment or (last == moment and not _entered_later(event, entries))
    if not fits:
        _settle(event, entries)
        return
    states: list[State] = []
    refused: list[tuple[str, Entry]] = []
    for entry in entries:
        state = State() if entry.birth else state_of(entry.ramet)
        try:
            states.append(advance(state, entry.change, moment))
        except StepRefused as error:
            refused.append((error.code, entry))
    if refused:
        if moment > when.lower:
            # Its date leaves room before something that it touches: perhaps it fits in there.
            _settle(event, entries)
            return
        raise Refused(refusals(refused, event))
    put_at(event, moment)
    used = _write(event, entries, states)
    busy([structures[pk] for pk in sorted(used)], event.moment)


def _structures(
    entries: Sequence[Entry], locked: Mapping[int, Structure], when: When
) -> dict[int, Structure]:
    """The structures whose cells are left or filled, locked; where whole histories may have to be
    looked at and nothing is locked yet, all that these are of."""
    known = [entry.ramet for entry in entries if not entry.birth]
    late = [ramet for ramet in known if plain_moment(ramet.not_before) >= when.lower]
    ids = homes(late) if late and not locked else set()
    for entry in entries:
        ramet, change = entry.ramet, entry.change
        if not entry.birth and ramet.row is not None and ramet.structure_id is not None:
            moves = change.place is not None
            if moves or (change.life is not None and change.life != ramet.life):
                ids.add(ramet.structure_id)
        if change.row is not None and change.structure is not None:
            ids.add(change.structure)
    missing = ids - locked.keys()
    found = {pk: locked[pk] for pk in ids & locked.keys()}
    return found | lock_structures(missing) if missing else found


def _last_moment(entries: Sequence[Entry], structures: Iterable[Structure]) -> datetime | None:
    moments = [entry.ramet.not_before for entry in entries if not entry.birth]
    moments += [row.busy_until for row in structures if row.busy_until is not None]
    return plain_moment(max(moments)) if moments else None


def _entered_later(event: Event, entries: Sequence[Entry]) -> bool:
    """Whether an entry that was begun after this one has touched one of its ramets already."""
    ids = [entry.ramet.pk for entry in entries if not entry.birth]
    return Step.objects.filter(ramet__in=ids, live=True, event__gt=event.pk).exists()


def _write(event: Event, entries: Sequence[Entry], states: Sequence[State]) -> set[int]:
    """Insert births and steps and save the caches. Returns the structures of which cells were
    emptied or filled.

    Cells are emptied before they are filled, so that ramets may change places in one event.
    """
    vacated: dict[int, Cell] = {}
    filled: set[Cell] = set()
    born: list[Ramet] = []
    changed: list[Ramet] = []
    for entry, state in zip(entries, states, strict=True):
        ramet = entry.ramet
        before, now = None, state.cell
        if entry.birth:
            ramet.born_id = event.pk
            born.append(ramet)
        else:
            before = state_of(ramet).cell
            changed.append(ramet)
        if before != now:
            if before is not None:
                vacated[ramet.pk] = before
            if now is not None:
                filled.add(now)
        set_state(ramet, state)
    if filled.intersection(vacated.values()):
        Ramet.objects.filter(pk__in=vacated).update(row=None, column=None)
    bulk.update(Ramet, changed, CACHED)
    bulk.insert(Ramet, born)
    bulk.insert_values(
        Step,
        STEP,
        [
            step_values(event, entry.ramet, entry.change, state.steps)
            for entry, state in zip(entries, states, strict=True)
        ],
    )
    return {cell[0] for cell in (*vacated.values(), *filled)}


def _settle(event: Event, entries: Sequence[Entry]) -> None:
    """The slow path. New ramets are inserted as never born, and are born by what is settled."""
    born = [entry.ramet for entry in entries if entry.birth]
    for ramet in born:
        ramet.born_id = event.pk
        ramet.life = Life.NEVER
        ramet.not_before = event.moment
    bulk.insert(Ramet, born)
    late.settle(event, entries)
