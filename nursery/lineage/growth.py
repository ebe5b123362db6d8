"""A trace as it is drawn: the planted plug at the top, the wild colony at the foot.

Turns the answer of a trace into rungs of one ladder: ramets, gaps, collections, colonies. Plain
values in and out.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from nursery.lineage.queries import CollectionView, DonorView, Gap, Node, StepView, Trace
from nursery.lineage.stem import Rung, order, rungs
from nursery.lineage.words import What

_GAP, _RAMET, _COLLECTION, _COLONY = range(4)


@dataclass(frozen=True, slots=True)
class Step:
    """One rung of the ladder and what stands at it: exactly one of the four."""

    rung: Rung
    node: Node | None = None
    gap: Gap | None = None
    collection: CollectionView | None = None
    donor: DonorView | None = None

    @property
    def born(self) -> StepView | None:
        """The step by which the ramet came into the record."""
        if self.node is None:
            return None
        return next((step for step in self.node.steps if step.what is What.BORN), None)


def grown(trace: Trace) -> list[Step]:
    """The rungs of a trace from top to foot.

    A colony that only a gap leads to has no line upward: it is known, the cuttings are not.
    """
    things: dict[str, Node | Gap | CollectionView | DonorView] = {}
    sources: dict[str, list[str]] = {}
    rank: dict[str, tuple[int, int, str]] = {}
    gaps = {gap.ramet: gap for gap in trace.gaps}
    for node in trace.nodes:
        things[node.ramet] = node
        rank[node.ramet] = (_RAMET, node.distance, node.ramet)
        sources[node.ramet] = [source.ramet for source in node.sources]
        if node.collection is not None:
            sources[node.ramet] = [_key("collection", node.collection)]
        gap = gaps.get(node.ramet)
        if gap is not None:
            key = _key("gap", node.ramet)
            things[key] = gap
            rank[key] = (_GAP, node.distance, node.ramet)
            sources[key] = []
            # Loose pieces were collected: what is missing is the colony below.
            above = sources[node.ramet][0] if node.collection is not None else node.ramet
            sources.setdefault(above, []).append(key)
    colonies = {donor.colony: donor for donor in trace.donors}
    for donor in trace.donors:
        key = _key("colony", donor.colony)
        things[key] = donor
        rank[key] = (_COLONY, 0, donor.colony)
        sources[key] = []
    for collection in trace.collections:
        key = _key("collection", collection.event.uid)
        things[key] = collection
        rank[key] = (_COLLECTION, 0, collection.event.uid)
        known = collection.colony in colonies
        below = sources.setdefault(key, [])
        if known:
            below.append(_key("colony", collection.colony or ""))
    names = order(sources, rank)
    return [_step(rung, things) for rung in rungs(names, sources)]


def _key(kind: str, name: str) -> str:
    # A blank, which no ramet's code has, keeps the kinds apart.
    return f"{kind} {name}"


def _step(rung: Rung, things: Mapping[str, Node | Gap | CollectionView | DonorView]) -> Step:
    match things[rung.name]:
        case Node() as node:
            return Step(rung, node=node)
        case Gap() as gap:
            return Step(rung, gap=gap)
        case CollectionView() as collection:
            return Step(rung, collection=collection)
        case DonorView() as donor:
            return Step(rung, donor=donor)
