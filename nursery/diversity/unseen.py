"""How much of a stand its ramets show, if they are taken as a sample of it: coverage and Chao1.

Every function takes genet counts (`nursery.diversity.values`). f1 and f2 are the numbers of genets
with one and with two ramets. A site that is known ramet by ramet is no sample: then these say only
what a look at as many others like it would show. Pure.
"""

from collections.abc import Iterable

from nursery.diversity.values import NO_RAMETS, Value, clean


def coverage_good(counts: Iterable[int]) -> Value:
    """Sample coverage after Turing, 1 − f1 / N; Good 1953, Biometrika 40:237.

    0 when every genet has a single ramet; None without ramets.
    """
    n = clean(counts)
    return Value(1 - n.count(1) / sum(n)) if n else Value(None, NO_RAMETS)


def coverage(counts: Iterable[int]) -> Value:
    """Sample coverage, the share of the stand that is of genets seen; Chao & Jost 2012, Ecology
    93:2533.

    1 − (f1 / N) (N − 1) f1 / ((N − 1) f1 + 2 f2); without genets of two ramets
    1 − (f1 / N) (N − 1)(f1 − 1) / ((N − 1)(f1 − 1) + 2). 1 where no genet has a single ramet; None
    without ramets.
    """
    n = clean(counts)
    if not n:
        return Value(None, NO_RAMETS)
    total, once, twice = sum(n), n.count(1), n.count(2)
    if not once:
        return Value(1.0)
    above = (total - 1) * (once if twice else once - 1)
    return Value(1 - once / total * above / (above + 2 * (twice or 1)))


def unseen_genets(counts: Iterable[int]) -> Value:
    """How many genets are there at least that have no ramet here, by the classic form of Chao1:
    ((N − 1) / N) f1² / (2 f2), without genets of two ramets ((N − 1) / N) f1 (f1 − 1) / 2; Chao
    1984, Scandinavian Journal of Statistics 11:265. None without ramets."""
    n = clean(counts)
    if not n:
        return Value(None, NO_RAMETS)
    total, once, twice = sum(n), n.count(1), n.count(2)
    pairs = once * once / (2 * twice) if twice else once * (once - 1) / 2
    return Value((total - 1) / total * pairs)


def chao1(counts: Iterable[int]) -> Value:
    """Chao1, the least number of genets of the stand: G + `unseen_genets`, in the classic form with
    (N − 1) / N, not the bias-corrected one; Chao 1984, Scandinavian Journal of Statistics 11:265.

    A lower bound, and a weak one where all genets have a single ramet. None without ramets.
    """
    n = clean(counts)
    return Value(len(n) + unseen_genets(n).number) if n else Value(None, NO_RAMETS)
