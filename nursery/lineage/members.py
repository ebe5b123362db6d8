"""Who lived in structures, and what stood in them, at the end of an entry's date.

Where a ramet has no later step its row says so; otherwise its history does. Of structures the
steps are read: few move often.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime

from nursery.core.actor import Actor, Role, require
from nursery.core.errors import NotAllowed, Problem
from nursery.lineage.models import Ramet, Step
from nursery.lineage.replay import State
from nursery.lineage.rows import histories, plain_moment, stamp, state_of
from nursery.lineage.timeline import states
from nursery.lineage.words import Life, Place
from nursery.places.models import Structure, StructureStep


def perhaps_in(structures: Collection[int], at: datetime) -> set[int]:
    """The ramets that live in these now, and those that were ever put into one of them and have
    steps after `at`: all who may have lived there then."""
    living = Ramet.objects.filter(
        structure__in=structures, place=Place.STRUCTURE, life=Life.LIVING
    ).values_list("pk", flat=True)
    late = Step.objects.filter(
        structure__in=structures, live=True, ramet__not_before__gt=stamp(at)
    ).values_list("ramet_id", flat=True)
    return {*living, *late}


def states_at(ramets: Mapping[int, Ramet], at: datetime) -> dict[int, State]:
    """What each of these (locked) ramets was after all its steps until `at`."""
    late = [pk for pk, row in ramets.items() if plain_moment(row.not_before) > at]
    lines = histories(late)
    found = {pk: state_of(row) for pk, row in ramets.items() if pk not in lines}
    for pk, known in lines.items():
        by_then = [state for state in states(known) if state.moment <= at]
        found[pk] = by_then[-1] if by_then else State()
    return found


def lives_in(state: State, structures: Collection[int]) -> bool:
    """Whether a ramet in that state lives in one of these structures."""
    return (
        state.life is Life.LIVING
        and state.place is Place.STRUCTURE
        and state.structure in structures
    )


@dataclass(frozen=True, slots=True)
class Past:
    """The live steps of a structure, those until a moment and those after it, in order."""

    until: list[StructureStep]
    then: list[StructureStep]

    @property
    def last(self) -> StructureStep | None:
        return self.until[-1] if self.until else None


def pasts(structures: Iterable[int], at: datetime, but: int | None = None) -> dict[int, Past]:
    """The steps of each of these structures before and after `at`, without those of event `but`."""
    ids = set(structures)
    steps = StructureStep.objects.filter(structure__in=ids, live=True).select_related("event")
    found = {pk: Past([], []) for pk in ids}
    for step in steps.exclude(event=but).order_by("structure_id", "order"):
        past = found[step.structure_id]
        (past.until if plain_moment(step.event.moment) <= at else past.then).append(step)
    return found


def with_held(structures: Iterable[int], at: datetime) -> dict[int, int]:
    """These structures and all that stood in them at `at`, however deep, each with the one of
    `structures` that it stood in. Two queries a level of nesting."""
    found = {pk: pk for pk in structures}
    level = set(found)
    while level:
        inside = StructureStep.objects.filter(parent__in=level, live=True)
        candidates = set(inside.values_list("structure_id", flat=True)) - found.keys()
        level = set()
        for pk, past in sorted(pasts(candidates, at).items()):
            if past.last is not None and past.last.parent_id in found:
                found[pk] = found[past.last.parent_id]
                level.add(pk)
    return found


def require_structures(actor: Actor, structures: Collection[Structure], act: str) -> None:
    """Refuse (`not_your_nursery`, `not_allowed`) unless the actor may handle structures where they
    stand: staff those of their nursery, field staff those on the reef.

    `act` completes "may not …".
    """
    require(actor, Role.NURSERY, Role.FIELD, act=act)
    if actor.leads:
        return
    reef = _on_reef(structures)
    if reef and not actor.has(Role.FIELD):
        raise NotAllowed(
            Problem("not_allowed", f"Only field staff and leads may {act} on the reef.")
        )
    for row in structures:
        if row.pk not in reef and not actor.works_at(row.nursery_id):
            where = str(row.nursery) if row.nursery else "a place that is nowhere yet"
            raise NotAllowed(
                Problem(
                    "not_your_nursery",
                    f"{actor.name} does not work at {where}, where {row.code} is, so may not {act} "
                    "there. Ask its staff or a programme lead.",
                )
            )


def _on_reef(structures: Collection[Structure]) -> set[int]:
    """Those of these that stand in a plot, alone or in another structure."""
    above: dict[int, Structure] = {}
    wanted = {pk for row in structures if (pk := row.parent_id) is not None}
    while wanted:
        rows = Structure.objects.in_bulk(wanted)
        above |= rows
        wanted = {pk for row in rows.values() if (pk := row.parent_id) is not None} - above.keys()
    found = set()
    for row in structures:
        top = row
        while top.parent_id is not None:
            top = above[top.parent_id]
        if top.plot_id is not None:
            found.add(row.pk)
    return found
