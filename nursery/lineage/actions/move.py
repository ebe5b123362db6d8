"""Placing and moving ramets, and packing them for a journey."""

from __future__ import annotations

from collections.abc import Mapping

from django.db import transaction

from nursery.core.actor import Actor, Role, require
from nursery.core.errors import Problem, Refused
from nursery.core.models import EventKind
from nursery.core.recording import Recorded, begin
from nursery.donors.permits import attach
from nursery.lineage.actions.intake import placed
from nursery.lineage.inputs import MovedIn, MoveIn
from nursery.lineage.ledger import Entry, lock, record
from nursery.lineage.permission import require_stock
from nursery.lineage.replay import Change
from nursery.lineage.resolve import all_of
from nursery.lineage.spots import Wish, assign
from nursery.lineage.words import Place, What
from nursery.places.models import Structure

ACT = "move ramets"


@transaction.atomic
def move(actor: Actor, given: MoveIn) -> Recorded:
    """Record a move of up to 1,000 ramets; they may change places with one another.

    Raises NotAllowed; Refused (`unknown_ramet`, `not_living`, `still_planted`, `where_to`,
    `before_…`, and those of spots).
    """
    require(actor, Role.NURSERY, Role.FIELD, act=ACT)
    recorded = begin(actor, EventKind.MOVE, given)
    if not recorded.fresh:
        return recorded
    event = recorded.event
    attach(event, given.permits)
    ids = all_of(
        [(moved.ramet, ("ramets", row, "ramet")) for row, moved in enumerate(given.ramets)],
        on=given.when.latest,
    )
    locked = lock(ids)
    ramets = [locked[pk] for pk in ids]
    structures: Mapping[int, Structure] = {}
    if given.packed:
        require_stock(actor, ramets, [], act=ACT)
        changes = [Change(What.PACKED, place=Place.PACKED)] * len(ramets)
    else:
        found = assign(
            [_wish(row, moved, given) for row, moved in enumerate(given.ramets)],
            given.when,
            ramets,
        )
        structures = found.locked
        require_stock(actor, ramets, found.targets, act=ACT)
        changes = [placed(What.PLACED, spot) for spot in found.spots if spot is not None]
    record(
        event,
        [
            Entry(ramet, change, ("ramets", row, "ramet"))
            for row, (ramet, change) in enumerate(zip(ramets, changes, strict=True))
        ],
        structures,
    )
    return recorded


def _wish(row: int, moved: MovedIn, given: MoveIn) -> Wish:
    structure = moved.structure or given.structure
    if structure is None:
        raise Refused(
            Problem(
                "where_to",
                f"Say where {moved.ramet} goes: name a structure.",
                ("ramets", row, "structure"),
            )
        )
    return Wish(structure, moved.cell, ("ramets", row, "cell"))
