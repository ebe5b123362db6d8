"""Intake: what became of the pieces of a collection on the way, and where they go."""

from __future__ import annotations

from django.db import transaction

from nursery.core.actor import Actor, Role, require_at
from nursery.core.dates import certainly_before, dated
from nursery.core.errors import Problem, ProblemList, Refused
from nursery.core.models import EventKind
from nursery.core.recording import Recorded, begin
from nursery.donors.models import Collection
from nursery.donors.permits import attach
from nursery.lineage.births import give_tags
from nursery.lineage.inputs import ArrivalIn, IntakeIn
from nursery.lineage.ledger import Entry, lock, record
from nursery.lineage.models import Intake, Ramet
from nursery.lineage.replay import Change
from nursery.lineage.resolve import all_of
from nursery.lineage.spots import Spot, Wish, assign, refuse_other_nurseries, wished
from nursery.lineage.words import Cause, Life, Place, What
from nursery.places.models import Nursery


@transaction.atomic
def take_in(actor: Actor, given: IntakeIn) -> Recorded:
    """Record an intake. A piece is named by code, tag or its number in the collection.

    Pieces that arrived go to a structure, or stay packed until they are placed; lost and dead ones
    end here. Raises NotAllowed; Refused (`unknown_collection`, `unknown_nursery`,
    `not_of_collection`, `not_packed`, and those of spots and dates).
    """
    nursery = Nursery.objects.filter(code=given.nursery).first()
    homes = [(nursery.pk if nursery else None, str(nursery or given.nursery))]
    require_at(actor, homes, Role.FIELD, act="take in collections")
    recorded = begin(actor, EventKind.INTAKE, given)
    if not recorded.fresh:
        return recorded
    event = recorded.event
    collection = (
        Collection.objects.select_related("event")
        .filter(event__uid=given.collection, event__live=True)
        .first()
    )
    problems = ProblemList()
    if nursery is None:
        problems.add("unknown_nursery", f"There is no nursery {given.nursery}.", "nursery")
    if collection is None:
        problems.add(
            "unknown_collection", f"There is no collection {given.collection}.", "collection"
        )
    if problems or nursery is None or collection is None:
        raise Refused(problems.items)
    if certainly_before(event.when, collection.event.when):
        raise Refused(
            Problem(
                "before_collection",
                f"The pieces were collected {dated(collection.event.when)}; an intake "
                f"{dated(event.when)} is before that. Check both dates.",
                ("when",),
            )
        )
    attach(event, given.permits)
    Intake.objects.create(event=event, collection=collection, nursery=nursery)
    ids = _pieces(collection, given)
    locked = lock(ids)
    ramets = [locked[pk] for pk in ids]
    _refuse_strangers(collection, given, ramets)
    found = assign(
        [_wish(row, piece, given) for row, piece in enumerate(given.pieces)], given.when, ramets
    )
    refuse_other_nurseries(nursery, found.spots, "pieces")
    record(
        event,
        [
            Entry(ramet, _change(piece, spot), ("pieces", row, "ramet"))
            for row, (ramet, piece, spot) in enumerate(
                zip(ramets, given.pieces, found.spots, strict=True)
            )
        ],
        found.locked,
    )
    give_tags(
        event,
        [
            (ramet, piece.tag, ("pieces", row, "tag"))
            for row, (ramet, piece) in enumerate(zip(ramets, given.pieces, strict=True))
        ],
    )
    return recorded


def _pieces(collection: Collection, given: IntakeIn) -> list[int]:
    by_number = {
        str(number): code
        for number, code in collection.ramets.values_list("number", "code")
        if number is not None
    }
    return all_of(
        [
            (by_number.get(piece.ramet, piece.ramet), ("pieces", row, "ramet"))
            for row, piece in enumerate(given.pieces)
        ],
        on=given.when.latest,
    )


def _refuse_strangers(collection: Collection, given: IntakeIn, ramets: list[Ramet]) -> None:
    problems = ProblemList()
    for row, ramet in enumerate(ramets):
        if ramet.collection_id != collection.pk:
            problems.add(
                "not_of_collection",
                f"{ramet.code} is no piece of this collection.",
                "pieces",
                row,
                "ramet",
            )
        elif (
            given.pieces[row].outcome != "arrived" and ramet.living and ramet.place != Place.PACKED
        ):
            # Losses on the way end a ramet, so they must not reach one that arrived before.
            problems.add(
                "not_packed",
                f"{ramet.code} is not on its way: it has been received already.",
                "pieces",
                row,
                "ramet",
            )
    problems.raise_if_any()


def _wish(row: int, piece: ArrivalIn, given: IntakeIn) -> Wish | None:
    if piece.outcome != "arrived":
        return None
    return wished(piece.structure or given.structure, piece.cell, ("pieces", row, "cell"))


def _change(piece: ArrivalIn, spot: Spot | None) -> Change:
    if piece.outcome == "lost":
        return Change(What.ENDED, life=Life.LOST, place=Place.NOWHERE)
    if piece.outcome == "dead":
        cause = Cause.of(piece.cause or "unknown")
        return Change(What.ENDED, life=Life.DEAD, cause=cause, place=Place.NOWHERE)
    if spot is None:
        return Change(What.RECEIVED)
    return placed(What.RECEIVED, spot)


def placed(what: What, spot: Spot, life: Life | None = None) -> Change:
    """A change that puts a ramet in a spot."""
    return Change(
        what,
        life=life,
        place=Place.STRUCTURE,
        structure=spot.structure.pk,
        row=spot.cell.row if spot.cell else None,
        column=spot.cell.column if spot.cell else None,
    )
