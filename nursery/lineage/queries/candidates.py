"""Which genets a ramet without one may be: the nearest known ones upward.

One that was relabelled as of a genet that is not known is of none that its cuttings tell of: it may
be any, and so may all that was cut from it.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Hashable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Generic, TypeVar

from django.db.models import Exists, OuterRef
from django.db.models.functions import Coalesce

from nursery.lineage.models import Source, Step
from nursery.lineage.queries.answers import Node
from nursery.lineage.words import What

_K = TypeVar("_K", bound=Hashable)


@dataclass(frozen=True, slots=True)
class Candidates:
    """The genets that a ramet without one may be; `complete` unless it may be yet another."""

    codes: tuple[str, ...]
    complete: bool


@dataclass(frozen=True, slots=True)
class Known(Generic[_K]):
    """What is known of a ramet: its genet, else what it can have it from (none: nobody knows)."""

    genet: str | None
    sources: Sequence[_K] = ()


def reckon(start: Iterable[_K], known: Mapping[_K, Known[_K]]) -> Candidates:
    """The nearest known genets of these ramets and upward of them."""
    found: set[str] = set()
    complete = True
    seen = set(start)
    waiting = list(seen)
    while waiting:
        one = known[waiting.pop()]
        if one.genet is not None:
            found.add(one.genet)
        elif not one.sources:
            complete = False
        else:
            further = set(one.sources) - seen
            seen |= further
            waiting += further
    return Candidates(tuple(sorted(found)), complete)


def of_way(nodes: Sequence[Node]) -> Candidates:
    """What the first of the ramets on a way back may be; none where its genet is known."""
    head = nodes[0]
    if head.genet is not None:
        return Candidates((), complete=True)
    return reckon([head.ramet], {node.ramet: _known(node) for node in nodes})


def _known(node: Node) -> Known[str]:
    if any(step.what is What.RELABELLED for step in node.steps):
        return Known(node.genet)
    return Known(node.genet, [source.ramet for source in node.sources])


def of_cuttings(cuttings: Collection[int]) -> dict[int, Candidates]:
    """What the children of each of these cuttings may be, by its event id; those of which the
    children have a genet are left out. One query, over the sources of all that have none."""
    if not cuttings:
        return {}
    rows = Source.objects.filter(fragmentation__genet__isnull=True).values_list(
        "fragmentation_id",
        "ramet_id",
        "ramet__fragmentation_id",
        Coalesce("ramet__genet__canonical__code", "ramet__genet__code"),
        relabelled("ramet"),
    )
    sources: dict[int, list[int]] = defaultdict(list)
    told = list(rows)
    for cutting, ramet, *_ in told:
        sources[cutting].append(ramet)
    known = {
        ramet: Known(genet, () if labelled else sources.get(born, ()))
        for _, ramet, born, genet, labelled in told
    }
    return {pk: reckon(sources[pk], known) for pk in cuttings if pk in sources}


def relabelled(ramet: str) -> Exists:
    """Whether the ramet that `ramet` leads to was relabelled. If it has no genet nevertheless, the
    last label says that it is not known."""
    return Exists(Step.objects.filter(ramet=OuterRef(ramet), what=What.RELABELLED, live=True))
