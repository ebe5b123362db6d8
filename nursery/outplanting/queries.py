"""What can be asked of the reef: the whole trace of an outplant."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import cache
from typing import Any

from django.db.models.functions import JSONArray

from nursery.core.actor import Actor
from nursery.lineage import walk
from nursery.lineage.queries import Headers, ObservationView, OutplantView, Trace, Tracer, tenths
from nursery.lineage.words import Cause
from nursery.outplanting.models import Condition, Fixing, Observation, Outplant


def trace(actor: Actor, text: str) -> Trace:
    """Every step from an outplant back to its sources, with what only the reef knows: where in the
    plot it was planted and how, and what was seen of it since.

    `text` is a code, a tag (an old one too) or a place. A code takes one statement. Raises Unknown.
    """
    found = _tracer().ask(actor, text)
    return replace(
        found.trace,
        outplants=tuple(
            _outplant(row, found.headers)
            for row in sorted(found.rows["outplants"], key=lambda row: found.headers.place(row[0]))
        ),
        observations=tuple(
            _observation(row, found.headers)
            for row in sorted(
                found.rows["observations"], key=lambda row: found.headers.place(row[0])
            )
        ),
    )


@cache
def _tracer() -> Tracer:
    asked = walk.Among("ramet", walk.ASKED)
    outplants = Outplant.objects.filter(asked, outplanting__event__live=True)
    observations = Observation.objects.filter(asked, visit__event__live=True)
    return Tracer(
        {
            "outplants": (
                outplants,
                JSONArray(
                    *("outplanting_id", "outplanting__plot__site__code"),
                    *("outplanting__plot__site__name", "outplanting__plot__code"),
                    *("position", "cluster", "fixing"),
                ),
            ),
            "observations": (
                observations,
                JSONArray("visit_id", "condition", "cause", "tissue_lost", "size_cm", "note"),
            ),
        },
        [outplants.values("outplanting"), observations.values("visit")],
    )


def _outplant(row: Sequence[Any], headers: Headers) -> OutplantView:
    event, site, site_name, plot, position, cluster, fixing = row
    return OutplantView(
        event=headers[event],
        site=site,
        site_name=site_name,
        plot=plot,
        position=position,
        cluster=cluster,
        fixing=Fixing(fixing).word if fixing is not None else None,
    )


def _observation(row: Sequence[Any], headers: Headers) -> ObservationView:
    event, condition, cause, tissue_lost, size_cm, note = row
    return ObservationView(
        event=headers[event],
        condition=Condition(condition).word,
        cause=Cause(cause).word if cause is not None else None,
        tissue_lost=tenths(tissue_lost),
        size_cm=tenths(size_cm),
        note=note,
    )
