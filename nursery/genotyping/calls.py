"""Genotypes of many samples at the loci of a panel, as one array. Pure: no database.

A call is an unordered pair of alleles, each a whole number: the length of a fragment, a base
(A 1, C 2, G 3, T 4), or how often the counted allele is there (0 and 1). Diploids alone: two
alleles a call, or none.
"""

from __future__ import annotations

import zlib
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

MISSING = -1
"""Stands for both alleles of what could not be typed."""

LARGEST_ALLELE = 32_767
"""What two bytes hold; no fragment is that long."""


@dataclass(frozen=True, slots=True, eq=False)
class Calls:
    """`alleles` has the shape (samples, loci, 2), two bytes each, the smaller allele first."""

    samples: tuple[str, ...]
    loci: tuple[str, ...]
    alleles: NDArray[np.int16]

    def __post_init__(self) -> None:
        shape = (len(self.samples), len(self.loci), 2)
        if self.alleles.shape != shape:
            raise ValueError(f"alleles have the shape {self.alleles.shape}, not {shape}")

    @property
    def typed(self) -> NDArray[np.bool_]:
        """Which sample was typed at which locus: (samples, loci)."""
        found: NDArray[np.bool_] = self.alleles[:, :, 0] != MISSING
        return found

    def of(self, rows: NDArray[np.intp] | list[int]) -> Calls:
        """The calls of these samples, by their numbers."""
        kept = [int(row) for row in rows]
        return Calls(tuple(self.samples[row] for row in kept), self.loci, self.alleles[kept])


def together(parts: list[Calls]) -> Calls:
    """Calls at the same loci as one table. ValueError where the loci differ or there is no part."""
    if not parts or any(part.loci != parts[0].loci for part in parts):
        raise ValueError("calls are put together only where their loci are the same")
    return Calls(
        tuple(sample for part in parts for sample in part.samples),
        parts[0].loci,
        np.concatenate([part.alleles for part in parts]),
    )


def packed(calls: Calls) -> bytes:
    """The alleles as few bytes; `unpacked` reads them back."""
    return zlib.compress(calls.alleles.astype("<i2").tobytes(), level=1)


def unpacked(samples: tuple[str, ...], loci: tuple[str, ...], kept: bytes) -> Calls:
    """Calls from what `packed` made of them. ValueError where they are not of these samples."""
    try:
        alleles = np.frombuffer(zlib.decompress(kept), dtype="<i2").astype(np.int16)
    except zlib.error as error:
        raise ValueError(f"the kept calls cannot be read ({error})") from error
    if alleles.size != len(samples) * len(loci) * 2:
        raise ValueError("the kept calls are not of so many samples and loci")
    return Calls(samples, loci, alleles.reshape(len(samples), len(loci), 2))


@dataclass(frozen=True, slots=True, eq=False)
class Genotypes:
    """Each call by the number of its genotype at its locus, from 0 (`MISSING`: not typed), with the
    shape (samples, loci); `kinds` is how many different ones each locus has."""

    numbers: NDArray[np.int32]
    kinds: NDArray[np.int64]


def genotypes(calls: Calls) -> Genotypes:
    """Number the different genotypes of each locus."""
    first, second = calls.alleles.transpose(2, 1, 0)
    pairs = first.astype(np.int32) * (LARGEST_ALLELE + 1) + second
    numbers = np.empty(pairs.shape, dtype=np.int32)
    kinds = np.zeros(len(pairs), dtype=np.int64)
    for locus, here in enumerate(pairs):
        found = np.unique(here)
        # What is missing is below 0, so the first of all where there is any.
        gap = len(found) > 0 and found[0] < 0
        numbers[locus] = np.searchsorted(found, here) - gap
        kinds[locus] = len(found) - gap
    return Genotypes(np.ascontiguousarray(numbers.T), kinds)
