"""Comparing genotypes: ours beside the bare products of the same matrices by numpy, whole."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from nursery.genotyping.calls import MISSING, Calls, genotypes
from nursery.genotyping.matching import matches
from tests.bench.measure import Ratio, compare

SAMPLES, LOCI = 5_000, 2_000


def compared(samples: int = SAMPLES, loci: int = LOCI) -> Iterator[Ratio]:
    """All pairs of samples at biallelic loci, 3 % of the calls missing. Ours begins with the calls
    as they are kept; the bare products have their matrices already."""
    calls = _made(samples, loci)
    numbers = genotypes(calls).numbers
    columns = np.concatenate([numbers == number for number in range(3)], axis=1).astype(np.float32)
    typed = (numbers != MISSING).astype(np.float32)
    yield compare(
        f"matching {samples:,} × {loci:,} biallelic loci : two bare matrix products",
        lambda turn: matches(calls, threshold=loci // 50, minimum=loci // 2),
        lambda turn: (columns @ columns.T, typed @ typed.T),
        rounds=3,
        aim=3,
    )


def _made(samples: int, loci: int) -> Calls:
    chance = np.random.default_rng(1)
    alleles = (chance.random((samples, loci, 2)) < 0.4).astype(np.int16)
    alleles.sort(axis=2)
    alleles[chance.random((samples, loci)) < 0.03] = MISSING
    return Calls(
        tuple(f"S{n}" for n in range(samples)), tuple(f"L{n}" for n in range(loci)), alleles
    )
