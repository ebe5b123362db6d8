"""What each index is: its name, formula, source, and how to read it. Told once, for every page.

The same words as in the docstrings of the functions; a test keeps the two together.
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


_ = str
"""Marks words for translation; pages translate them, for this module knows no Django."""

SYMBOLS = _(
    "N ramets, G genets, n ramets of one genet, p = n / N; ramets without a genet are left out."
)

MEASURES = (
    Measure(
        "hill_1",
        _("Effective genets, q\u00a0=\u00a01"),
        "exp(H), H = −Σ p ln p",
        "Hill 1973, Ecology 54:427; Jost 2006, Oikos 113:363",
        _("So many even genets would be as diverse. Each genet weighs by its share."),
    ),
    Measure(
        "hill_2",
        _("Effective genets, q\u00a0=\u00a02"),
        "1 / Σ p²",
        "Hill 1973, Ecology 54:427; Jost 2006, Oikos 113:363",
        _("The same, but common genets weigh more."),
    ),
    Measure(
        "largest_share",
        _("Share of the largest genet"),
        "max p",
        "the inverse of the Hill number of order infinity, Hill 1973",
        _("How much of the site one genet holds."),
    ),
    Measure(
        "clonal_richness",
        _("Clonal richness R"),
        "(G − 1) / (N − 1)",
        "Dorken & Eckert 2001, Journal of Ecology 89:339",
        _("1 when every ramet is another genet, 0 for a single genet."),
    ),
    Measure(
        "shannon",
        _("Shannon H"),
        "−Σ p ln p, in nats (base e)",
        "Shannon 1948",
        _("0 for a single genet."),
    ),
    Measure(
        "simpson_biased",
        _("Simpson, with replacement"),
        "1 − Σ p²",
        "Simpson 1949, Nature 163:688",
        _("The chance that two ramets drawn with replacement are different genets."),
    ),
    Measure(
        "simpson_unbiased",
        _("Simpson, unbiased"),
        "1 − Σ n (n − 1) / (N (N − 1))",
        "Simpson 1949, Nature 163:688",
        _("The same without replacement."),
    ),
    Measure(
        "pielou",
        _("Evenness J"),
        "H / ln G",
        "Pielou 1966, Journal of Theoretical Biology 13:131",
        _("1 when all genets have the same number of ramets."),
    ),
    Measure(
        "evenness_e5",
        "Evenness E5",
        "(1 / Σ p² − 1) / (exp(H) − 1)",
        "Alatalo 1981, Oikos 37:199",
        "1 when all genets have the same number of ramets; common genets weigh more than in J.",
    ),
    Measure(
        "evenness_ed",
        "Evenness ED*",
        "(D − Dmin) / (Dmax − Dmin), D the unbiased Simpson, "
        "Dmin = (2N − G)(G − 1) / (N (N − 1)), Dmax = (G − 1) N / (G (N − 1))",
        "Hurlbert 1971, Ecology 52:577; Fager 1972, American Naturalist 106:293",
        "0 when one genet holds all but single ramets of the others, 1 when all hold the same.",
    ),
    Measure(
        "pareto_beta",
        "Pareto β",
        "minus the slope of log N≥X on log X, N≥X ramets in genets of X ramets or more",
        "Arnaud-Haond et al. 2007, Molecular Ecology 16:5115",
        "High: many small genets of like size. Low: a few large ones among many small.",
    ),
    Measure(
        "coverage",
        "Sample coverage",
        "1 − (f1 / N) (N − 1) f1 / ((N − 1) f1 + 2 f2), "
        "f1 and f2 genets with one and with two ramets",
        "Chao & Jost 2012, Ecology 93:2533",
        "Taken as a sample: the share of the stand that is of genets seen.",
    ),
    Measure(
        "chao1",
        "Genets at least, Chao1",
        "G + ((N − 1) / N) f1² / (2 f2), the classic form",
        "Chao 1984, Scandinavian Journal of Statistics 11:265",
        "Taken as a sample: so many genets there are at least. Weak where most have one ramet.",
        1,
    ),
)
