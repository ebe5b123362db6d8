"""Losing whole structures, with all that lives and stands in them."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime

from django.db import transaction
from django.db.models import Max, Q

from nursery.core.actor import Actor, Role, require
from nursery.core.dates import certainly_before, dated
from nursery.core.errors import ProblemList
from nursery.core.models import Event, EventKind
from nursery.core.recording import Recorded, begin
from nursery.donors.permits import attach
from nursery.lineage import late
from nursery.lineage.inputs import LossIn
from nursery.lineage.ledger import Entry, lock, record
from nursery.lineage.members import (
    Past,
    lives_in,
    pasts,
    perhaps_in,
    require_structures,
    states_at,
    with_held,
)
from nursery.lineage.models import Ramet, Step
from nursery.lineage.occupancy import busy_anew
from nursery.lineage.permission import require_stock
from nursery.lineage.replay import Change
from nursery.lineage.rows import key_of, plain_moment, put_at, stamp
from nursery.lineage.timeline import after
from nursery.lineage.words import Life, Place, What
from nursery.places.actions import Standing, lock_with_kin, put
from nursery.places.models import Structure, StructureStep
from nursery.places.queries import structures_by_code

ACT = "record the loss of structures"


@dataclass(frozen=True, slots=True)
class _Taken:
    """Everything that a loss takes: structures (each with the named one that it stood in) and the
    ramets that lived in them, all locked; and those they stood in."""

    home: Mapping[int, int]
    structures: Mapping[int, Structure]
    ramets: list[Ramet]
    inside: Mapping[int, int]
    """The structure that each of these ramets lived in."""

    @property
    def rows(self) -> list[Structure]:
        return [self.structures[pk] for pk in sorted(self.home)]


@transaction.atomic
def lose_structures(actor: Actor, given: LossIn) -> Recorded:
    """Record that structures were lost, a storm's work say, with all that they held by that date.

    Every living ramet in them ends as lost. What stood in a lost structure is lost too, each by a
    step of its own: nobody knows that it stayed where it was, so it holds no cell any more, and it
    is found again by a move of its own. What was planted with a structure (a rock with its sockets,
    say) stands in a plot, not in the structure: outplants do not end here, a visit says what became
    of them. Nothing goes into a lost structure until a move says where it was found.

    Raises NotAllowed; Refused (`unknown_structure`, `named_twice`, `already_lost`,
    `before_structure_move`, `used_after_loss`, `behind_later_entry`).
    """
    require(actor, Role.NURSERY, Role.FIELD, act=ACT)
    recorded = begin(actor, EventKind.STRUCTURE_LOSS, given)
    if not recorded.fresh:
        return recorded
    event = recorded.event
    attach(event, given.permits)
    numbers = _named(given)
    taken = _take(numbers, event.when.upper)
    require_structures(actor, taken.rows, act=ACT)
    moved_on = [ramet for ramet in taken.ramets if ramet.structure_id not in taken.home]
    require_stock(actor, moved_on, [], act=ACT)
    before = pasts(taken.home, event.when.upper)
    _refuse_impossible(event, taken, numbers, before)
    _end_ramets(event, taken, numbers)
    put(event, [Standing(row) for row in taken.rows], lost=True)
    # Cells that lost structures stood in are free now.
    lasts = [past.last for past in before.values() if past.last is not None]
    busy_anew({step.parent_id for step in lasts if step.parent_id and step.parent_row})
    _refuse_used_later(event, taken, numbers, before)
    return recorded


def _named(given: LossIn) -> dict[int, int]:
    """The structures that are named, each with the number of its row."""
    known = structures_by_code(row.structure for row in given.structures)
    problems = ProblemList()
    found: dict[int, int] = {}
    for number, row in enumerate(given.structures):
        path = ("structures", number, "structure")
        structure = known.get(row.structure)
        if structure is None:
            problems.add("unknown_structure", f"There is no structure {row.structure}.", *path)
        elif structure.pk in found:
            problems.add("named_twice", f"{structure.code} is named twice.", *path)
        else:
            found[structure.pk] = number
    problems.raise_if_any()
    return found


def _take(named: Iterable[int], at: datetime) -> _Taken:
    """Find and lock what lived and stood in these structures at a moment: ramets first, and once
    more if another entry put something there meanwhile."""
    named = list(named)
    ramets: dict[int, Ramet] = {}
    asked: set[int] = set()
    while True:
        home = with_held(named, at)
        perhaps = perhaps_in(home, at)
        ramets |= lock(perhaps - asked)
        asked |= perhaps
        structures = lock_with_kin(home, _stood_in(home))
        if with_held(named, at) == home and perhaps_in(home, at) <= asked:
            break
    then = states_at(ramets, at)
    inside = {
        pk: state.structure
        for pk, state in sorted(then.items())
        if state.structure is not None and lives_in(state, home.keys())
    }
    return _Taken(home, structures, [ramets[pk] for pk in inside], inside)


def _stood_in(structures: Iterable[int]) -> set[int]:
    """The structures that these ever stood in."""
    steps = StructureStep.objects.filter(structure__in=list(structures), live=True)
    return set(steps.filter(parent__isnull=False).values_list("parent_id", flat=True)) - {None}


def _refuse_impossible(
    event: Event, taken: _Taken, numbers: Mapping[int, int], pasts_then: Mapping[int, Past]
) -> None:
    """Refuse to lose what was lost already, or was not set up yet."""
    problems = ProblemList()
    for row in taken.rows:
        past = pasts_then[row.pk]
        path = ("structures", numbers[taken.home[row.pk]], "structure")
        following = past.then[0] if past.then else None
        known = next((s for s in (past.last, following) if s is not None and s.lost), None)
        if known is not None:
            problems.add(
                "already_lost",
                f"{row.code} is on record as lost {dated(known.event.when)}, so it cannot be lost "
                f"{dated(event.when)} as well. Record first where it was found, or check both "
                "dates.",
                *path,
            )
        elif past.last is None and following is not None:
            set_up = following.event.when
            if certainly_before(event.when, set_up):
                problems.add(
                    "before_structure_move",
                    f"{row.code} was set up {dated(set_up)}; a loss {dated(event.when)} is before "
                    "that. Check both dates.",
                    *path,
                )
    problems.raise_if_any()


def _end_ramets(event: Event, taken: _Taken, numbers: Mapping[int, int]) -> None:
    """End the ramets, and let the event stand after all else of its date that touched the
    structures: `record` looks at the ramets alone."""
    entries = [
        Entry(
            ramet,
            Change(
                What.ENDED,
                life=Life.LOST,
                place=Place.STRUCTURE,
                structure=taken.inside[ramet.pk],
            ),
            ("structures", numbers[taken.home[taken.inside[ramet.pk]]], "structure"),
        )
        for ramet in taken.ramets
    ]
    if entries:
        record(event, entries, taken.structures)
    last = _last_on_its_date(event, taken)
    if last is None or last <= plain_moment(event.moment):
        return
    put_at(event, after(last, event.when))
    if entries:
        late.settle(event, entries, stay=True)


def _last_on_its_date(event: Event, taken: _Taken) -> datetime | None:
    """The moment, within the event's date, of the last step of these structures or into them."""
    within = Q(
        event__moment__gte=stamp(event.when.lower),
        event__moment__lte=stamp(event.when.upper),
        live=True,
    ) & ~Q(event=event.pk)
    into = Step.objects.filter(within, structure__in=taken.home)
    moved = StructureStep.objects.filter(within).filter(
        Q(structure__in=taken.home) | Q(parent__in=taken.home)
    )
    moments = [rows.aggregate(last=Max("event__moment"))["last"] for rows in (into, moved)]
    return max((plain_moment(moment) for moment in moments if moment is not None), default=None)


