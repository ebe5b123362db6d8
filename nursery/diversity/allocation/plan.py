"""Which plugs go where: as evenly as can be, within the rules, from few plates.

1. If fewer are ready than needed, each plot does without its share of what is missing.
2. If the rules cannot all be kept with that, they give way by as little as possible.
3. Sites are made as even as can be (evenness.py), then within each site its plots.
4. Plates: the fewest for these numbers, or the fewest for any that are as even.

Pure.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from nursery.diversity.allocation.asked import Asked, Breach, Kind, Limits, Rule, Site
from nursery.diversity.allocation.conflicts import Names, clashes, least_violation
from nursery.diversity.allocation.evenness import Spread, spread, unevenness_of
from nursery.diversity.allocation.field import Flags, laid_out
from nursery.diversity.allocation.plates import Touched, fewest, taken, together
from nursery.diversity.allocation.program import Whole
from nursery.diversity.allocation.rows import Name, relaxed


@dataclass(frozen=True, slots=True)
class Planned:
    """What one plot gets: plugs by genet and plate."""

    site: str
    plot: str
    asked: int
    plugs: Mapping[tuple[str, str], int]

    @property
    def total(self) -> int:
        return sum(self.plugs.values())

    def by_genet(self) -> dict[str, int]:
        """Plugs by genet, over all plates."""
        found: dict[str, int] = {}
        for (genet, _), plugs in self.plugs.items():
            found[genet] = found.get(genet, 0) + plugs
        return found


@dataclass(frozen=True, slots=True)
class Plan:
    """A proposal.

    `unevenness` is Σ over sites of Σ (n/N)², `bound` what no plan can be below, `evenest` what it
    would be if plates did not matter. `breaches` are the rules that the plan does not keep, and
    `clashes` sets of rules that cannot be kept together, though any one of a set left out they
    could be; both are empty where all rules are kept. `plates`
    are touched, and no choice of plates for these numbers is below `plates_bound`; `weighed` says
    that numbers were chosen with the plates in mind.
    """

    plots: tuple[Planned, ...]
    unevenness: float
    bound: float
    evenest: float
    breaches: tuple[Breach, ...]
    clashes: tuple[frozenset[Rule], ...]
    plates: tuple[str, ...]
    plates_bound: int
    weighed: bool

    @property
    def gap(self) -> float:
        """How much less uneven any plan could be at most, as a share."""
        if not self.unevenness:
            return 0.0
        return max(0.0, (self.unevenness - self.bound) / self.unevenness)

    @property
    def short(self) -> int:
        """How many plugs are missing."""
        return sum(one.asked - one.total for one in self.plots)


def allocate(asked: Asked, tolerance: float | None = None, seconds: float = 20.0) -> Plan:
    """The best plan that keeps the rules, or the nearest one that there is.

    `tolerance` is how much more uneven it may be for the sake of fewer plates, as a share; 0 takes
    the fewest plates of all plans that are as even as can be, None chooses the numbers first.
    `seconds` is the most that each search in whole numbers takes; what was proven in it is said.
    ValueError for a tolerance below 0.
    """
    if tolerance is not None and tolerance < 0:
        raise ValueError(f"A tolerance is 0 or more: {tolerance}.")
    return _Planner(asked, seconds).plan(tolerance)


class _Planner:
    def __init__(self, asked: Asked, seconds: float) -> None:
        self.asked, self.seconds = asked, seconds
        sites = [
            replace(site, plots=[plot for plot in site.plots if plot.plugs > 0])
            for site in asked.sites
        ]
        self.sites = [site for site in sites if site.plots]
        lots = [lot for lot in asked.lots if lot.plugs]
        names = {lot.genet for lot in lots}
        for site in self.sites:
            names |= {genet for genet, n in site.standing.items() if n}
        self.genets = sorted(names)
        self.plates = sorted({lot.plate for lot in lots})
        self.genet = {name: at for at, name in enumerate(self.genets)}
        plate = {name: at for at, name in enumerate(self.plates)}
        self.held = np.zeros((len(self.genets), len(self.plates)), np.int64)
        for lot in lots:
            self.held[self.genet[lot.genet], plate[lot.plate]] = lot.plugs
        self.supply = np.asarray(self.held.sum(axis=1), np.int64)
        self.reef_of = self._reefs()
        self.needs = self._needs()
        self.field = laid_out(
            self.supply,
            self._standing([site.standing for site in self.sites]),
            np.array([need.sum() for need in self.needs], np.int64),
            [site.limits for site in self.sites],
            self.reef_of,
        )
        self.plots = [
            laid_out(
                self.supply,
                self._standing([plot.standing for plot in site.plots]),
                need,
                [plot.limits for plot in site.plots],
                self.reef_of,
            )
            for site, need in zip(self.sites, self.needs, strict=True)
        ]

    def _reefs(self) -> Flags:
        names = sorted({reef for name in self.genets for reef in self.asked.reefs.get(name, ())})
        at = {name: index for index, name in enumerate(names)}
        found = np.zeros((len(self.genets), len(names)), bool)
        for row, name in enumerate(self.genets):
            for reef in self.asked.reefs.get(name, ()):
                found[row, at[reef]] = True
        return found

    def _standing(self, places: Sequence[Mapping[str, int]]) -> Whole:
        found = np.zeros((len(self.genets), len(places)), np.int64)
        for place, standing in enumerate(places):
            for genet, n in standing.items():
                if n:
                    found[self.genet[genet], place] = n
        return found

    def _needs(self) -> list[Whole]:
        """How many each plot is given: what it asks, less its share of what is missing, by the
        largest remainders."""
        plots = [plot for site in self.sites for plot in site.plots]
        asked = np.array([plot.plugs for plot in plots], np.int64)
        total, ready = int(asked.sum()), int(self.supply.sum())
        given = asked
        if total > ready:
            given = asked * ready // total
            remainders = asked * ready - given * total
            first = np.argsort(-remainders, kind="stable")[: ready - int(given.sum())]
            given[first] += 1
        ends = np.cumsum([len(site.plots) for site in self.sites]).tolist()
        starts = [0, *ends][: len(ends)]
        return [given[start:end] for start, end in zip(starts, ends, strict=True)]

    def plan(self, tolerance: float | None) -> Plan:
        clashing: tuple[Names, ...] = ()
        field, given = self.field, dict[Name, int]()
        while True:
            best = spread(relaxed(field, given), self.seconds)
            if best is None:
                given = dict(least_violation(field, self.seconds) or {})
                clashing = clashes(field, given, self.seconds)
                best = spread(relaxed(field, given), self.seconds)
                if best is None:
                    raise AssertionError("Rules that gave way as far as they must still clash.")
            split, failed = self._split(best, given)
            if not failed:
                break
            # Their plots' rules matter for the numbers of the site: all in one program.
            inner = {place: self.plots[place] for place in {*field.inner, *failed}}
            field = replace(field, inner=inner)
        chosen, touched, weighed = best, None, False
        if tolerance is not None:
            found = together(relaxed(field, given), self.held, best, tolerance, self.seconds)
            if found is not None:
                parts, failed = self._split(found[0], given)
                if not failed:
                    split, weighed = parts, True
                    chosen, touched = found
        if touched is None:
            touched = fewest(self.held, chosen.plugs.sum(axis=1), self.seconds)
        return self._told(best, chosen, split, touched, weighed, clashing)

    def _split(self, spread_: Spread, given: Mapping[Name, int]) -> tuple[list[Whole], list[int]]:
        """Each site's plugs to its plots, as evenly as can be; and the sites where no way keeps
        the plots' rules."""
        found, failed = [], []
        for place, plots in enumerate(self.plots):
            supply = spread_.plugs[:, place]
            moving = supply > 0
            part = spread(relaxed(plots, given, place).of_genets(moving, supply), self.seconds)
            whole = np.zeros(plots.standing.shape, np.int64)
            if part is None:
                failed.append(place)
            else:
                whole[moving] = part.plugs
            found.append(whole)
        return found, failed

    def _told(
        self,
        best: Spread,
        chosen: Spread,
        split: Sequence[Whole],
        touched: Touched,
        weighed: bool,
        clashing: tuple[Names, ...],
    ) -> Plan:
        held = {
            (self.genets[genet], self.plates[plate]): int(self.held[genet, plate])
            for genet, plate in zip(*np.nonzero(self.held * touched.plates), strict=True)
        }
        keys = [(site.key, plot) for site in self.sites for plot in site.plots]
        columns = np.concatenate([*split, np.zeros((len(self.genets), 0), np.int64)], axis=1)
        wanted = {
            (keys[place][1].key, self.genets[genet]): int(columns[genet, place])
            for genet, place in zip(*np.nonzero(columns), strict=True)
        }
        plugs: dict[str, dict[tuple[str, str], int]] = {plot.key: {} for _, plot in keys}
        for (plot, genet, plate), portion in sorted(taken(held, wanted).items()):
            plugs[plot][genet, plate] = portion
        used = {plate for portions in plugs.values() for _, plate in portions}
        return Plan(
            plots=tuple(
                Planned(site, plot.key, plot.plugs, plugs[plot.key]) for site, plot in keys
            ),
            unevenness=unevenness_of(self.field, chosen.plugs),
            bound=min(best.bound, chosen.bound),
            evenest=best.cost,
            breaches=tuple(self._breaches(split)),
            clashes=tuple(frozenset(map(self._rule, names)) for names in clashing),
            plates=tuple(sorted(used)),
            plates_bound=min(touched.bound, len(used)),
            weighed=weighed,
        )

    def _rule(self, name: Name) -> Rule:
        kind, place, plot = name
        site = self.sites[place]
        return Rule(kind, site.key, None if plot is None else site.plots[plot].key)

    def _breaches(self, split: Sequence[Whole]) -> list[Breach]:
        found: list[Breach] = []
        for site, field, plugs in zip(self.sites, self.plots, split, strict=True):
            whole = self._standing([site.standing])[:, 0] + plugs.sum(axis=1)
            found += self._broken(site.limits, whole, site, None)
            for place, plot in enumerate(site.plots):
                planted = int(plugs[:, place].sum())
                if planted < plot.plugs:
                    rule = Rule(Kind.PLUGS, site.key, plot.key)
                    found.append(Breach(rule, plot.plugs, planted))
                there = field.standing[:, place] + plugs[:, place]
                found += self._broken(plot.limits, there, site, plot.key)
        return found

    def _broken(self, limits: Limits, counts: Whole, site: Site, plot: str | None) -> list[Breach]:
        total = int(counts.sum())
        genets = int((counts > 0).sum())
        reefs = int(self.reef_of[counts > 0].any(axis=0).sum())
        share = float(counts.max(initial=0)) / total if total else 0.0
        found = []
        most = limits.largest_share
        if most is not None and share > most + 1e-12:
            found.append(Breach(Rule(Kind.LARGEST_SHARE, site.key, plot), most, share))
        if genets < limits.fewest_genets:
            asked = limits.fewest_genets
            found.append(Breach(Rule(Kind.FEWEST_GENETS, site.key, plot), asked, genets))
        if reefs < limits.fewest_reefs:
            asked = limits.fewest_reefs
            found.append(Breach(Rule(Kind.FEWEST_REEFS, site.key, plot), asked, reefs))
        return found
