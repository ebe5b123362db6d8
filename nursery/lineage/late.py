"""The slow path: an event is given exactly these steps, wherever its date allows it to stand.

A late or backdated entry, a void (no steps at all), its restoration and an amendment are all this
one thing. The whole histories of the ramets concerned are put in order and judged by the pure rules
of `timeline`, and so are the cells that they lived in. Legal: the ledger and the caches are written
anew. Illegal: nothing is, and what is in the way is named.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from nursery.core import bulk
from nursery.core.dates import dated
from nursery.core.errors import Problem, Refused
from nursery.core.models import Event
from nursery.lineage.entries import (
    Entry,
    before_birth,
    explained,
    in_the_way,
    leans_on,
    never_born,
)
from nursery.lineage.models import Ramet, Step
from nursery.lineage.occupancy import busy_anew, cells_of, stays_in
from nursery.lineage.replay import Change, State
from nursery.lineage.rows import (
    CACHED,
    STEP,
    change_of,
    histories,
    lock_all,
    plain_moment,
    set_state,
    stamp,
    state_of,
    step_values,
)
from nursery.lineage.timeline import (
    Clash,
    Key,
    Line,
    Overlap,
    Stay,
    candidates,
    refuse_overlaps,
    states,
    stays,
)
from nursery.lineage.words import What
from nursery.places.actions import lock_structures
from nursery.places.cells import Cell as CellName
from nursery.places.models import Structure


class InTheWay(Refused):
    """What an event would become cannot stand beside another event, the earliest of which is
    `event` (None where it is the entry itself that is impossible)."""

    def __init__(self, problems: Sequence[Problem], event: Event | None) -> None:
        super().__init__(problems)
        self.event = event


@dataclass(frozen=True, slots=True)
class _Found:
    """One thing in the way: where it stands, which event it is, and the sentence."""

    key: Key
    event: Event | None
    problem: Problem


@dataclass(frozen=True, slots=True)
class _Case:
    """Everything that an event is judged by: its own entries, and what is there besides."""

    event: Event
    own: Mapping[int, Entry]
    rows: Mapping[int, Ramet]
    others: Mapping[int, list[Line]]
    neighbours: Sequence[Stay]


_History = tuple[list[Line], list[State]]


def settle(event: Event, entries: Sequence[Entry], stay: bool = False) -> None:
    """Give an event exactly these steps and write all that follows for the ramets concerned.

    Their rows are locked here unless the entries bring them; structures after them. Chooses the
    event's moment within its date; with `stay` it keeps the one that it has if it can. Raises
    InTheWay.
    """
    own = {entry.ramet.pk: entry for entry in entries}
    ids = own.keys() | set(_touched(event))
    rows = lock_all(ids, {pk: entry.ramet for pk, entry in own.items()})
    others = histories(ids, but=event.pk)
    cells = cells_of([*_changes(others), *(entry.change for entry in entries)])
    standing = cells_of(change_of(step) for step in Step.objects.filter(event=event, live=True))
    structures = {cell[0] for cell in cells | standing}
    lock_structures(structures)
    case = _Case(event, own, rows, others, stays_in(structures, cells, but=ids))
    made = _first_that_stands(case, stay)
    _refuse_blocked(case, made)
    _write(case, made)
    busy_anew(structures)


def _touched(event: Event) -> Iterable[int]:
    return Step.objects.filter(event=event, live=True).values_list("ramet_id", flat=True)


def _changes(others: Mapping[int, list[Line]]) -> Iterable[Change]:
    return (line.change for lines in others.values() for line in lines)


def _first_that_stands(case: _Case, stay: bool) -> dict[int, _History]:
    """Try each moment that the date allows; sets the event's moment. Raises InTheWay for the best
    one if none does."""
    keys = [line.key for lines in case.others.values() for line in lines]
    for other in case.neighbours:
        keys += [key for key in (other.begin, other.end) if key is not None]
    refusal: InTheWay | None = None
    moments = candidates(case.event.when, keys)
    if stay:
        moments.insert(0, plain_moment(case.event.moment))
    for moment in moments:
        case.event.moment = stamp(moment)
        try:
            return _judge(case, (moment, case.event.pk))
        except InTheWay as found:
            refusal = refusal or found
    if refusal is None:
        raise RuntimeError("a date allows at least one moment")
    raise refusal


def _judge(case: _Case, at: Key) -> dict[int, _History]:
    """The histories with the event standing at `at`; raises InTheWay."""
    clashes: list[tuple[int, Clash, list[Line]]] = []
    made: dict[int, _History] = {}
    all_stays = list(case.neighbours)
    for pk in case.rows:
        lines = list(case.others.get(pk, ()))
        if pk in case.own:
            lines.append(Line(at, case.own[pk].change))
            lines.sort(key=lambda line: line.key)
        try:
            after = states(lines)
        except Clash as clash:
            clashes.append((pk, clash, lines))
            continue
        made[pk] = lines, after
        all_stays += stays(pk, lines, after)
    found = _clashes(case, clashes, at)
    if not found:
        try:
            refuse_overlaps(all_stays)
        except Overlap as overlap:
            found.append(_overlap(case, overlap, at))
    if found:
        earliest = min((one for one in found if one.event), key=lambda one: one.key, default=None)
        raise InTheWay(
            [one.problem for one in found], earliest.event if earliest is not None else None
        )
    return made


def _refuse_blocked(case: _Case, made: Mapping[int, _History]) -> None:
    """A ramet does not come back into a cell that has been blocked since, or is no more."""
    coming = {
        pk: cell
        for pk, (_, after) in made.items()
        if after and (cell := after[-1].cell) and cell != state_of(case.rows[pk]).cell
    }
    structures = Structure.objects.in_bulk({cell[0] for cell in coming.values()})
    for pk, cell in coming.items():
        grid, where = structures[cell[0]].grid, CellName(*cell[1:])
        if grid is None or not grid.holds(where):
            raise InTheWay(
                [
                    Problem(
                        "cell_blocked",
                        f"{case.rows[pk].code} would be in {structures[cell[0]].code} "
                        f"{where.name}, which holds nothing. Open the cell first, or choose "
                        "another.",
                        case.own[pk].path if pk in case.own else (),
                    )
                ],
                None,
            )


def _clashes(
    case: _Case, clashes: Sequence[tuple[int, Clash, Sequence[Line]]], at: Key
) -> list[_Found]:
    """What the clashes of histories (each with its ramet's id and its lines) come from."""
    if not clashes:
        return []
    events = Event.objects.in_bulk({line.key[1] for _, _, lines in clashes for line in lines})
    return [_clash(case, pk, clash, lines, at, events) for pk, clash, lines in clashes]


def _clash(
    case: _Case,
    pk: int,
    clash: Clash,
    lines: Sequence[Line],
    at: Key,
    events: Mapping[int, Event],
) -> _Found:
    ramet, event = case.rows[pk], case.event
    entry = case.own.get(pk)
    other = events[clash.line.key[1]]
    if entry is None:
        return _Found(clash.line.key, other, leans_on(ramet, other, event))
    path = entry.path
    if clash.line.key != at:
        return _Found(clash.line.key, other, in_the_way(ramet, other, event, path))
    if clash.code == "before_birth":
        birth = next((line for line in lines if line.change.what is What.BORN), None)
        if birth is not None:
            by = events[birth.key[1]]
            return _Found(birth.key, by, before_birth(ramet, by, event, path))
        return _Found(at, None, never_born(ramet, path))
    because = clash.because
    decided = events[because.key[1]] if because is not None else None
    life = because.change.life if because is not None else None
    return _Found(
        because.key if because is not None else at,
        decided,
        explained(clash.code, entry, event, decided, life),
    )


def _overlap(case: _Case, overlap: Overlap, at: Key) -> _Found:
    """Two in one cell: the one that is not of this event is in the way."""
    mine, other = (
        (overlap.second, overlap.first)
        if overlap.second.begin == at
        else (overlap.first, overlap.second)
    )
    event = Event.objects.get(pk=other.begin[1])
    until = Event.objects.get(pk=other.end[1]) if other.end is not None else None
    structure = Structure.objects.get(pk=other.cell[0])
    held = f"since {_day(event)}" if until is None else f"from {_day(event)} to {_day(until)}"
    entry = case.own.get(mine.holder)
    this = f"this {case.event.get_kind_display()}"
    why = (
        f"{_name(mine.holder)} could not stay there without {this} {dated(case.event.when)}. Void "
        "or amend that entry first."
        if entry is None
        else f"{_name(mine.holder)} cannot be there at that time ({this} is "
        f"{dated(case.event.when)}). Choose another cell or check both dates."
    )
    problem = Problem(
        "cell_was_held",
        f"{structure.code} {CellName(*other.cell[1:]).name} was held by {_name(other.holder)} "
        f"{held}, so {why}",
        entry.path if entry is not None else (),
    )
    return _Found(other.begin, event if event.pk != case.event.pk else None, problem)


def _day(event: Event) -> str:
    return dated(event.when).removeprefix("on ").removeprefix("in ")


def _name(holder: int) -> str:
    if holder < 0:
        return Structure.objects.get(pk=-holder).code
    return Ramet.everything.get(pk=holder).code


def _write(case: _Case, made: Mapping[int, _History]) -> None:
    event = case.event
    event.save(update_fields=["moment"])
    kept = Step.objects.filter(ramet__in=list(case.rows), live=True)
    by_event = {(step.ramet_id, step.event_id): step for step in kept}
    mine = {
        (step.ramet_id, change_of(step)): step
        for step in Step.objects.filter(event=event, ramet__in=list(case.rows))
    }
    changed: list[Step] = []
    new: list[tuple[object, ...]] = []
    dropped = {step.pk for step in mine.values() if step.live}
    for pk, (lines, _) in made.items():
        for order, line in enumerate(lines, start=1):
            if line.key[1] != event.pk:
                step = by_event[pk, line.key[1]]
            else:
                known = mine.get((pk, line.change))
                if known is None:
                    new.append(step_values(event, case.rows[pk], line.change, order))
                    continue
                step = known
                dropped.discard(step.pk)
            if step.order != order or not step.live:
                step.order, step.live = order, True
                changed.append(step)
    # Out of the sequence first: no two may have the same place in it at any time.
    Step.objects.filter(pk__in={*dropped, *(step.pk for step in changed)}).update(live=False)
    bulk.update(Step, changed, ["order", "live"])
    bulk.insert_values(Step, STEP, new)
    for pk, (_, after) in made.items():
        set_state(case.rows[pk], after[-1] if after else State())
    Ramet.everything.filter(pk__in=list(case.rows), row__isnull=False).update(row=None, column=None)
    bulk.update(Ramet, list(case.rows.values()), CACHED)
