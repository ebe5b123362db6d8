"""What an allocation is asked: what is ready, what stands, what is needed, what is allowed.

Everything is of one pool: plugs that may stand for each other, as those of one taxon. No genet is
of two taxa, so each taxon is asked by itself. Names are codes. Pure.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from enum import StrEnum


@dataclass(frozen=True, slots=True)
class Lot:
    """So many ready plugs of one genet on one plate. What is unripe or in quarantine is no lot."""

    genet: str
    plate: str
    plugs: int


@dataclass(frozen=True, slots=True)
class Limits:
    """What the finished place has to keep, with what stands there already.

    `largest_share` is the most that one genet may hold, above 0 to 1; `fewest_genets` and
    `fewest_reefs` how many different genets, and reefs that they were collected on, at least.
    """

    largest_share: float | None = None
    fewest_genets: int = 0
    fewest_reefs: int = 0

    def __post_init__(self) -> None:
        if self.largest_share is not None and not 0 < self.largest_share <= 1:
            raise ValueError(f"A share is above 0 and at most 1: {self.largest_share}.")


NO_LIMITS = Limits()


@dataclass(frozen=True, slots=True)
class Plot:
    """A plot that needs `plugs`; `standing` are its living ramets by genet."""

    key: str
    plugs: int
    standing: Mapping[str, int] = field(default_factory=dict)
    limits: Limits = NO_LIMITS


@dataclass(frozen=True, slots=True)
class Site:
    """A site and those of its plots that need plugs.

    `standing` are the living ramets by genet of the whole site, in these plots and in others.
    Ramets without a genet are no part of it.
    """

    key: str
    plots: Sequence[Plot]
    standing: Mapping[str, int] = field(default_factory=dict)
    limits: Limits = NO_LIMITS


@dataclass(frozen=True, slots=True)
class Asked:
    """Lots, sites, and the reefs that each genet was collected on (none where not known).

    ValueError for negative numbers, for keys that come twice, and for a site where fewer stand than
    in its plots.
    """

    lots: Sequence[Lot]
    sites: Sequence[Site]
    reefs: Mapping[str, frozenset[str]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        lots = [(lot.genet, lot.plate) for lot in self.lots]
        plots = [plot.key for site in self.sites for plot in site.plots]
        for keys in (lots, plots, [site.key for site in self.sites]):
            if len(set(keys)) != len(keys):
                raise ValueError("A lot, a site or a plot is named twice.")
        numbers = [lot.plugs for lot in self.lots]
        numbers += [plot.plugs for site in self.sites for plot in site.plots]
        for site in self.sites:
            numbers += site.standing.values()
            for genet in {genet for plot in site.plots for genet in plot.standing}:
                inside = [plot.standing.get(genet, 0) for plot in site.plots]
                numbers += [*inside, site.standing.get(genet, 0) - sum(inside)]
        if min(numbers, default=0) < 0:
            raise ValueError("A number is negative, or a plot holds more than its site.")


class Kind(StrEnum):
    """What a rule is about."""

    PLUGS = "plugs"
    LARGEST_SHARE = "largest_share"
    FEWEST_GENETS = "fewest_genets"
    FEWEST_REEFS = "fewest_reefs"


@dataclass(frozen=True, slots=True)
class Rule:
    """A rule of one site (`plot` is None) or plot."""

    kind: Kind
    site: str
    plot: str | None = None


@dataclass(frozen=True, slots=True)
class Breach:
    """A rule that a plan does not keep: what it asks, and what the plan comes to. Shares are 0 to
    1; plugs, genets and reefs are counted."""

    rule: Rule
    asked: float
    reached: float
