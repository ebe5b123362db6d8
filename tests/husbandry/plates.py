"""Plates and their checks, as tests enter them, and what they look at afterwards."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from nursery.core.actor import Actor
from nursery.core.models import Event
from nursery.husbandry.models import Check
from nursery.lineage.models import Ramet, Step
from nursery.lineage.words import Life, What
from nursery.places.models import Structure
from tests import factories as f

LATER = "2021-03-20"
"""A day after the check."""


def cut_into(p: f.Programme, into: Structure, count: int = 3, when: str = f.CUT) -> list[Ramet]:
    """Children of one mother, in the first free cells of a structure."""
    return f.cut(p.lead, p.mothers(), count, into=into, when=when)


def looked(by: Actor, *rows: Mapping[str, Any], **values: Any) -> Check:
    """A check whose findings are given row by row."""
    return f.check(by, {}, **{"findings": list(rows), **values})


def now(ramet: Ramet) -> Ramet:
    return Ramet.objects.get(pk=ramet.pk)


def lives(ramets: Iterable[Ramet]) -> list[str]:
    return [Life(now(ramet).life).word for ramet in ramets]


def whats(ramet: Ramet) -> list[What]:
    """What its live steps say, in order."""
    steps = Step.objects.filter(ramet=ramet, live=True).order_by("order")
    return [What(what) for what in steps.values_list("what", flat=True)]


def cell_of(ramet: Ramet) -> str | None:
    """The structure and cell that it is in, or was in when it ended."""
    row = now(ramet)
    if row.structure is None:
        return None
    return f"{row.structure.code} {row.cell.name if row.cell else ''}".strip()


def placed(by: Actor, ramet: Ramet, into: Structure, cell: str | None, when: str) -> Event:
    return f.move(by, [{"ramet": ramet.code, "structure": into.code, "cell": cell}], when=when)
