"""All indices of one set of counts at once. Pure."""

from collections.abc import Iterable
from dataclasses import dataclass

from nursery.diversity.clonality import evenness_e5, evenness_ed, pareto_beta
from nursery.diversity.indices import (
    clonal_richness,
    genets,
    hill,
    largest_share,
    pielou,
    ramets,
    shannon,
    simpson_biased,
    simpson_unbiased,
)
from nursery.diversity.unseen import chao1, coverage, coverage_good
from nursery.diversity.values import Value, clean


@dataclass(frozen=True, slots=True)
class Indices:
    """All indices of one set of counts; ``hill_1`` and ``hill_2`` are effective numbers of
    genets."""

    ramets: int
    genets: int
    largest_share: Value
    clonal_richness: Value
    shannon: Value
    simpson_biased: Value
    simpson_unbiased: Value
    hill_0: Value
    hill_1: Value
    hill_2: Value
    pielou: Value
    evenness_e5: Value
    evenness_ed: Value
    pareto_beta: Value
    coverage: Value
    coverage_good: Value
    chao1: Value


def summary(counts: Iterable[int]) -> Indices:
    """All indices at once."""
    n = clean(counts)
    return Indices(
        ramets=ramets(n),
        genets=genets(n),
        largest_share=largest_share(n),
        clonal_richness=clonal_richness(n),
        shannon=shannon(n),
        simpson_biased=simpson_biased(n),
        simpson_unbiased=simpson_unbiased(n),
        hill_0=hill(n, 0),
        hill_1=hill(n, 1),
        hill_2=hill(n, 2),
        pielou=pielou(n),
        evenness_e5=evenness_e5(n),
        evenness_ed=evenness_ed(n),
        pareto_beta=pareto_beta(n),
        coverage=coverage(n),
        coverage_good=coverage_good(n),
        chao1=chao1(n),
    )
