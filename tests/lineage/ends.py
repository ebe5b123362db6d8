"""Acts of ending, as tests enter them, and what they look at afterwards."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from nursery.core.actor import Actor
from nursery.core.inputs import read
from nursery.core.models import Event
from nursery.lineage import actions, inputs
from nursery.lineage.models import Ramet, Step
from nursery.lineage.words import Life
from nursery.places.models import Structure

ENDED = "2021-05-01"
"""A day after the cutting and before the planting."""
EARLIER = "2021-04-01"


def end(by: Actor, ramets: Iterable[Ramet], /, fate: str | None = "dead", **values: Any) -> Event:
    """These ramets end in one way, or as the rows in `values` say."""
    rows = [{"ramet": ramet.code} for ramet in ramets]
    given = {"when": ENDED, "fate": fate, "ramets": rows, **values}
    return actions.end_ramets(by, read(inputs.EndingIn, given)).event


def count(by: Actor, counts: Sequence[Mapping[str, Any]], /, **values: Any) -> Event:
    given = {"when": ENDED, "counts": list(counts), **values}
    return actions.count_structures(by, read(inputs.CountIn, given)).event


def lose(by: Actor, *structures: Structure, **values: Any) -> Event:
    rows = [{"structure": row.code} for row in structures]
    given = {"when": ENDED, "structures": rows, **values}
    return actions.lose_structures(by, read(inputs.LossIn, given)).event


def tag_on(by: Actor, ramet: Ramet, tag: str, when: str) -> Event:
    """A step that says nothing of life and place, so that anything may be fitted in before it."""
    given = {"when": when, "ramets": [{"ramet": ramet.code, "on": tag}]}
    return actions.retag(by, read(inputs.TaggingIn, given)).event


def now(ramet: Ramet) -> Ramet:
    return Ramet.objects.get(pk=ramet.pk)


def lives(ramets: Iterable[Ramet]) -> list[str]:
    """How each is now, in a word."""
    found = Ramet.objects.in_bulk([ramet.pk for ramet in ramets])
    return [Life(found[ramet.pk].life).word for ramet in ramets]


def last_step(ramet: Ramet) -> Step:
    return Step.objects.filter(ramet=ramet, live=True).order_by("-order")[0]
