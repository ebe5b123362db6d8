"""One thing that is written otherwise than it follows from the rest of the record."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

from nursery.outplanting.verify.rules import RULES


@dataclass(frozen=True, slots=True)
class Difference:
    """One difference: by which `rule` (a stable code), of `what` (the thing by its code), what was
    `found`, what was `expected`, and a sentence for people."""

    rule: str
    what: str
    found: str
    expected: str
    message: str

    def __post_init__(self) -> None:
        if self.rule not in RULES:
            raise ValueError(f"{self.rule} is no rule that is told of")

    def __str__(self) -> str:
        return f"[{self.rule}] {self.what}: {self.message}"


Tell = Callable[[str, int], None]
"""Is told what is being looked at, and how many of it were by now."""

Family = Callable[[Tell], Iterator[Difference]]
"""One family of rules."""


def quiet(_things: str, _number: int) -> None:
    """Tells nobody."""


def differs(rule: str, what: str, name: str, found: Any, expected: Any) -> Difference:
    """A value that is written down twice, and not alike."""
    said, right = told(found), told(expected)
    return Difference(
        rule, what, said, right, f"{name} is {said}, and from the rest of the record {right}."
    )


def breaks(rule: str, what: str, message: str, found: Any = "", expected: Any = "") -> Difference:
    """A rule that is broken."""
    return Difference(rule, what, told(found), told(expected), message)


def told(value: Any) -> str:
    """A value as it stands in a message."""
    if value is None:
        return "nothing"
    if isinstance(value, list | tuple | set | frozenset):
        parts = list(value) if isinstance(value, list | tuple) else sorted(value)
        return ", ".join(map(told, parts)) or "nothing"
    return str(value)
