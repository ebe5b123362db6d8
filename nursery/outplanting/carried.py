"""Structures that are planted with all that lives in them: rocks with sockets, say.

Who lived in them is judged at the end of the outplanting's date, as it happened, as known today.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from django.db.models import Max, Q

from nursery.core.dates import dated
from nursery.core.errors import Path, Problem, ProblemList, Refused
from nursery.core.models import Event
from nursery.lineage import late
from nursery.lineage.ledger import Entry, lock
from nursery.lineage.members import Past, lives_in, pasts, perhaps_in, states_at, with_held
from nursery.lineage.models import Ramet, Step
from nursery.lineage.occupancy import busy_anew
from nursery.lineage.replay import State
from nursery.lineage.rows import key_of, plain_moment, stamp
from nursery.lineage.timeline import after
from nursery.places.actions import Standing, lock_with_kin, put
from nursery.places.models import Plot, Structure, StructureStep
from nursery.places.queries import structures_by_code


@dataclass(frozen=True, slots=True)
class Member:
    """A ramet that is planted with a structure: the row that names that, and where it lived."""

    ramet: Ramet
    number: int
    structure: int
    row: int | None
    column: int | None


@dataclass(frozen=True, slots=True)
class Taken:
    """Everything that an outplanting takes, locked: the ramets that it names, by id; the structures
    that it names, each with the number of its row; those they stood in; who lived in them."""

    listed: Mapping[int, Ramet]
    numbers: Mapping[int, int]
    structures: Mapping[int, Structure]
    parents: Collection[int]
    inside: Collection[int]
    members: Sequence[Member]

    def path(self, structure: int) -> Path:
        """Where in the input a structure was named."""
        return ("structures", self.numbers[structure], "structure")


def named(codes: Sequence[str]) -> dict[int, int]:
    """The structures of these codes, each with its number among them.

    Raises Refused (`unknown_structure`, `named_twice`).
    """
    known = structures_by_code(codes)
    problems = ProblemList()
    found: dict[int, int] = {}
    for number, code in enumerate(codes):
        path = ("structures", number, "structure")
        structure = known.get(code)
        if structure is None:
            problems.add("unknown_structure", f"There is no structure {code}.", *path)
        elif structure.pk in found:
            problems.add("named_twice", f"{code} is named twice in this entry.", *path)
        else:
            found[structure.pk] = number
    problems.raise_if_any()
    return found


def take(listed: Iterable[int], numbers: Mapping[int, int], at: datetime) -> Taken:
    """Lock the ramets that are listed and those that lived in the structures at a moment, then the
    structures; once more if another entry put something there meanwhile."""
    wanted = set(listed)
    if not numbers:
        return Taken(lock(wanted), {}, {}, (), (), ())
    named_ids = wanted.copy()
    ramets: dict[int, Ramet] = {}
    asked: set[int] = set()
    perhaps: set[int] = set()
    while True:
        home = with_held(numbers, at)
        perhaps |= perhaps_in(home, at)
        wanted |= perhaps
        ramets |= lock(wanted - asked)
        asked |= wanted
        parents = _stood_in(home)
        # The cells that listed ramets leave are locked in the same sweep.
        left = {row.structure_id for row in ramets.values() if row.structure_id is not None}
        structures = lock_with_kin(home, parents | left)
        if with_held(numbers, at) == home and perhaps_in(home, at) <= asked:
            break
    states = states_at({pk: ramets[pk] for pk in perhaps if pk in ramets}, at)
    members = [
        _member(ramets[pk], state, numbers[home[state.structure]])
        for pk, state in states.items()
        if state.structure is not None and lives_in(state, home.keys())
    ]
    members.sort(
        key=lambda one: (one.number, one.structure, one.row or 0, one.column or 0, one.ramet.pk)
    )
    return Taken(
        {pk: ramets[pk] for pk in named_ids},
        numbers,
        structures,
        parents,
        home.keys(),
        members,
    )


def _member(ramet: Ramet, state: State, number: int) -> Member:
    return Member(ramet, number, state.structure or 0, state.row, state.column)


def _stood_in(structures: Iterable[int]) -> set[int]:
    """The structures that these ever stood in."""
    steps = StructureStep.objects.filter(structure__in=list(structures), live=True)
    inside = steps.filter(parent__isnull=False)
    return set(inside.values_list("parent_id", flat=True))


def refuse_impossible(event: Event, taken: Taken) -> None:
    """Refuse structures that were lost by then, stood in a plot already, were not set up yet, or
    held nothing."""
    problems = ProblemList()
    full = {member.number for member in taken.members}
    for pk, past in pasts(taken.numbers, event.when.upper, but=event.pk).items():
        problem = _impossible(event, taken.structures[pk], past, taken.path(pk))
        if problem is None and taken.numbers[pk] not in full:
            problem = Problem(
                "nothing_to_plant",
                f"Nothing that is on record as living was in {taken.structures[pk].code} "
                f"{dated(event.when)}. Name a structure that holds living ramets, or check the "
                "date.",
                taken.path(pk),
            )
        if problem is not None:
            problems.items.append(problem)
    problems.items.sort(key=lambda problem: problem.row or 0)
    problems.raise_if_any()


def _impossible(event: Event, row: Structure, past: Past, path: Path) -> Problem | None:
    last = past.last
    if last is None:
        if not past.then or past.then[0].event.when.lower <= event.when.upper:
            return None
        return Problem(
            "before_structure_move",
            f"{row.code} was set up {dated(past.then[0].event.when)}; an outplanting "
            f"{dated(event.when)} is before that. Check both dates.",
            path,
        )
    since = f"{last.event.get_kind_display()} {dated(last.event.when)}"
    if last.lost:
        return Problem(
            "structure_lost",
            f"{row.code} is lost ({since}), so it cannot be planted {dated(event.when)}. Record "
            "first where it was found, or check both dates.",
            path,
        )
    if last.plot is not None:
        return Problem(
            "already_planted",
            f"{row.code} stands in plot {last.plot.code} already ({since}), so it cannot be "
            f"planted {dated(event.when)}. Record first where it was moved to, or check both "
            "dates.",
            path,
        )
    return None


def stand(event: Event, entries: Sequence[Entry], taken: Taken, plot: Plot) -> None:
    """Let the (recorded) event stand after all else of its date that touched the structures, and
    write that they are in the plot from then on.

    Raises Refused (`behind_later_entry`) where a structure went elsewhere later on.
    """
    last = _last_on_its_date(event, taken)
    if last is not None and plain_moment(event.moment) < last:
        event.moment = stamp(after(last, event.when))
        event.save(update_fields=["moment"])
        late.settle(event, entries, stay=True)
    _refuse_moved_later(event, taken)
    put(event, [Standing(taken.structures[pk], plot=plot) for pk in taken.numbers])
    # Cells that they stood in are free now.
    busy_anew(taken.parents)


def _last_on_its_date(event: Event, taken: Taken) -> datetime | None:
    """The moment, within the event's date, of the last step of these structures or into them."""
    within = Q(
        event__moment__gte=stamp(event.when.lower),
        event__moment__lte=stamp(event.when.upper),
        live=True,
    ) & ~Q(event=event.pk)
    into = Step.objects.filter(within, structure__in=taken.inside)
    moved = StructureStep.objects.filter(within).filter(
        Q(structure__in=taken.inside) | Q(parent__in=taken.inside)
    )
    moments = [rows.aggregate(last=Max("event__moment"))["last"] for rows in (into, moved)]
    return max((plain_moment(moment) for moment in moments if moment is not None), default=None)


def _refuse_moved_later(event: Event, taken: Taken) -> None:
    """A structure that is put somewhere later cannot have been planted with all that lives in it:
    that would have to be lifted first. One that is lost later may have been: what was lost with it
    is judged ramet by ramet."""
    mine = key_of(event)
    steps = StructureStep.objects.filter(
        structure__in=list(taken.numbers), live=True, event__moment__gte=event.moment, lost=False
    ).select_related("event", "structure")
    problems = ProblemList()
    told: set[int] = set()
    for step in steps.order_by("event__moment", "event_id"):
        if key_of(step.event) <= mine or step.structure_id in told:
            continue
        told.add(step.structure_id)
        problems.add(
            "behind_later_entry",
            f"{step.structure.code} already has a later entry: {step.event.get_kind_display()} "
            f"{dated(step.event.when)}. This outplanting {dated(event.when)} would come before it, "
            "and what was planted would have gone along. Check both dates.",
            *taken.path(step.structure_id),
        )
    if problems:
        raise Refused(problems.items)
