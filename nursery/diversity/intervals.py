"""Between what bounds a Hill number lies, if the ramets are taken as a sample of a larger stand.

Bootstrap of Chao & Jost 2015, Methods in Ecology and Evolution 6:873 (the assemblage after Chao et
al. 2014, Ecological Monographs 84:45, appendix; recalled from memory): genets seen are given less
than their share, genets unseen the rest, so that samples drawn anew hold about as many rare ones.
Plain resampling would lose rare genets each time. Pure.
"""

import math
from collections.abc import Iterable
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


def assemblage(counts: Iterable[int]) -> NDArray[np.float64]:
    """The shares of a stand of which these counts may be a sample; shape (G + unseen,), sum 1.

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
    found = np.concatenate([seen, np.full(hidden, missed / hidden if hidden else 0.0)])
    return np.asarray(found / found.sum(), dtype=np.float64)


def hill_interval(
    counts: Iterable[int], q: float, samples: int = SAMPLES, seed: int = SEED
) -> Interval:
    """The 95 % interval of the Hill number of order q: the number of these counts, less and more
    1.96 standard deviations of it in `samples` samples of N drawn anew from `assemblage`.

    Never below one genet. None below two ramets.
    """
    n = clean(counts)
    total = sum(n)
    if total < 2:
        return Interval(None, None, ONE_RAMET if n else NO_RAMETS)
    draws = np.random.default_rng(seed).multinomial(total, assemblage(n), size=samples)
    values = np.array([hill(draw.tolist(), q).number for draw in draws])
    here = hill(n, q).number
    apart = Z_95 * float(values.std(ddof=1))
    return Interval(max(1.0, here - apart), here + apart)
