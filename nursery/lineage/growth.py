"""A trace as it is drawn: the planted plug at the top, the wild colony at the foot.

Turns the answer of a trace into rungs of one ladder: cuttings, gaps, collections, colonies. What
one cutting made stands at one rung, however many of its children are on the way, so that a long
line of pooled cuttings stays a short story. Plain values in and out.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from nursery.lineage.queries import CollectionView, DonorView, Gap, Node, Trace
from nursery.lineage.stem import Rung, order, rungs

_GAP, _RAMETS, _COLLECTION, _COLONY = range(4)

Siblings = tuple[Node, ...]
Thing = Siblings | Gap | CollectionView | DonorView


@dataclass(frozen=True, slots=True)
class Step:
    """One rung of the ladder and what stands at it: exactly one of the four."""

    rung: Rung
    nodes: Siblings = ()
    gap: Gap | None = None
    collection: CollectionView | None = None
    donor: DonorView | None = None


def grown(trace: Trace) -> list[Step]:
    """The rungs of a trace from top to foot.

    A colony that only a gap leads to has no line upward: it is known, the cuttings are not.
    """
    things: dict[str, Thing] = {}
    sources: dict[str, list[str]] = {}
    rank: dict[str, tuple[int, int, str]] = {}

    def stands(kind: int, key: str, thing: Thing, distance: int, below: list[str]) -> None:
        things[key] = thing
        rank[key] = (kind, distance, key)
        sources[key] = list(dict.fromkeys(below))

    families = _families(trace)
    home = {node.ramet: key for key, nodes in families.items() for node in nodes}
    gaps = {gap.ramet: gap for gap in trace.gaps}
    for key, nodes in families.items():
        below = [home[source.ramet] for node in nodes for source in node.sources]
        below += [_key("collection", node.collection) for node in nodes if node.collection]
        # Loose pieces were collected: what is missing is the colony below.
        below += [
            _key("gap", node.ramet)
            for node in nodes
            if node.ramet in gaps and node.collection is None
        ]
        stands(_RAMETS, key, nodes, nodes[0].distance, below)
    colonies = {donor.colony: donor for donor in trace.donors}
    loose = {
        node.collection: gaps[node.ramet]
        for node in reversed(trace.nodes)
        if node.collection is not None and node.ramet in gaps
    }
    for collection in trace.collections:
        uid = collection.event.uid
        below = [_key("colony", collection.colony)] if collection.colony in colonies else []
        if uid in loose:
            below.append(_key("gap", loose[uid].ramet))
        stands(_COLLECTION, _key("collection", uid), collection, 0, below)
    for donor in trace.donors:
        stands(_COLONY, _key("colony", donor.colony), donor, 0, [])
    wanted = {name for below in sources.values() for name in below}
    for gap in trace.gaps:
        key = _key("gap", gap.ramet)
        if key in wanted:
            stands(_GAP, key, gap, 0, [])
    names = order(sources, rank)
    return [_step(rung, things) for rung in rungs(names, sources)]


def _families(trace: Trace) -> dict[str, Siblings]:
    """The ramets on the way by the entry that they were born by."""
    found: dict[str, list[Node]] = {}
    for node in trace.nodes:
        found.setdefault(_key("born", node.born.uid), []).append(node)
    return {key: tuple(nodes) for key, nodes in found.items()}


def _key(kind: str, name: str | None) -> str:
    return f"{kind} {name}"


def _step(rung: Rung, things: Mapping[str, Thing]) -> Step:
    match things[rung.name]:
        case Gap() as gap:
            return Step(rung, gap=gap)
        case CollectionView() as collection:
            return Step(rung, collection=collection)
        case DonorView() as donor:
            return Step(rung, donor=donor)
        case nodes:
            return Step(rung, nodes=nodes)
