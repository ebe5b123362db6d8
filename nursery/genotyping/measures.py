"""How well a panel tells individuals apart, and how many of the donors' alleles are where."""

from __future__ import annotations

import uuid
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from nursery.genotyping import alleles
from nursery.genotyping.models import GroupMember, Proposal
from nursery.genotyping.queries import Typed, individual_of
from nursery.lineage.living import INDIVIDUAL, living
from nursery.lineage.words import Place

SHARES = (0.5, 0.8, 0.9)
"""Of how many alleles it is told how many individuals hold them."""

ORDERS = 200
"""In so many random orders the alleles of individuals are added up."""


@dataclass(frozen=True, slots=True)
class LocusMeasures:
    """One locus: how many individuals were typed at it, how many alleles they have, and what is
    reckoned of these (null where nothing was typed)."""

    locus: str
    typed: int
    alleles: int
    richness: float | None
    expected_heterozygosity: float | None
    identity: float | None
    sibling_identity: float | None


@dataclass(frozen=True, slots=True)
class Product:
    """A chance multiplied over all typed loci, and the power of ten that it is."""

    value: float
    log10: float


@dataclass(frozen=True, slots=True)
class Needed:
    """So many individuals hold this share of all alleles, in the mean of random orders."""

    share: float
    individuals: int


@dataclass(frozen=True, slots=True)
class Measures:
    """A table or panel, by one sample of each individual.

    Which samples are of one individual is taken from `proposal`; null: each sample counts as one,
    so that clones make their alleles seem common. `copies` is how many gene copies the richness of
    every locus is rarefied to.
    """

    samples: int
    individuals: int
    proposal: uuid.UUID | None
    alleles: int
    copies: int | None
    identity: Product | None
    sibling_identity: Product | None
    needed: tuple[Needed, ...]
    loci: tuple[LocusMeasures, ...]


@dataclass(frozen=True, slots=True)
class AtSite:
    """One site: how many genets live there, of how many the genotype is known, and which share of
    the donors' alleles these have (null where no donor was typed)."""

    site: str
    genets: int
    typed: int
    share: float | None


def measures_of(typed: Typed, proposal: Proposal | None) -> Measures:
    """What the calls of individuals tell. One query where a proposal says who they are."""
    one_each = _individuals(typed, proposal)
    calls = typed.calls.of(one_each)
    counts = alleles.allele_counts(calls)
    copies = counts.sum(axis=1)
    drawn = int(copies[copies > 0].min()) if (copies > 0).any() else None
    chance, siblings = alleles.identity(counts), alleles.sibling_identity(counts)
    columns = zip(
        calls.loci,
        (copies // 2).tolist(),
        (counts > 0).sum(axis=1).tolist(),
        _numbers(alleles.rarefied_alleles(counts, drawn) if drawn else chance),
        _numbers(alleles.expected_heterozygosity(counts)),
        _numbers(chance),
        _numbers(siblings),
        strict=True,
    )
    curve = alleles.accumulation(alleles.carried(calls), ORDERS)
    needed = [(share, curve.needed(share) if curve is not None else None) for share in SHARES]
    return Measures(
        samples=len(typed.samples),
        individuals=len(one_each),
        proposal=proposal.uid if proposal is not None else None,
        alleles=int((counts > 0).sum()),
        copies=drawn,
        identity=_product(chance),
        sibling_identity=_product(siblings),
        needed=tuple(Needed(share, many) for share, many in needed if many is not None),
        loci=tuple(LocusMeasures(*row) for row in columns),
    )


def at_sites(typed: Typed) -> tuple[AtSite, ...]:
    """Which share of the alleles of all typed donor colonies each site has, by the genets that live
    there; a genet has the alleles of all its samples. One query."""
    donors = [n for n, sample in enumerate(typed.samples) if sample.colony is not None]
    of_genet: dict[int, list[int]] = defaultdict(list)
    for number, sample in enumerate(typed.samples):
        genet = individual_of(sample)
        if genet is not None:
            of_genet[genet.pk].append(number)
    rows = living().filter(place=Place.PLOT, genet__isnull=False)
    here: dict[str, set[int]] = defaultdict(set)
    pairs = rows.annotate(individual=INDIVIDUAL).values_list("plot__site__code", "individual")
    for site, genet_id in pairs.distinct():
        here[site].add(genet_id)
    carrying = alleles.carried(typed.calls)
    found = []
    for site, genets in sorted(here.items()):
        known = [pk for pk in genets if pk in of_genet]
        numbers = [number for pk in known for number in of_genet[pk]]
        share = alleles.share_present(carrying, donors, numbers)
        found.append(AtSite(site, len(genets), len(known), share))
    return tuple(found)


def _individuals(typed: Typed, proposal: Proposal | None) -> list[int]:
    """One sample of each individual: of each group the one that was typed at the most loci."""
    if proposal is None:
        return list(range(len(typed.samples)))
    members = GroupMember.objects.filter(group__proposal=proposal)
    group_of = dict(members.values_list("sample_id", "group_id"))
    loci = typed.calls.typed.sum(axis=1)
    best: dict[int, int] = {}
    for number, sample in enumerate(typed.samples):
        # What was typed after the proposal is in no group of it yet.
        group = group_of.get(sample.pk, -sample.pk)
        if group not in best or loci[number] > loci[best[group]]:
            best[group] = number
    return sorted(best.values())


def _numbers(values: NDArray[np.float64]) -> Sequence[float | None]:
    return [None if np.isnan(value) else float(value) for value in values]


def _product(chances: NDArray[np.float64]) -> Product | None:
    found = alleles.over_loci(chances)
    return Product(found.value, found.log10) if found is not None else None
