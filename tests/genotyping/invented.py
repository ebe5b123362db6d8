"""Invented calls for tests."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from nursery.genotyping.calls import MISSING, Calls

Call = tuple[int, int] | None


def calls_of(rows: Sequence[Sequence[Call]]) -> Calls:
    """Calls from one row of pairs a sample; None is missing. Samples S0, S1 …, loci L0, L1 …"""
    pairs = [[sorted(call) if call else [MISSING, MISSING] for call in row] for row in rows]
    loci = len(rows[0]) if rows else 0
    alleles = np.array(pairs, dtype=np.int16).reshape(len(rows), loci, 2)
    return Calls(
        tuple(f"S{n}" for n in range(len(rows))), tuple(f"L{n}" for n in range(loci)), alleles
    )


def random_calls(
    samples: int, loci: int, alleles: int, missing: float = 0.1, seed: int = 7
) -> Calls:
    """Random calls with some of them missing."""
    chance = np.random.default_rng(seed)
    found = chance.integers(0, alleles, (samples, loci, 2)).astype(np.int16)
    found.sort(axis=2)
    found[chance.random((samples, loci)) < missing] = MISSING
    return Calls(tuple(f"S{n}" for n in range(samples)), tuple(f"L{n}" for n in range(loci)), found)
