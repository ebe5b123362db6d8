"""Placing and moving ramets, packing them for a journey, and giving them another base."""

from __future__ import annotations

from dataclasses import replace

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
from nursery.lineage.spots import Spot, Wish, assign
from nursery.lineage.words import Place, What

ACT = "move ramets"


@transaction.atomic
def move(actor: Actor, given: MoveIn) -> Recorded:
    """Record a move of up to 1,000 ramets; they may change places with one another.

    One for which only a base is given stays where it is, on the reef too. Raises NotAllowed;
    Refused (`unknown_ramet`, `not_living`, `still_planted`, `where_to`, `before_…`,
    `behind_later_entry`, and those of spots).
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
    wishes = [_wish(row, moved, given) for row, moved in enumerate(given.ramets)]
    stays = {ramet.pk for ramet, wish in zip(ramets, wishes, strict=True) if not wish}
    stays = set() if given.packed else stays
    found = assign(
        wishes,
        given.when,
        leaving=[ramet for ramet in ramets if ramet.pk not in stays],
        staying=[ramet for ramet in ramets if ramet.pk in stays],
    )
    require_stock(actor, ramets, found.targets, act=ACT)
    record(
        event,
        [
            Entry(ramet, _change(moved, spot, given.packed), ("ramets", row, "ramet"))
            for row, (ramet, moved, spot) in enumerate(
                zip(ramets, given.ramets, found.spots, strict=True)
            )
        ],
        found.locked,
    )
    return recorded


def _wish(row: int, moved: MovedIn, given: MoveIn) -> Wish | None:
    """Where it is to go, or None where it is packed or stays."""
    if given.packed:
        return None
    structure = moved.structure or given.structure
    if structure is not None:
        return Wish(structure, moved.cell, ("ramets", row, "cell"))
    if moved.base is not None and moved.cell is None:
        return None
    raise Refused(
        Problem(
            "where_to",
            f"Say where {moved.ramet} goes: name a structure.",
            ("ramets", row, "structure"),
        )
    )


def _change(moved: MovedIn, spot: Spot | None, packed: bool) -> Change:
    if packed:
        return Change(What.PACKED, place=Place.PACKED, base=moved.base)
    if spot is None:
        return Change(What.REBASED, base=moved.base)
    return replace(placed(What.PLACED, spot), base=moved.base)
