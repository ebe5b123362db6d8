"""Between what bounds a Hill number lies, if the ramets are taken as a sample of a larger stand.

Bootstrap of Chao & Jost 2015, Methods in Ecology and Evolution 6:873 (the assemblage after Chao et
al. 2014, Ecological Monographs 84:45, appendix; recalled from memory): genets seen are given less
than their share, genets unseen the rest, so that samples drawn anew hold about as many rare ones.
Plain resampling would lose rare genets each time. Pure.
"""

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from nursery.diversity.indices import hill
from nursery.diversity.unseen import coverage, unseen_genets
from nursery.diversity.values import NO_RAMETS, ONE_RAMET, clean

SEED = 20_150_311
"""Where the random numbers begin, so that the same record gives the same bounds on every day."""
SAMPLES = 400
Z_95 = 1.959963984540054
"""The normal distribution between minus and plus this holds 95 %."""


@dataclass(frozen=True, slots=True)
class Interval:
    """A 95 % interval, or no numbers and the reason why."""

    low: float | None
    high: float | None
    reason: str = ""


@dataclass(frozen=True, slots=True)
class Stock:
    """A stand of which counts may be a sample: the shares of the genets seen, and `hidden` unseen
    ones that have the share `missed` evenly between them."""

    seen: NDArray[np.float64]
    hidden: int
    missed: float


def assemblage(counts: Iterable[int]) -> Stock:
    """The stand behind these counts, in shares that add up to 1.

    Of genets seen p (1 − w (1 − p)^N), with w such that together they are the sample coverage; the
    rest evenly of as many unseen ones as Chao1 says, rounded up.
    """
    n = np.array(clean(counts), dtype=np.int64)
    total = int(n.sum())
    hidden = math.ceil(unseen_genets(n.tolist()).number)
    share = n / total
    missed = 1 - coverage(n.tolist()).number if hidden else 0.0
    rare = (1 - share) ** total
    weight = missed / float((share * rare).sum()) if missed else 0.0
    seen = share * (1 - weight * rare)
    whole = float(seen.sum()) + missed
    return Stock(np.asarray(seen / whole, dtype=np.float64), hidden, missed / whole)


def hill_interval(
    counts: Iterable[int], q: float, samples: int = SAMPLES, seed: int = SEED
) -> Interval:
    """The 95 % interval of the Hill number of order q: the number of these counts, less and more
    1.96 standard deviations of it in `samples` samples of N drawn anew from `assemblage`; Chao &
    Jost 2015, Methods in Ecology and Evolution 6:873.

    Its weakness: it is symmetric; it takes the ramets for independent draws, which cuttings planted
    together are not; and it speaks of samples of N, not of genets that none of them would show.
    Never below one genet or above N. None below two ramets; ValueError below two samples.
    """
    return hill_intervals(counts, (q,), samples, seed)[0]


def hill_intervals(
    counts: Iterable[int], orders: Sequence[float], samples: int = SAMPLES, seed: int = SEED
) -> tuple[Interval, ...]:
    """The same of several orders, by samples that are drawn once for all of them."""
    if samples < 2:
        raise ValueError(f"An interval needs at least two samples: {samples}.")
    n = clean(counts)
    total = sum(n)
    if total < 2:
        return (Interval(None, None, ONE_RAMET if n else NO_RAMETS),) * len(orders)
    drawn = [[hill(draw, q).number for q in orders] for draw in _drawn(n, samples, seed)]
    apart = Z_95 * np.array(drawn).std(axis=0, ddof=1)
    found = zip((hill(n, q).number for q in orders), apart.tolist(), strict=True)
    return tuple(
        Interval(max(1.0, here - half), min(float(total), here + half)) for here, half in found
    )


def _drawn(n: list[int], samples: int, seed: int) -> Iterator[list[int]]:
    """Samples of as many ramets. Those of unseen genets are drawn as one, then dealt among them:
    where every ramet is another genet the unseen are far more than the ramets."""
    dice = np.random.default_rng(seed)
    stock = assemblage(n)
    kinds = np.append(stock.seen, stock.missed)
    for draw in dice.multinomial(sum(n), kinds / kinds.sum(), size=samples):
        of_seen = draw[:-1].tolist()
        if stock.hidden:
            dealt = dice.integers(stock.hidden, size=int(draw[-1]))
            of_seen += np.unique(dealt, return_counts=True)[1].tolist()
        yield of_seen
