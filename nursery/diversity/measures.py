"""What each index is: its name, formula, source, and how to read it. Told once, for every page.

The same words as in the docstrings of `nursery.diversity.indices`; a test keeps the two together.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Measure:
    """One index. `key` is its field in `Indices`; `places` is how many decimals are shown."""

    key: str
    name: str
    formula: str
    source: str
    reading: str
    places: int = 2


SYMBOLS = (
    "N ramets, G genets, n ramets of one genet, p = n / N; ramets without a genet are left out."
)

MEASURES = (
    Measure(
        "hill_1",
        "Effective genets, q\u00a0=\u00a01",
        "exp(H), H = −Σ p ln p",
        "Hill 1973, Ecology 54:427; Jost 2006, Oikos 113:363",
        "So many even genets would be as diverse. Each genet weighs by its share.",
    ),
    Measure(
        "hill_2",
        "Effective genets, q\u00a0=\u00a02",
        "1 / Σ p²",
        "Hill 1973, Ecology 54:427; Jost 2006, Oikos 113:363",
        "The same, but common genets weigh more.",
    ),
    Measure(
        "largest_share",
        "Share of the largest genet",
        "max p",
        "the inverse of the Hill number of order infinity, Hill 1973",
        "How much of the site one genet holds.",
    ),
    Measure(
        "clonal_richness",
        "Clonal richness R",
        "(G − 1) / (N − 1)",
        "Dorken & Eckert 2001, Journal of Ecology 89:339",
        "1 when every ramet is another genet, 0 for a single genet.",
    ),
    Measure(
        "shannon",
        "Shannon H",
        "−Σ p ln p, in nats (base e)",
        "Shannon 1948",
        "0 for a single genet.",
    ),
    Measure(
        "simpson_biased",
        "Simpson, with replacement",
        "1 − Σ p²",
        "Simpson 1949, Nature 163:688",
        "The chance that two ramets drawn with replacement are different genets.",
    ),
    Measure(
        "simpson_unbiased",
        "Simpson, unbiased",
        "1 − Σ n (n − 1) / (N (N − 1))",
        "Simpson 1949, Nature 163:688",
        "The same without replacement.",
    ),
    Measure(
        "pielou",
        "Evenness J",
        "H / ln G",
        "Pielou 1966, Journal of Theoretical Biology 13:131",
        "1 when all genets have the same number of ramets.",
    ),
)
