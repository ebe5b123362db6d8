"""How many different individuals, and how evenly: indices of clonal diversity.

Every function takes genet counts (`nursery.diversity.values`). N is the number of ramets, G of
genets, n those of one genet, p = n / N.

What is not defined is a Value without a number and with the reason, never zero. Pure.
"""

import math
import operator
from collections.abc import Iterable

from nursery.diversity.values import NO_RAMETS, ONE_GENET, ONE_RAMET, Value, clean

_FACTORS = 64
"""So many factors of a rarefaction are multiplied; more are taken from the logarithm of Γ."""


def ramets(counts: Iterable[int]) -> int:
    """N, the number of ramets."""
    return sum(clean(counts))


def genets(counts: Iterable[int]) -> int:
    """G, the number of genets that have a ramet."""
    return len(clean(counts))


def largest_share(counts: Iterable[int]) -> Value:
    """The share of the most numerous genet, max p (the inverse of the Hill number of order
    infinity, Hill 1973). None without ramets."""
    n = clean(counts)
    return Value(n[-1] / sum(n)) if n else Value(None, NO_RAMETS)


def clonal_richness(counts: Iterable[int]) -> Value:
    """R = (G − 1) / (N − 1); Dorken & Eckert 2001, Journal of Ecology 89:339.

    1 when every ramet is another genet, 0 for a single genet; None below two ramets.
    """
    n = clean(counts)
    total = sum(n)
    if total <= 1:
        return Value(None, ONE_RAMET if n else NO_RAMETS)
    return Value((len(n) - 1) / (total - 1))


def _shannon(n: list[int]) -> float:
    total = sum(n)
    return math.fsum(-x / total * math.log(x / total) for x in n)


def shannon(counts: Iterable[int]) -> Value:
    """H = −Σ p ln p, in nats (base e); Shannon 1948. 0 for a single genet; None without ramets."""
    n = clean(counts)
    return Value(_shannon(n)) if n else Value(None, NO_RAMETS)


def simpson_biased(counts: Iterable[int]) -> Value:
    """1 − Σ p²: the chance that two ramets drawn with replacement are different genets.

    Simpson 1949, Nature 163:688. 0 for a single genet; None without ramets.
    """
    n = clean(counts)
    if not n:
        return Value(None, NO_RAMETS)
    # Whole numbers up to the one division: nothing cancels.
    square = sum(n) ** 2
    return Value((square - sum(x * x for x in n)) / square)


def simpson_unbiased(counts: Iterable[int]) -> Value:
    """1 − Σ n (n − 1) / (N (N − 1)): the same without replacement, unbiased for the population.

    Simpson 1949, Nature 163:688. 0 for a single genet; None below two ramets.
    """
    n = clean(counts)
    total = sum(n)
    if total <= 1:
        return Value(None, ONE_RAMET if n else NO_RAMETS)
    pairs = total * (total - 1)
    return Value((pairs - sum(x * (x - 1) for x in n)) / pairs)


def hill(counts: Iterable[int], q: float) -> Value:
    """The Hill number of order q: (Σ p^q)^(1 / (1 − q)); exp(H) for q = 1, 1 / max p for infinity.

    An effective number of genets: that many even ones would be as diverse. Hill 1973, Ecology
    54:427; Jost 2006, Oikos 113:363. None without ramets; ValueError for a q that is negative or no
    number.
    """
    n = clean(counts)
    if not q >= 0:
        raise ValueError(f"The order is a number and not negative: {q}.")
    if not n:
        return Value(None, NO_RAMETS)
    if q == 0:
        return Value(float(len(n)))
    total = sum(n)
    if math.isinf(q):
        return Value(total / n[-1])
    if q == 1:
        return Value(math.exp(_shannon(n)))
    if abs(q - 1) < 0.5:
        # ln Σ p^q, as ln(1 + Σ p (p^(q−1) − 1)), keeps its digits where q is close to 1.
        excess = math.fsum(x / total * math.expm1((q - 1) * math.log(x / total)) for x in n)
        return Value(math.exp(math.log1p(excess) / (1 - q)))
    # The largest p taken out, so that a large q does not make every p^q vanish.
    rest = math.fsum((x / n[-1]) ** q for x in n)
    return Value(math.exp((q * math.log(n[-1] / total) + math.log(rest)) / (1 - q)))


def hill_profile(counts: Iterable[int], orders: Iterable[float]) -> dict[float, Value]:
    """The Hill number of each order, by the order; Hill 1973, Ecology 54:427. Errors as `hill`."""
    n = clean(counts)
    return {q: hill(n, q) for q in orders}


def pielou(counts: Iterable[int]) -> Value:
    """Evenness J = H / ln G; Pielou 1966, Journal of Theoretical Biology 13:131.

    1 when all genets have the same number of ramets; None below two genets.
    """
    n = clean(counts)
    if len(n) <= 1:
        return Value(None, ONE_GENET if n else NO_RAMETS)
    return Value(min(1.0, _shannon(n) / math.log(len(n))))


def rarefied(counts: Iterable[int], size: int) -> Value:
    """How many genets `size` ramets drawn without replacement are expected to be of:
    Σ (1 − C(N − n, size) / C(N, size)); Hurlbert 1971, Ecology 52:577.

    None without ramets; ValueError for a size that is negative or above N, where it could only be
    guessed.
    """
    n = clean(counts)
    if not n:
        return Value(None, NO_RAMETS)
    total = sum(n)
    if not 0 <= operator.index(size) <= total:
        raise ValueError(f"The size is from 0 to {total}: {size}.")
    return Value(math.fsum(-math.expm1(_log_missed(total, x, size)) for x in n))


def _log_missed(total: int, own: int, size: int) -> float:
    """ln C(total − own, size) / C(total, size): the chance that a draw misses a genet of `own`."""
    if size > total - own:
        return -math.inf
    # The smaller of the two is the number of factors, each of which keeps all its digits.
    few, many = sorted((own, size))
    if few <= _FACTORS:
        return math.fsum(math.log1p(-many / (total - step)) for step in range(few))
    return math.fsum(
        (
            math.lgamma(total - own + 1),
            math.lgamma(total - size + 1),
            -math.lgamma(total + 1),
            -math.lgamma(total - own - size + 1),
        )
    )


def sizes(total: int, most: int) -> list[int]:
    """Sizes of a draw from 1 to all, at most so many, evenly apart; the largest alone if one."""
    if total <= most:
        return list(range(1, total + 1))
    if most == 1:
        return [total]
    return sorted({round(1 + (total - 1) * n / (most - 1)) for n in range(most)})


def rarefaction(counts: Iterable[int], points: int) -> dict[int, Value]:
    """The expected genets of at most so many sizes of a draw, from 1 ramet to all of them, by the
    size; Hurlbert 1971, Ecology 52:577. Empty without ramets; ValueError below one point."""
    if points < 1:
        raise ValueError(f"A curve has at least one point: {points}.")
    n = clean(counts)
    return {size: rarefied(n, size) for size in sizes(sum(n), points)}
