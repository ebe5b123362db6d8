"""Small acts of identity for tests: relabelling, merging, identifying, tagging."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from django.test.utils import CaptureQueriesContext

from nursery.core.actor import Actor
from nursery.core.inputs import read
from nursery.core.models import Event
from nursery.donors.models import Genet
from nursery.lineage import actions, inputs
from nursery.lineage.models import Ramet, Tag
from nursery.lineage.regrouping import Effect
from tests import factories as f

LATER = "2021-07-01"
"""After everything that the factories make."""


def relabelling_in(
    ramets: Iterable[Ramet], genet: Genet | None, /, **values: Any
) -> dict[str, Any]:
    named: dict[str, Any] = {"genet": genet.code} if genet is not None else {"unknown": True}
    return {"when": LATER, "ramets": [{"ramet": r.code} for r in ramets], **named, **values}


def relabel(by: Actor, ramets: Iterable[Ramet], genet: Genet | None, /, **values: Any) -> Event:
    given = read(inputs.RelabellingIn, relabelling_in(ramets, genet, **values))
    return actions.relabel(by, given).event


def relabelling_effect(
    by: Actor, ramets: Iterable[Ramet], genet: Genet | None, /, **values: Any
) -> Effect:
    given = read(inputs.RelabellingIn, relabelling_in(ramets, genet, **values))
    return actions.relabelling_effect(by, given)


def merging_in(kept: Genet, merged: Genet, /, **values: Any) -> inputs.GenetMergeIn:
    given = {"when": LATER, "kept": kept.code, "merged": merged.code, **values}
    return read(inputs.GenetMergeIn, given)


def merge(by: Actor, kept: Genet, merged: Genet, /, **values: Any) -> Event:
    return actions.merge_genets(by, merging_in(kept, merged, **values)).event


def merging_effect(by: Actor, kept: Genet, merged: Genet, /, **values: Any) -> Effect:
    return actions.merging_effect(by, merging_in(kept, merged, **values))


def identify(by: Actor, /, *rows: Mapping[str, Any], **values: Any) -> Event:
    given = {"when": LATER, "ramets": list(rows), **values}
    return actions.identify(by, read(inputs.IdentificationIn, given)).event


def retag(by: Actor, /, *rows: Mapping[str, Any], **values: Any) -> Event:
    given = {"when": LATER, "ramets": list(rows), **values}
    return actions.retag(by, read(inputs.TaggingIn, given)).event


def loose(programme: f.Programme, *rows: Mapping[str, Any], **values: Any) -> list[Ramet]:
    """Loose pieces on record, of the programme's taxon."""
    given = [{"taxon": programme.taxon.code, **row} for row in rows or ({},)]
    return f.stock(programme.lead, programme.nursery, given, origin="found", **values)


def now(*ramets: Ramet) -> list[Ramet]:
    """The same ramets as they are now."""
    rows = Ramet.objects.select_related("genet__canonical").in_bulk([ramet.pk for ramet in ramets])
    return [rows[ramet.pk] for ramet in ramets]


def genets(*ramets: Ramet) -> list[str | None]:
    """The codes of the genets that are written on ramets now."""
    return [row.genet.code if row.genet is not None else None for row in now(*ramets)]


def tags(text: str) -> list[tuple[str, str, str | None]]:
    """Who had a tag from when to when, by live tags."""
    rows = Tag.objects.filter(text=text, live=True).order_by("since", "pk")
    return [(tag.ramet.code, str(tag.since), str(tag.until) if tag.until else None) for tag in rows]


def other_genet(programme: f.Programme) -> tuple[Genet, Ramet]:
    """A second genet of the taxon, and a wild fragment of it."""
    colony = f.colony(programme.lead, programme.taxon, programme.reef)
    return colony.genet, f.mothers(programme.lead, colony, programme.tray)[0]


def known_as(*rows: Genet) -> list[str]:
    """The codes of the genets that these are known as."""
    found = Genet.objects.select_related("canonical").in_bulk([row.pk for row in rows])
    return [(found[row.pk].canonical or found[row.pk]).code for row in rows]


def statements(queries: CaptureQueriesContext) -> int:
    """How many questions and inserts were sent. Updates of many rows are one statement, which is
    logged once a row on one database."""
    return sum(not query["sql"].startswith("UPDATE") for query in queries)