def _refuse_used_later(
    event: Event, taken: _Taken, numbers: Mapping[int, int], pasts_then: Mapping[int, Past]
) -> None:
    """Refuse a late loss of what something was put into before it was found again."""
    mine = key_of(event)
    later = Q(event__moment__gte=event.moment, live=True) & ~Q(event=event.pk)
    arrivals = [
        (key_of(step.event), step.structure_id, step.ramet.code, step.event)
        for step in Step.objects.filter(later, structure__in=taken.home).select_related(
            "event", "ramet"
        )
    ] + [
        (key_of(step.event), step.parent_id, step.structure.code, step.event)
        for step in StructureStep.objects.filter(later, parent__in=taken.home).select_related(
            "event", "structure"
        )
    ]
    problems = ProblemList()
    told: set[int | None] = set()
    for key, pk, code, other in sorted(arrivals, key=lambda arrival: arrival[0]):
        if pk is None or pk in told or key <= mine:
            continue
        found = next((s for s in pasts_then[pk].then if not s.lost), None)
        if found is not None and key_of(found.event) <= key:
            continue
        told.add(pk)
        problems.add(
            "used_after_loss",
            f"{code} came into {taken.structures[pk].code} {dated(other.when)} "
            f"({other.get_kind_display()}), so that cannot have been lost {dated(event.when)}. "
            "Check both dates, or record first where it was found.",
            "structures",
            numbers[taken.home[pk]],
            "structure",
        )
    problems.raise_if_any()
