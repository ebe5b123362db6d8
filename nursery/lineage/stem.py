"""How a trace is drawn: in which order its nodes stand below each other, and on which stems.

A node hangs on a stem; where it was cut from several mothers, the first goes on below it and the
others join by side stems. Pure: names in, places out.
"""

from __future__ import annotations

import heapq
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

MOST_STEMS = 6
"""Stems that are drawn side by side; any more are drawn on the last of them."""


@dataclass(frozen=True, slots=True)
class Strand:
    """What is drawn on one stem beside one node: lines up, down, left and right of its middle."""

    up: bool = False
    down: bool = False
    left: bool = False
    right: bool = False
    node: bool = False


@dataclass(frozen=True, slots=True)
class Rung:
    """One node with its stems from left to right; `stem` is the number of its own, from 0."""

    name: str
    stem: int
    strands: tuple[Strand, ...]


@dataclass(slots=True)
class _Drawn:
    up: bool = False
    down: bool = False
    left: bool = False
    right: bool = False
    node: bool = False


@dataclass(slots=True)
class _Stems:
    """The stems that are still open, each with the name of the node that it leads to."""

    leads_to: list[str | None] = field(default_factory=list)

    def open_at(self, name: str) -> list[int]:
        return [stem for stem, target in enumerate(self.leads_to) if target == name]

    def start(self, name: str, right_of: int) -> int:
        """Lead a free stem to the node, to the right of another one."""
        for stem in range(right_of + 1, len(self.leads_to)):
            if self.leads_to[stem] is None:
                self.leads_to[stem] = name
                return stem
        self.leads_to.append(name)
        return len(self.leads_to) - 1


def order(
    sources: Mapping[str, Sequence[str]], rank: Mapping[str, tuple[int, int, str]]
) -> list[str]:
    """The names so that each stands above all its sources; among equals the lowest rank first.

    `sources` has an entry for each name. Raises ValueError where the descent goes round in a ring.
    """
    above = dict.fromkeys(sources, 0)
    for below in sources.values():
        for name in below:
            above[name] += 1
    ready = [(rank[name], name) for name, n in above.items() if n == 0]
    heapq.heapify(ready)
    found = []
    while ready:
        _, name = heapq.heappop(ready)
        found.append(name)
        for source in sources[name]:
            above[source] -= 1
            if above[source] == 0:
                heapq.heappush(ready, (rank[source], source))
    if len(found) < len(sources):
        raise ValueError("The descent goes round in a ring.")
    return found


def rungs(names: Sequence[str], sources: Mapping[str, Sequence[str]]) -> list[Rung]:
    """Where each name is drawn; `names` are in an order that `order` gives."""
    stems = _Stems()
    found = []
    for name in names:
        joining = stems.open_at(name)
        own = joining[0] if joining else stems.start(name, -1)
        before = list(stems.leads_to)
        below = list(dict.fromkeys(sources[name]))
        stems.leads_to[own] = below[0] if below else None
        leaving = [stems.start(source, own) for source in below[1:]]
        # Only now: a stem that ends here and one that begins here are not drawn as one.
        for stem in joining[1:]:
            stems.leads_to[stem] = None
        found.append(_rung(name, own, joining, before, stems.leads_to, leaving))
        while stems.leads_to and stems.leads_to[-1] is None:
            stems.leads_to.pop()
    return found


def _rung(
    name: str,
    own: int,
    joining: Sequence[int],
    before: Sequence[str | None],
    after: Sequence[str | None],
    leaving: Sequence[int],
) -> Rung:
    width = min(max(len(before), len(after), own + 1), MOST_STEMS)
    drawn = [_Drawn() for _ in range(width)]

    def at(stem: int) -> _Drawn:
        return drawn[min(stem, width - 1)]

    for stem, target in enumerate(before):
        at(stem).up |= target is not None and (stem != own or bool(joining))
    for stem, target in enumerate(after):
        at(stem).down |= target is not None
    at(own).node = True
    for stem in (*joining[1:], *leaving):
        first, last = min(own, width - 1), min(stem, width - 1)
        for between in range(first, last + 1):
            drawn[between].left |= between > first
            drawn[between].right |= between < last
    strands = tuple(Strand(d.up, d.down, d.left, d.right, d.node) for d in drawn)
    return Rung(name, min(own, width - 1), strands)
