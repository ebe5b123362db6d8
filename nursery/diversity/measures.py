"""What each measure is: its name, formula, source, and how to read it. Told once, for every page.

The same words as in the docstrings of the functions; a test keeps the two together.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Measure:
    """One measure. `key` is its field in `Indices` or the function that works it out; `places` is
    how many decimals are shown."""

    key: str
    name: str
    formula: str
    source: str
    reading: str
    places: int = 2


_ = str
"""Marks words for translation; pages translate them, for this module knows no Django."""

SYMBOLS = _(
    "N ramets, G genets, n ramets of one genet, p = n / N, f1 and f2 genets with one and with two "
    "ramets; ramets without a genet are left out."
)

MEASURES = (
    Measure(
        "hill_0",
        _("Genets, q\u00a0=\u00a00"),
        "G",
        "Hill 1973, Ecology 54:427",
        _("How many genets have a ramet. Each counts alike, however few its ramets."),
        0,
    ),
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
        _("Evenness E5"),
        "(1 / Σ p² − 1) / (exp(H) − 1)",
        "Alatalo 1981, Oikos 37:199",
        _("1 when all genets have the same number of ramets; common genets weigh more than in J."),
    ),
    Measure(
        "evenness_ed",
        _("Evenness ED*"),
        "(D − Dmin) / (Dmax − Dmin), D the unbiased Simpson, "
        "Dmin = (2N − G)(G − 1) / (N (N − 1)), Dmax = (G − 1) N / (G (N − 1))",
        "Hurlbert 1971, Ecology 52:577; Fager 1972, American Naturalist 106:293",
        _("0 when one genet holds all but single ramets of the others, 1 when all hold the same."),
    ),
    Measure(
        "pareto_beta",
        _("Pareto β"),
        "minus the slope of log N≥X on log X, N≥X ramets in genets of X ramets or more",
        "Arnaud-Haond et al. 2007, Molecular Ecology 16:5115",
        _("High: many small genets of like size. Low: a few large ones among many small."),
    ),
    Measure(
        "coverage",
        _("Sample coverage"),
        "1 − (f1 / N) (N − 1) f1 / ((N − 1) f1 + 2 f2); without genets of two ramets "
        "1 − (f1 / N) (N − 1)(f1 − 1) / ((N − 1)(f1 − 1) + 2)",
        "Chao & Jost 2012, Ecology 93:2533",
        _("Taken as a sample: the share of the stand that is of genets seen."),
    ),
    Measure(
        "coverage_good",
        _("Sample coverage, Good"),
        "1 − f1 / N",
        "Good 1953, Biometrika 40:237",
        _("The same, older and a little more biased."),
    ),
    Measure(
        "chao1",
        _("Genets at least, Chao1"),
        "G + ((N − 1) / N) f1² / (2 f2), the classic form; without genets of two ramets "
        "G + ((N − 1) / N) f1 (f1 − 1) / 2",
        "Chao 1984, Scandinavian Journal of Statistics 11:265",
        _("Taken as a sample: so many genets there are at least. Weak where most have one ramet."),
        1,
    ),
)

OTHERS = (
    Measure(
        "hill_interval",
        _("95 % interval of effective genets"),
        "± 1.96 standard deviations in 400 samples of N drawn anew from an estimated stand, "
        "seed 20150311",
        "Chao & Jost 2015, Methods in Ecology and Evolution 6:873",
        _(
            "How far the number would move in other samples of as many ramets. It is symmetric and "
            "rather too narrow, for ramets planted together are not drawn independently, and it "
            "does not speak of genets that no such sample would show."
        ),
        1,
    ),
    Measure(
        "hill_profile",
        _("Effective genets by order"),
        "(Σ p^q)^(1 / (1 − q)) for q from 0 to 3",
        "Hill 1973, Ecology 54:427",
        _("A level line is an even site. Of two lines the one higher everywhere is more diverse."),
        1,
    ),
    Measure(
        "rarefied",
        _("Genets expected in a draw"),
        "Σ (1 − C(N − n, size) / C(N, size))",
        "Hurlbert 1971, Ecology 52:577",
        _("How many genets so many ramets, drawn without replacement, are expected to be of."),
        1,
    ),
    Measure(
        "morisita_horn",
        _("Overlap of two sites, Morisita–Horn"),
        "2 Σ x y / ((Σ x² / X² + Σ y² / Y²) X Y), "
        "x and y a genet's ramets at either site, X and Y all of theirs",
        "Horn 1966, American Naturalist 100:419",
        _("1 when the genets have the same shares at both sites, 0 when none stands at both."),
    ),
    Measure(
        "distance_m",
        _("Way from a donor colony"),
        "the shortest way to the middle of the site on the WGS 84 ellipsoid",
        "Karney 2013, Journal of Geodesy 87:43",
        _(
            "From where the colony is shown to you: for most, a point of a coarse grid. The "
            "uncertainty beside it is that of this point."
        ),
        0,
    ),
)

ALL = MEASURES + OTHERS
