"""Lifting living outplants from their plots, ahead of a heat wave say."""

from __future__ import annotations

from django.db import transaction

from nursery.core.actor import Actor, Role, require
from nursery.core.errors import Problem, Refused
from nursery.core.models import EventKind
from nursery.core.recording import Recorded, begin
from nursery.donors.permits import attach
from nursery.lineage.actions.intake import placed
from nursery.lineage.ledger import Entry, lock, record
from nursery.lineage.permission import require_stock
from nursery.lineage.replay import Change
from nursery.lineage.resolve import all_of
from nursery.lineage.spots import Spot, Wish, assign
from nursery.lineage.words import Place, What
from nursery.outplanting.inputs import LiftedIn, LiftIn

ACT = "lift outplants"


@transaction.atomic
def lift(actor: Actor, given: LiftIn) -> Recorded:
    """Record that up to 1,000 living outplants were lifted, into structures or packed.

    They may be moved, cut and planted again from then on. Only field staff and leads take
    outplants from the reef; who puts them into a structure also works at its nursery, others hand
    them over packed. Raises NotAllowed; Refused (`where_to`, `unknown_ramet`, `named_twice`,
    `not_living`, `not_planted`, `before_…`, `behind_later_entry`, and those of spots).
    """
    require(actor, Role.FIELD, act=ACT)
    recorded = begin(actor, EventKind.LIFT, given)
    if not recorded.fresh:
        return recorded
    event = recorded.event
    attach(event, given.permits)
    ids = all_of(
        [(lifted.ramet, ("ramets", row, "ramet")) for row, lifted in enumerate(given.ramets)],
        on=given.when.latest,
    )
    locked = lock(ids)
    ramets = [locked[pk] for pk in ids]
    wishes = [_wish(row, lifted, given) for row, lifted in enumerate(given.ramets)]
    found = assign(wishes, given.when, leaving=ramets)
    # Where they are now says nothing of a late lift: they were on the reef then, or it is refused.
    require_stock(actor, [], found.targets, act=ACT)
    record(
        event,
        [
            Entry(ramet, _change(spot), ("ramets", row, "ramet"))
            for row, (ramet, spot) in enumerate(zip(ramets, found.spots, strict=True))
        ],
        found.locked,
    )
    return recorded


def _wish(row: int, lifted: LiftedIn, given: LiftIn) -> Wish | None:
    """Where it is to go, or None where it is packed."""
    if given.packed:
        return None
    structure = lifted.structure or given.structure
    if structure is None:
        raise Refused(
            Problem(
                "where_to",
                f"Say where {lifted.ramet} goes: name a structure, or say that it was packed.",
                ("ramets", row, "structure"),
            )
        )
    return Wish(structure, lifted.cell, ("ramets", row, "cell"))


def _change(spot: Spot | None) -> Change:
    if spot is None:
        return Change(What.LIFTED, place=Place.PACKED)
    return placed(What.LIFTED, spot)
