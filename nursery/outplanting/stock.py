"""What an audit saw of a manifest's ramets, in one number, and what has changed since.

Pure: plain values in and out.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from enum import StrEnum


@dataclass(frozen=True, slots=True, order=True)
class Seen:
    """One ramet as an audit saw it: its code, the codes of the plot it is meant for and of its
    genet (empty: none), and the words for its life and place."""

    ramet: str
    plot: str
    genet: str
    life: str
    place: str


def stock_digest(rows: Iterable[Seen]) -> str:
    """SHA-256 over the ramets in the order of their codes: 64 hexadecimal digits."""
    listed = [[row.ramet, row.plot, row.genet, row.life, row.place] for row in sorted(rows)]
    text = json.dumps(listed, ensure_ascii=False, separators=(",", ":"))
    return hashlib.sha256(text.encode()).hexdigest()


class Changed(StrEnum):
    """How a ramet differs from what an audit saw of it."""

    TAKEN_OFF = "taken off"
    PUT_ON = "put on"
    ENDED = "not living any more"
    PLANTED_ELSEWHERE = "planted otherwise"
    OTHER_GENET = "of another genet"
    AT_HAND_AGAIN = "at hand again"


@dataclass(frozen=True, slots=True)
class Difference:
    """One ramet that differs. `of` is its genet as far as it goes by it: that of the one taken off
    or put on."""

    ramet: str
    changed: Changed
    of: int | None = None


BEARABLE = frozenset({Changed.TAKEN_OFF, Changed.PUT_ON, Changed.ENDED, Changed.PLANTED_ELSEWHERE})
"""What a sign-off may outlive, if an audit still passes: removals, and swaps within a genet."""


def bearable(differences: Sequence[Difference]) -> bool:
    """Whether there are only removals and swaps within a genet: no genet gains by them."""
    if any(each.changed not in BEARABLE for each in differences):
        return False
    gained: dict[int | None, int] = {}
    for each in differences:
        if each.changed is Changed.PUT_ON:
            gained[each.of] = gained.get(each.of, 0) + 1
        elif each.changed is Changed.TAKEN_OFF:
            gained[each.of] = gained.get(each.of, 0) - 1
    return all(number <= 0 for number in gained.values())


def told(differences: Sequence[Difference], most: int = 5) -> str:
    """What has changed, in one sentence: numbers by kind, and some ramets by name."""
    parts = []
    for kind in Changed:
        names = [each.ramet for each in differences if each.changed is kind]
        if names:
            more = f" and {len(names) - most} more" if len(names) > most else ""
            parts.append(f"{len(names)} {kind.value} ({', '.join(names[:most])}{more})")
    return "; ".join(parts)
