"""What an index is worked out from, and what it is: genet counts in, a value or a reason out.

Genet counts are one whole number for each genet, how many ramets it has. Zeros are left out; a
negative count is a ValueError, a fraction a TypeError. N is the number of ramets, G of genets, n
those of one genet, p = n / N. Ramets without a genet are no part of it: the caller counts them
apart. Pure.
"""

import math
import operator
from collections.abc import Iterable
from dataclasses import dataclass

NO_RAMETS = "There are no ramets."
ONE_RAMET = "It needs at least two ramets."
ONE_GENET = "It needs at least two genets."


@dataclass(frozen=True, slots=True)
class Value:
    """A finite number, or None and the reason why there is none. ValueError for neither or both."""

    value: float | None
    reason: str = ""

    def __post_init__(self) -> None:
        if (self.value is None) != bool(self.reason):
            raise ValueError("A value is a number, or has a reason why it is not.")
        if self.value is not None and not math.isfinite(self.value):
            raise ValueError(f"A value is finite: {self.value}.")

    @property
    def number(self) -> float:
        """The number; ValueError with the reason where there is none."""
        if self.value is None:
            raise ValueError(self.reason)
        return self.value


def clean(counts: Iterable[int]) -> list[int]:
    """Genet counts without zeros, in order, so that sums do not depend on the order of the genets;
    ValueError for a negative count, TypeError for a fraction."""
    kept = []
    for n in counts:
        whole = operator.index(n)
        if whole < 0:
            raise ValueError(f"A count is not negative: {whole}.")
        if whole:
            kept.append(whole)
    return sorted(kept)
