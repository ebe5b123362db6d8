"""How clonal a stand is and how its ramets lie in genets: E5, ED*, and the Pareto distribution.

Every function takes genet counts (`nursery.diversity.values`). N is the number of ramets, G of
genets, n those of one genet, p = n / N. What is not defined is a Value with the reason. Pure.
"""

import math
from collections.abc import Iterable

from nursery.diversity.indices import shannon
from nursery.diversity.values import NO_RAMETS, ONE_GENET, Value, clean

ALL_SINGLE = "Every ramet is another genet: there is no range to lie in."
ONE_SIZE = "It needs genets of at least two sizes."


def evenness_e5(counts: Iterable[int]) -> Value:
    """E5 = (1 / Σ p² − 1) / (exp(H) − 1); Alatalo 1981, Oikos 37:199.

    1 when all genets have the same number of ramets; None below two genets.
    """
    n = clean(counts)
    if len(n) <= 1:
        return Value(None, ONE_GENET if n else NO_RAMETS)
    squares = sum(x * x for x in n)
    # 1 / Σ p² − 1 in whole numbers: the difference keeps its digits where one genet holds all.
    common = (sum(n) ** 2 - squares) / squares
    return Value(min(1.0, common / math.expm1(shannon(n).number)))


def evenness_ed(counts: Iterable[int]) -> Value:
    """ED* = (D − Dmin) / (Dmax − Dmin); Hurlbert 1971, Ecology 52:577, Fager 1972, American
    Naturalist 106:293.

    D is the unbiased Simpson, Dmin = (2N − G)(G − 1) / (N (N − 1)) that of one large genet and
    G − 1 single ramets, Dmax = (G − 1) N / (G (N − 1)) that of even genets. None below two genets
    and where every ramet is another genet, for then the two are one.
    """
    n = clean(counts)
    total, kinds = sum(n), len(n)
    if kinds <= 1:
        return Value(None, ONE_GENET if n else NO_RAMETS)
    if kinds == total:
        return Value(None, ALL_SINGLE)
    # Times N (N − 1) G / (G − 1) above and below: whole numbers up to the one division.
    above_least = total**2 - sum(x * x for x in n) - (2 * total - kinds) * (kinds - 1)
    return Value(kinds * above_least / ((kinds - 1) * (total - kinds) ** 2))


def pareto_beta(counts: Iterable[int]) -> Value:
    """β, minus the slope of log N≥X on log X by least squares, where N≥X is the number of *ramets*
    in genets of X ramets or more and X runs over the sizes that occur; Arnaud-Haond et al. 2007,
    Molecular Ecology 16:5115.

    The other convention counts the genets of such sizes and gives a larger β. High: many small
    genets of like size. Low: a few large ones among many small. None below two sizes.
    """
    n = clean(counts)
    sizes = sorted(set(n))
    if len(sizes) < 2:
        return Value(None, ONE_SIZE if n else NO_RAMETS)
    across = [math.log(size) for size in sizes]
    up = [math.log(sum(x for x in n if x >= size)) for size in sizes]
    middle, height = math.fsum(across) / len(sizes), math.fsum(up) / len(sizes)
    slope = math.fsum(
        (x - middle) * (y - height) for x, y in zip(across, up, strict=True)
    ) / math.fsum((x - middle) ** 2 for x in across)
    return Value(-slope)
