"""Checks: how ramets in a nursery were found, one by one.

What was found is never refused for disagreeing with the record; the latest look decides.
"""

from __future__ import annotations

from collections.abc import Collection

from django.db import transaction

from nursery.core import bulk
from nursery.core.actor import Actor, Role, require
from nursery.core.models import EventKind
from nursery.core.recording import Recorded, begin
from nursery.donors.permits import attach
from nursery.husbandry.inputs import CheckIn, FindingIn
from nursery.husbandry.models import ALIVE, Check, Finding, FindingState
from nursery.husbandry.returns import may_return, without_cell
from nursery.lineage.ledger import Entry, lock, record
from nursery.lineage.models import Ramet
from nursery.lineage.permission import require_stock
from nursery.lineage.replay import Change
from nursery.lineage.resolve import all_of
from nursery.lineage.spots import assign
from nursery.lineage.words import Cause, Life, Place, What

ACT = "check ramets"


@transaction.atomic
def check(actor: Actor, given: CheckIn) -> Recorded:
    """Record how up to 1,000 ramets in a nursery were found: attached, loose, dead or missing.

    One that was thought dead and is seen alive lives again, in its cell or, where that is taken
    meanwhile, without a place. Raises NotAllowed; Refused (`unknown_ramet`,
    `wrong_check_character`, `named_twice`, `on_the_reef`, `before_…`, `never_born`).
    """
    require(actor, Role.NURSERY, act=ACT)
    recorded = begin(actor, EventKind.CHECK, given)
    if not recorded.fresh:
        return recorded
    event = recorded.event
    attach(event, given.permits)
    ids = all_of(
        [(row.ramet, ("findings", number, "ramet")) for number, row in enumerate(given.findings)],
        on=given.when.latest,
    )
    locked = lock(ids)
    ramets = [locked[pk] for pk in ids]
    # What has been planted since was in a nursery by then, which no longer shows on its row.
    require_stock(actor, [row for row in ramets if row.place != Place.PLOT], [], act=ACT)
    states = [FindingState.of(row.state) for row in given.findings]
    alive = [ramet for ramet, state in zip(ramets, states, strict=True) if state in ALIVE]
    returning = may_return(alive, given.when)
    # All structures together, so that no two entries wait for each other.
    structures = assign([], given.when, staying=ramets).locked if returning else {}
    homeless = without_cell(returning, given.when, structures) if returning else set[int]()
    record(
        event,
        [
            Entry(ramet, _change(ramet, state, row, homeless), ("findings", number, "ramet"))
            for number, (ramet, state, row) in enumerate(
                zip(ramets, states, given.findings, strict=True)
            )
        ],
        structures,
    )
    made = Check.objects.create(event=event)
    bulk.insert_values(
        Finding,
        ("during_id", "ramet_id", "state", "size_cm", "note"),
        [
            (made.pk, ramet.pk, state, row.size_cm, row.note)
            for ramet, state, row in zip(ramets, states, given.findings, strict=True)
        ],
    )
    return recorded


def _change(ramet: Ramet, state: FindingState, row: FindingIn, homeless: Collection[int]) -> Change:
    if state is FindingState.DEAD:
        return Change(What.CHECKED_DEAD, life=Life.DEAD, cause=Cause.of(row.cause or "unknown"))
    if state is FindingState.MISSING:
        return Change(What.CHECKED_MISSING, life=Life.LOST)
    nowhere = Place.NOWHERE if ramet.pk in homeless else None
    return Change(What.CHECKED_ALIVE, life=Life.LIVING, place=nowhere)
