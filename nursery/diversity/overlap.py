"""How alike two stands are in their genets. Pure."""

import math
from collections.abc import Mapping
from typing import TypeVar

from nursery.diversity.values import Value, clean

EMPTY = "One of the two has no ramets."

Genet = TypeVar("Genet")


def morisita_horn(here: Mapping[Genet, int], there: Mapping[Genet, int]) -> Value:
    """2 Σ x y / ((Σ x² / X² + Σ y² / Y²) X Y) of the ramets x and y of each genet at two sites, X
    and Y in all; Horn 1966, American Naturalist 100:419.

    1 when the shares are the same, 0 when no genet stands at both; None where either is empty.
    ValueError for a negative count.
    """
    x_sizes, y_sizes = clean(here.values()), clean(there.values())
    x_total, y_total = sum(x_sizes), sum(y_sizes)
    if not x_total or not y_total:
        return Value(None, EMPTY)
    shared = sum(n * there.get(genet, 0) for genet, n in here.items())
    alone = math.fsum(
        sum(n * n for n in sizes) / total**2
        for sizes, total in ((x_sizes, x_total), (y_sizes, y_total))
    )
    return Value(2 * shared / (alone * (x_total * y_total)))
