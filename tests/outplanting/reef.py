"""Acts on the reef, as tests enter them, and what they look at afterwards."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from nursery.core.actor import Actor
from nursery.core.inputs import read
from nursery.core.models import Event
from nursery.lineage.models import Ramet, Step
from nursery.lineage.words import Life, What
from nursery.outplanting import actions
from nursery.outplanting.inputs import LiftIn, OutplantingIn
from nursery.outplanting.models import Outplanting
from nursery.outplanting.verify import Difference, verify
from nursery.places.models import Plot, Structure
from tests import factories as f

LIFTED = "2021-07-01"
"""A day after the planting and before the visit."""
REPLANTED = "2021-08-01"


def lift(
    by: Actor, ramets: Iterable[Ramet], into: Structure | None = None, /, **values: Any
) -> Event:
    """These outplants are lifted into a structure, or packed, or as the rows in `values` say."""
    given: dict[str, Any] = {
        "when": LIFTED,
        "ramets": [{"ramet": ramet.code} for ramet in ramets],
        **values,
    }
    if into is not None:
        given["structure"] = into.code
    return actions.lift(by, read(LiftIn, given)).event


def plant_structures(
    by: Actor, plot: Plot, *structures: Structure | Mapping[str, Any], **values: Any
) -> Outplanting:
    """Structures planted with all that lives in them, each by its code or by its row."""
    rows = [{"structure": s.code} if isinstance(s, Structure) else dict(s) for s in structures]
    given = {"when": f.PLANTED, "plot": plot.code, "structures": rows, **values}
    event = actions.plant(by, read(OutplantingIn, given)).event
    return Outplanting.objects.get(event=event)


def rock(programme: f.Programme, bay: bool = True, **values: Any) -> Structure:
    """A rock with three sockets, empty, in the bay or nowhere yet."""
    given = {"kind": "rock", "rows": 1, "columns": 3, **values}
    return f.structure(programme.lead, programme.bay if bay else None, **given)


def now(ramet: Ramet) -> Ramet:
    return Ramet.objects.get(pk=ramet.pk)


def as_is(row: Structure) -> Structure:
    return Structure.objects.get(pk=row.pk)


def lives(ramets: Iterable[Ramet]) -> list[str]:
    """How each is now, in a word."""
    return [Life(now(ramet).life).word for ramet in ramets]


def whats(ramet: Ramet) -> list[What]:
    """What its live steps say, in order."""
    steps = Step.objects.filter(ramet=ramet, live=True).order_by("order")
    return [What(what) for what in steps.values_list("what", flat=True)]


def said_both(message: str, *dates: str) -> bool:
    """Whether a sentence names each of these dates."""
    return all(date in message for date in dates)


def differences() -> list[Difference]:
    """What verification finds: nothing, after any act."""
    return list(verify())
