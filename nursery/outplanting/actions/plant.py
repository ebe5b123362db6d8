"""Planting ramets in a plot."""

from __future__ import annotations

from django.db import transaction

from nursery.core import bulk
from nursery.core.actor import Actor, Role, require
from nursery.core.errors import Problem, ProblemList, Refused
from nursery.core.models import EventKind
from nursery.core.recording import Recorded, begin
from nursery.donors.permits import attach
from nursery.lineage.ledger import Entry, lock, record
from nursery.lineage.models import Ramet
from nursery.lineage.replay import Change
from nursery.lineage.resolve import all_of
from nursery.lineage.words import Place, Purpose, What
from nursery.outplanting.inputs import OutplantingIn
from nursery.outplanting.models import Fixing, Outplant, Outplanting
from nursery.places.models import Plot


@transaction.atomic
def plant(actor: Actor, given: OutplantingIn) -> Recorded:
    """Record an outplanting of up to 1,000 ramets in one plot.

    Raises NotAllowed; Refused (`unknown_plot`, `plot_closed`, `unknown_ramet`, `not_living`,
    `already_planted`, `not_for_planting`, `before_…`).
    """
    require(actor, Role.FIELD, act="plant on the reef")
    recorded = begin(actor, EventKind.OUTPLANTING, given)
    if not recorded.fresh:
        return recorded
    event = recorded.event
    plot = Plot.objects.select_related("site").filter(code=given.plot).first()
    if plot is None:
        raise Refused(Problem("unknown_plot", f"There is no plot {given.plot}.", ("plot",)))
    for place in (plot, plot.site):
        if place.closed_on is not None and given.when.earliest > place.closed_on:
            raise Refused(
                Problem("plot_closed", f"{place.code} was closed on {place.closed_on}.", ("plot",))
            )
    attach(event, given.permits)
    ids = all_of(
        [(row.ramet, ("outplants", number, "ramet")) for number, row in enumerate(given.outplants)],
        on=given.when.latest,
    )
    locked = lock(ids)
    ramets = [locked[pk] for pk in ids]
    if not given.other_purposes:
        _refuse_other_purposes(ramets)
    record(
        event,
        [
            Entry(
                ramet,
                Change(What.PLANTED, place=Place.PLOT, plot=plot.pk),
                ("outplants", number, "ramet"),
            )
            for number, ramet in enumerate(ramets)
        ],
    )
    outplanting = Outplanting.objects.create(event=event, plot=plot)
    bulk.insert(
        Outplant,
        [
            Outplant(
                outplanting=outplanting,
                ramet=ramet,
                position=row.position,
                cluster=row.cluster,
                fixing=Fixing.of(fixing) if (fixing := row.fixing or given.fixing) else None,
            )
            for ramet, row in zip(ramets, given.outplants, strict=True)
        ],
    )
    return recorded


def _refuse_other_purposes(ramets: list[Ramet]) -> None:
    problems = ProblemList()
    for number, ramet in enumerate(ramets):
        if ramet.purpose != Purpose.PRODUCTION:
            problems.add(
                "not_for_planting",
                f"{ramet.code} is kept as {Purpose(ramet.purpose).label}. Only production is "
                "planted, unless you say that other purposes may be.",
                "outplants",
                number,
                "ramet",
            )
    problems.raise_if_any()
