"""What the alleles of individuals tell of a panel and of a stock. Pure: no database.

All take one sample of each individual: clones counted again would make their alleles seem common.
`counts` has a row for each locus and a column for each allele found anywhere, with how often it was
called. What is not defined is None, or not a number in an array.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import gammaln

from nursery.genotyping.calls import Calls

Counts = NDArray[np.int64]
Floats = NDArray[np.float64]


def allele_counts(calls: Calls) -> Counts:
    """How often each allele was called at each locus: (loci, alleles found anywhere)."""
    flat = calls.alleles.transpose(1, 0, 2).reshape(len(calls.loci), -1)
    values = np.unique(flat[flat >= 0])
    # One column at least, so that shares of nothing are not defined, and not nothing.
    counts = np.zeros((len(calls.loci), max(1, len(values))), dtype=np.int64)
    for locus, here in enumerate(flat):
        counts[locus] = np.bincount(
            np.searchsorted(values, here[here >= 0]), minlength=counts.shape[1]
        )
    return counts


def shares(counts: Counts) -> Floats:
    """p, the share of each allele at its locus; not a number where nothing was typed."""
    total = counts.sum(axis=1, keepdims=True)
    found: Floats = np.full(counts.shape, np.nan)
    np.divide(counts, total, out=found, where=total > 0)
    return found


def identity(counts: Counts) -> Floats:
    """PI of each locus: the chance that two individuals that are no kin have the same genotype,
    2 (Σp²)² − Σp⁴; Waits, Luikart & Taberlet 2001, Molecular Ecology 10:249."""
    p = shares(counts)
    square = (p**2).sum(axis=1)
    found: Floats = 2 * square**2 - (p**4).sum(axis=1)
    return found


def sibling_identity(counts: Counts) -> Floats:
    """PIsibs of each locus: the same of full siblings, 1/4 + Σp²/2 + (Σp²)²/2 − Σp⁴/4; Waits,
    Luikart & Taberlet 2001, Molecular Ecology 10:249."""
    p = shares(counts)
    square = (p**2).sum(axis=1)
    found: Floats = 0.25 + square / 2 + square**2 / 2 - (p**4).sum(axis=1) / 4
    return found


@dataclass(frozen=True, slots=True)
class Chance:
    """A chance as the power of ten that it is: that of 2,000 loci is too small for a number."""

    log10: float

    @property
    def value(self) -> float:
        """The chance; 0.0 where it is smaller than any number."""
        return float(10**self.log10)


def over_loci(chances: Floats) -> Chance | None:
    """The chances of all typed loci multiplied, which takes them for independent; None where no
    locus was typed."""
    typed = chances[~np.isnan(chances)]
    if not len(typed):
        return None
    return Chance(math.fsum(np.log10(typed)))


def expected_heterozygosity(counts: Counts) -> Floats:
    """He of each locus, unbiased: 2n / (2n − 1) · (1 − Σp²) of n typed individuals; Nei 1978,
    Genetics 89:583. Not a number where nothing was typed."""
    total = counts.sum(axis=1)
    whole = np.where(total > 1, total, np.nan)
    found: Floats = whole / (whole - 1) * (1 - (shares(counts) ** 2).sum(axis=1))
    return found


def rarefied_alleles(counts: Counts, copies: int) -> Floats:
    """Allelic richness of each locus: how many alleles `copies` gene copies drawn without
    replacement are expected to have, Σ [1 − C(N − Nᵢ, g) / C(N, g)]; Hurlbert 1971, Ecology 52:577,
    for alleles El Mousadik & Petit 1996, Theoretical and Applied Genetics 92:832.

    Not a number where fewer than `copies` were typed. ValueError for fewer than one.
    """
    if copies < 1:
        raise ValueError("at least one gene copy is drawn")
    total = counts.sum(axis=1, keepdims=True)
    missed = _log_missed(total, counts, copies)
    found: Floats = -np.expm1(missed).sum(axis=1)
    return np.where(total[:, 0] >= copies, found, np.nan)


def _log_missed(total: NDArray[np.int64], own: NDArray[np.int64], drawn: int) -> Floats:
    """ln C(total − own, drawn) / C(total, drawn): the chance that a draw misses what there are
    `own` of."""
    left = total - own
    possible = (left >= drawn) & (own > 0)
    left = np.where(possible, left, drawn)
    whole = np.where(possible, total, drawn)
    chance = (gammaln(left + 1) + gammaln(whole - drawn + 1) - gammaln(whole + 1)) - gammaln(
        left - drawn + 1
    )
    found: Floats = np.where(possible, chance, np.where(own > 0, -np.inf, 0.0))
    return found


def carried(calls: Calls) -> NDArray[np.bool_]:
    """Which individual has which allele: (individuals, alleles of all loci, one after another)."""
    parts = []
    for locus in range(len(calls.loci)):
        here = calls.alleles[:, locus]
        values = np.unique(here[here >= 0])
        parts.append((here[:, :, None] == values).any(axis=1))
    if not parts:
        return np.zeros((len(calls.samples), 0), dtype=np.bool_)
    return np.concatenate(parts, axis=1)


def share_present(
    carrying: NDArray[np.bool_], donors: Sequence[int], here: Sequence[int]
) -> float | None:
    """The share of the alleles that these donors have which is found among those `here` too; both
    by their rows in `carrying`. None where the donors have none."""
    theirs = carrying[list(donors)].any(axis=0)
    if not theirs.any():
        return None
    return float((theirs & carrying[list(here)].any(axis=0)).sum() / theirs.sum())


@dataclass(frozen=True, slots=True, eq=False)
class Accumulation:
    """How many of all alleles so many individuals hold, from one on.

    `mean` is the share that k + 1 individuals hold, the mean of `orders` random orders of them;
    `low` and `high` hold the middle 95 % of the orders.
    """

    mean: Floats
    low: Floats
    high: Floats
    orders: int
    seed: int

    def needed(self, share: float) -> int | None:
        """How many individuals hold this share of the alleles in the mean; None for none."""
        enough = np.nonzero(self.mean >= share - 1e-12)[0]
        return int(enough[0]) + 1 if len(enough) else None


def accumulation(
    carrying: NDArray[np.bool_], orders: int = 200, seed: int = 1
) -> Accumulation | None:
    """How the alleles of all accumulate with the individuals: these are put into random orders, as
    Shearer, Porto & Zubillaga 2009, Coral Reefs 28:727 did with donors, and the alleles of the
    first one, two, three … are counted. The same seed gives the same curve. None without alleles.
    """
    carrying = carrying[:, carrying.any(axis=0)]
    individuals, alleles = carrying.shape
    if not alleles:
        return None
    chance = np.random.default_rng(seed)
    curves = np.empty((orders, individuals))
    for number in range(orders):
        # argmax finds the first individual in this order that has an allele.
        first = carrying[chance.permutation(individuals)].argmax(axis=0)
        curves[number] = np.bincount(first, minlength=individuals).cumsum() / alleles
    low, high = np.quantile(curves, (0.025, 0.975), axis=0)
    return Accumulation(curves.mean(axis=0), low, high, orders, seed)
