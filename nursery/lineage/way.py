"""The way of a ramet through places: from the colony to the nurseries and the reef, leg by leg.

Out of the answer of a trace. Pooled mothers each bring their own legs. Plain values in and out.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from itertools import pairwise

from nursery.core.dates import When
from nursery.lineage.queries import Node, PlaceView, StepView, Trace


class StopKind(StrEnum):
    """What kind of place a stop is."""

    COLONY = "colony"
    REEF = "reef"
    NURSERY = "nursery"
    SITE = "site"


@dataclass(frozen=True, slots=True)
class Stop:
    """A place on the way: a wild colony, a reef where loose pieces were, a nursery or a site."""

    kind: StopKind
    code: str


@dataclass(frozen=True, slots=True)
class Leg:
    """From one stop to the next, and when the first of it arrived there. `gap`: what lies between
    was not recorded."""

    start: Stop
    end: Stop
    when: When | None
    gap: bool = False


def legs(trace: Trace) -> list[Leg]:
    """The legs of a trace from the wild on; each pair of places once."""
    known = _Known(trace)
    found: dict[tuple[Stop, Stop], Leg] = {}

    def keep(leg: Leg) -> None:
        if leg.start != leg.end:
            found.setdefault((leg.start, leg.end), leg)

    for node in sorted(trace.nodes, key=lambda each: -each.distance):
        at = known.stops_of(node)
        if at:
            end, when = at[0]
            for start, gap in known.begun(node):
                keep(Leg(start, end, when, gap))
        for (start, _), (end, when) in pairwise(at):
            keep(Leg(start, end, when))
    return list(found.values())


class _Known:
    """What a trace tells of where its ramets were."""

    def __init__(self, trace: Trace) -> None:
        self.trace = trace
        self.nodes = {node.ramet: node for node in trace.nodes}
        self.collected = {row.event.uid: row for row in trace.collections}
        self.gaps = {gap.ramet for gap in trace.gaps}
        self.cut_by: dict[str, set[str]] = defaultdict(set)
        for node in trace.nodes:
            for source in node.sources:
                self.cut_by[source.ramet].add(node.born.uid)
        self._begun: dict[str, list[tuple[Stop, bool]]] = {}

    def stops_of(self, node: Node) -> list[tuple[Stop, When]]:
        """Where a ramet was on this way, one place after the other, and when it came there."""
        found = list(_stops(_until_cut(node.steps, self.cut_by[node.ramet])))
        row = self.collected.get(node.collection or "")
        if not found and row is not None:
            return [(Stop(StopKind.NURSERY, each.nursery), each.event.when) for each in row.intakes]
        return found

    def begun(self, node: Node) -> list[tuple[Stop, bool]]:
        """Where a ramet came from before its own first place, and whether there is a gap between:
        the wild, or where its mothers were when they were cut."""
        if node.ramet not in self._begun:
            self._begun[node.ramet] = list(dict.fromkeys(self._from(node)))
        return self._begun[node.ramet]

    def _from(self, node: Node) -> Iterator[tuple[Stop, bool]]:
        row = self.collected.get(node.collection or "")
        if row is not None and row.colony is not None:
            yield Stop(StopKind.COLONY, row.colony), False
        elif row is not None:
            yield Stop(StopKind.REEF, row.reef), False
        elif node.ramet in self.gaps:
            # The colonies are known, the cuttings between are not.
            taken_from = {each.colony for each in self.trace.collections}
            for donor in self.trace.donors:
                if donor.colony not in taken_from:
                    yield Stop(StopKind.COLONY, donor.colony), True
        for source in node.sources:
            mother = self.nodes[source.ramet]
            stop = _left_at(self.stops_of(mother), mother.steps, node.born.uid)
            if stop is not None:
                yield stop, False
            else:
                # She never had a place of her own: she was where hers were.
                yield from self.begun(mother)


def stops(way: Sequence[Leg]) -> list[Stop]:
    """The places of a way in the order in which they are told, from the wild on."""
    found: dict[Stop, None] = {}
    for kind in StopKind:
        for leg in way:
            for stop in (leg.start, leg.end):
                if stop.kind is kind:
                    found.setdefault(stop)
    return list(found)


def _until_cut(steps: Sequence[StepView], cuttings: Collection[str]) -> Sequence[StepView]:
    """The steps of a mother until she was cut last on this way: where she went then is her own."""
    last = max(
        (n for n, step in enumerate(steps) if step.event.uid in cuttings), default=len(steps)
    )
    return steps[: last + 1]


def _stops(steps: Sequence[StepView]) -> Iterator[tuple[Stop, When]]:
    """Where a ramet was, one after the other, and when it came there."""
    last: Stop | None = None
    for step in steps:
        stop = _stop(step.place)
        if stop is not None and stop != last:
            last = stop
            yield stop, step.event.when


def _left_at(
    at: Sequence[tuple[Stop, When]], steps: Sequence[StepView], cutting: str
) -> Stop | None:
    """Where a mother was when she was cut."""
    before = [stop for stop, _ in _stops(_until_cut(steps, {cutting}))]
    if before:
        return before[-1]
    return at[0][0] if at else None


def _stop(place: PlaceView | None) -> Stop | None:
    if place is None:
        return None
    if place.site is not None:
        return Stop(StopKind.SITE, place.site)
    if place.nursery is not None:
        return Stop(StopKind.NURSERY, place.nursery)
    return None


def numbered(found: Sequence[Stop]) -> Mapping[Stop, int]:
    """The number of each stop, from 1."""
    return {stop: n for n, stop in enumerate(found, start=1)}
