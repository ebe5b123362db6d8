"""What can be asked of the reef: the whole trace of an outplant."""

from __future__ import annotations

from dataclasses import replace

from nursery.core.actor import Actor
from nursery.donors.queries import permits_of
from nursery.lineage import queries as lineage
from nursery.lineage.queries import ObservationView, OutplantView, Trace
from nursery.lineage.words import Cause
from nursery.outplanting.models import Condition, Fixing, Observation, Outplant


def trace(actor: Actor, text: str) -> Trace:
    """Every step from an outplant back to its sources, with what only the reef knows: where in the
    plot it was planted and how, and what was seen of it since.

    `text` is a code, a tag (an old one too) or a place. Raises Unknown.
    """
    found = lineage.trace(actor, text)
    outplants = list(
        Outplant.objects.filter(ramet__code=found.ramet, outplanting__event__live=True)
        .select_related("outplanting__event", "outplanting__plot__site")
        .order_by("pk")
    )
    observations = list(
        Observation.objects.filter(ramet__code=found.ramet, visit__event__live=True)
        .select_related("visit__event")
        .order_by("visit__event__earliest", "pk")
    )
    permits = permits_of(
        {row.outplanting_id for row in outplants} | {row.visit_id for row in observations}
    )
    return replace(
        found,
        outplants=tuple(
            OutplantView(
                event=lineage.header(row.outplanting.event, permits.get(row.outplanting_id, ())),
                site=row.outplanting.plot.site.code,
                site_name=row.outplanting.plot.site.name,
                plot=row.outplanting.plot.code,
                position=row.position,
                cluster=row.cluster,
                fixing=Fixing(row.fixing).word if row.fixing is not None else None,
            )
            for row in outplants
        ),
        observations=tuple(
            ObservationView(
                event=lineage.header(row.visit.event, permits.get(row.visit_id, ())),
                condition=Condition(row.condition).word,
                cause=Cause(row.cause).word if row.cause is not None else None,
                tissue_lost=row.tissue_lost,
                size_cm=row.size_cm,
                note=row.note,
            )
            for row in observations
        ),
    )
