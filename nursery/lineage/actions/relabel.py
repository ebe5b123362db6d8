"""Relabelling: ramets turn out to be of another genet than their labels say."""

from __future__ import annotations

from collections.abc import Iterable

from django.db import transaction
from django.db.models import Q

from nursery.core.actor import Actor, Role, require
from nursery.core.errors import Problem, ProblemList, Refused
from nursery.core.models import EventKind
from nursery.core.recording import Recorded, begin
from nursery.donors.models import Genet
from nursery.donors.permits import attach
from nursery.lineage import descent, walk
from nursery.lineage.inputs import RelabellingIn
from nursery.lineage.ledger import Entry, record
from nursery.lineage.models import Ramet, Relabelling
from nursery.lineage.permission import require_stock
from nursery.lineage.regrouping import Effect, effect, looked
from nursery.lineage.replay import Change
from nursery.lineage.resolve import all_of
from nursery.lineage.rows import lock_all
from nursery.lineage.words import What

ACT = "relabel ramets"


@transaction.atomic
def relabel(actor: Actor, given: RelabellingIn) -> Recorded:
    """Record that up to 1,000 ramets, living or not, are of a genet, or of one that is not known.

    All that was ever cut from them is of it too, unless a relabelling nearer to it says otherwise;
    of several of one ramet the last decides. Children of pooled cuttings may be given a genet that
    is none of their candidates. Raises NotAllowed; Refused (`unknown_ramet`, `unknown_genet`,
    `genet_other_taxon`, `before_…`).
    """
    require(actor, Role.NURSERY, act=ACT)
    recorded = begin(actor, EventKind.RELABELLING, given)
    if not recorded.fresh:
        return recorded
    event = recorded.event
    attach(event, given.permits)
    ids = _named(given)
    genet = _genet(given)
    # All that follows, mothers and children in one order: nobody cuts or relabels one meanwhile.
    locked = lock_all({*ids, *walk.all_descendants(ids)}, {})
    ramets = [locked[pk] for pk in ids]
    require_stock(actor, ramets, [], act=ACT)
    if genet is not None:
        _refuse_foreign(genet, ramets)
    Relabelling.objects.create(event=event, genet=genet)
    record(
        event,
        [
            Entry(ramet, Change(What.RELABELLED), ("ramets", row, "ramet"))
            for row, ramet in enumerate(ramets)
        ],
    )
    descent.work_out(ids)
    return recorded


def relabelling_effect(actor: Actor, given: RelabellingIn) -> Effect:
    """What `relabel` would change; nothing is kept. Raises what it raises."""
    require(actor, Role.NURSERY, act=ACT)
    with transaction.atomic():
        which = Q(pk__in=walk.all_descendants(_named(given)))
        before = looked(which)
        relabel(actor, given)
        found = effect(before, looked(which))
        transaction.set_rollback(True)
    return found


def _named(given: RelabellingIn) -> list[int]:
    return all_of(
        [(row.ramet, ("ramets", number, "ramet")) for number, row in enumerate(given.ramets)],
        on=given.when.latest,
    )


def _genet(given: RelabellingIn) -> Genet | None:
    """The genet, locked: a merge of it waits until what is of it is worked out."""
    if given.genet is None:
        return None
    genet = Genet.objects.select_for_update(no_key=True).filter(code=given.genet).first()
    if genet is None:
        raise Refused(Problem("unknown_genet", f"There is no genet {given.genet}.", ("genet",)))
    return genet


def _refuse_foreign(genet: Genet, ramets: Iterable[Ramet]) -> None:
    problems = ProblemList()
    for row, ramet in enumerate(ramets):
        if ramet.taxon_id != genet.taxon_id:
            problems.add(
                "genet_other_taxon",
                f"{genet.code} is not of the taxon of {ramet.code} ({ramet.taxon.name}). "
                "Choose another genet, or correct the taxon first.",
                "ramets",
                row,
                "ramet",
            )
    problems.raise_if_any()
