"""How a whole descent is drawn: each cutting a node, by its date, below what it was cut from.

A node hangs on the mother that gave most of it; other mothers join by side stems. Where there are
too many cuttings to be told apart they are folded, by generation and year, or by generation alone.
Plain values in and out.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from enum import StrEnum

MOST_DRAWN = 60
"""The most nodes that are drawn; more are folded."""


class Fold(StrEnum):
    """What one node of the picture is."""

    CUTTING = "cutting"
    YEAR = "year"
    GENERATION = "generation"


@dataclass(frozen=True, slots=True)
class Tally:
    """Ramets by what became of them. `planted` were planted at some time, whatever came after."""

    living: int = 0
    dead: int = 0
    other: int = 0
    planted: int = 0

    @property
    def total(self) -> int:
        return self.living + self.dead + self.other

    def __add__(self, more: Tally) -> Tally:
        return Tally(
            self.living + more.living,
            self.dead + more.dead,
            self.other + more.other,
            self.planted + more.planted,
        )


@dataclass(frozen=True, slots=True)
class Cutting:
    """What one entry brought into the record: pieces collected, cut, or entered as stock.

    `sources` are the keys of the entries that its mothers were born by, with how many mothers each;
    `outside` is how many mothers are no part of the descent. `gap`: what it comes from was not
    recorded.
    """

    key: str
    word: str
    first: date
    last: date
    generation: int | None
    tally: Tally
    sources: Mapping[str, int] = field(default_factory=dict)
    outside: int = 0
    gap: bool = False


@dataclass(frozen=True, slots=True)
class Node:
    """A node of the picture: one cutting, or those that are folded into it."""

    key: str
    cuttings: Sequence[Cutting]
    generation: int | None
    first: date
    last: date
    tally: Tally
    sources: Mapping[str, int]
    outside: int
    gap: bool


@dataclass(frozen=True, slots=True)
class Row:
    """A node with its place: `at` is how far along the time it stands, 0 to 1; `stem` is the row of
    what it hangs on (None: on the root), `side` those of its other mothers."""

    node: Node
    at: float
    stem: int | None
    side: Sequence[int]


@dataclass(frozen=True, slots=True)
class Picture:
    """The rows from the top down, what a node is, and the days on which the time begins, ends."""

    rows: Sequence[Row]
    fold: Fold
    first: date
    last: date


def picture(cuttings: Sequence[Cutting], most: int = MOST_DRAWN) -> Picture | None:
    """The picture of a descent; None of nothing."""
    if not cuttings:
        return None
    fold, nodes = folded(cuttings, most)
    first = min(node.first for node in nodes)
    last = max(node.last for node in nodes)
    return Picture(_rows(nodes, first, last), fold, first, last)


def folded(cuttings: Sequence[Cutting], most: int) -> tuple[Fold, list[Node]]:
    """The nodes, folded as little as their number allows."""
    for fold in (Fold.CUTTING, Fold.YEAR):
        nodes = _fold(cuttings, fold)
        if len(nodes) <= most:
            return fold, nodes
    return Fold.GENERATION, _fold(cuttings, Fold.GENERATION)


def _fold(cuttings: Sequence[Cutting], fold: Fold) -> list[Node]:
    home = {cutting.key: _bin(cutting, fold) for cutting in cuttings}
    bins: dict[str, list[Cutting]] = defaultdict(list)
    for cutting in cuttings:
        bins[home[cutting.key]].append(cutting)
    return [_node(key, inside, home) for key, inside in bins.items()]


def _bin(cutting: Cutting, fold: Fold) -> str:
    if fold is Fold.CUTTING:
        return cutting.key
    # What was collected and what was entered with a gap are told apart from what was cut.
    kind = f"{cutting.generation} {cutting.gap}"
    return f"{kind} {cutting.last.year}" if fold is Fold.YEAR else kind


def _node(key: str, inside: Sequence[Cutting], home: Mapping[str, str]) -> Node:
    sources: dict[str, int] = defaultdict(int)
    for cutting in inside:
        for source, n in cutting.sources.items():
            # A mother in the same node is no line of the picture.
            if source in home and home[source] != key:
                sources[home[source]] += n
    return Node(
        key=key,
        cuttings=tuple(sorted(inside, key=_by_date)),
        generation=inside[0].generation,
        first=min(cutting.first for cutting in inside),
        last=max(cutting.last for cutting in inside),
        tally=sum((cutting.tally for cutting in inside), Tally()),
        sources=dict(sources),
        outside=sum(cutting.outside for cutting in inside),
        gap=any(cutting.gap for cutting in inside),
    )


def _by_date(thing: Cutting | Node) -> tuple[date, date, str]:
    return thing.last, thing.first, thing.key


def _rows(nodes: Sequence[Node], first: date, last: date) -> list[Row]:
    named = {node.key: node for node in nodes}
    stems = {node.key: _main(node, named) for node in nodes}
    below: dict[str | None, list[Node]] = defaultdict(list)
    for node in sorted(nodes, key=_by_date):
        below[stems[node.key]].append(node)
    order = _downward(below)
    # What hangs on itself by way of vague dates is hung on the root.
    left = [node for node in sorted(nodes, key=_by_date) if node.key not in set(order)]
    for node in left:
        stems[node.key] = None
    places = {key: n for n, key in enumerate([*order, *(node.key for node in left)])}
    span = (last - first).days
    rows = []
    for key in places:
        node, stem = named[key], stems[key]
        rows.append(
            Row(
                node=node,
                # Where it began: no mother stands later than what was cut from her.
                at=(node.first - first).days / span if span else 0.5,
                stem=places[stem] if stem is not None else None,
                side=sorted(places[source] for source in node.sources if source != stem),
            )
        )
    return rows


def _main(node: Node, named: Mapping[str, Node]) -> str | None:
    """The mother that gave most; among equals the one cut last."""
    if not node.sources:
        return None
    return max(node.sources, key=lambda key: (node.sources[key], _by_date(named[key])))


def _downward(below: Mapping[str | None, Iterable[Node]]) -> list[str]:
    """Each node right before all that hangs on it."""
    found: list[str] = []
    waiting = [node.key for node in reversed(list(below.get(None, ())))]
    while waiting:
        key = waiting.pop()
        found.append(key)
        waiting += [node.key for node in reversed(list(below.get(key, ())))]
    return found
