"""Propose which ready plugs go to which plots, and draft the manifests for it.

The reckoning is that of nursery.diversity.allocation; here stands what is asked of the record and
what is said back. Each taxon is a pool of its own, for no genet is of two.
"""

from __future__ import annotations

import uuid
from collections import defaultdict
from collections.abc import Mapping, Sequence

from django.db import transaction

from nursery.core.actor import Actor, require
from nursery.core.errors import Path, Problem, ProblemList, Refused
from nursery.core.inputs import read
from nursery.diversity.allocation.asked import Asked, Limits, Lot, Rule
from nursery.diversity.allocation.asked import Plot as AskedPlot
from nursery.diversity.allocation.asked import Site as AskedSite
from nursery.diversity.allocation.ground import grid
from nursery.diversity.allocation.layout import Taxa, lay_out
from nursery.diversity.allocation.plan import Plan, allocate
from nursery.diversity.allocation.program import Unsolved
from nursery.diversity.proposing_answers import (
    Broken,
    Laid,
    PlotPlan,
    Pool,
    Portion,
    Proposal,
    RuleOf,
    Side,
    Spot,
    numbers,
)
from nursery.diversity.proposing_inputs import LayoutIn, LimitsIn, NeedIn, ProposalIn
from nursery.diversity.proposing_stock import (
    DONOR,
    REEF,
    Ready,
    chosen,
    origins_of,
    ready,
    standing_now,
)
from nursery.donors.models import Genet, Permit, Taxon
from nursery.outplanting.actions import draft
from nursery.outplanting.actions.manifest import Drafted
from nursery.outplanting.inputs import MOST_LINES, ManifestIn
from nursery.places.cells import Cell
from nursery.places.models import Nursery, Plot

ACT = "propose plantings"
SECONDS = 20.0
"""The most that one search in whole numbers may take."""
LONG_PLUGS, LONG_NEEDS = 1_000, 20
"""What asks for more plugs or plots than this may take more than a second."""


def takes_long(given: ProposalIn) -> bool:
    """Whether the proposal is better worked out by a process of its own."""
    return sum(need.plugs for need in given.needs) > LONG_PLUGS or len(given.needs) > LONG_NEEDS


def propose(actor: Actor, given: ProposalIn) -> Proposal:
    """Which ready plugs go to which plots. Nothing is stored.

    Raises NotAllowed; Refused (`unknown_plot`, `plot_closed`, `unknown_taxon`, `unknown_nursery`,
    `unknown_permit`, `layout_of_another_plot`, `layout_too_small`, `too_many`,
    `not_found_in_time`).
    """
    require(actor, act=ACT)
    plots, taxa = named(given)
    return _Proposer(given, plots, taxa).proposal()


@transaction.atomic
def draft_proposal(actor: Actor, proposal: Proposal, uid: uuid.UUID) -> list[Drafted]:
    """Draft the manifests of a proposal, one for each site; the same under its `uid` only once.

    Raises NotAllowed; Refused (`nothing_proposed`) and what `draft` raises, such as `not_living`
    where a ramet has gone since.
    """
    require(actor, act=ACT)
    lines: dict[str, list[dict[str, str]]] = defaultdict(list)
    for plot in proposal.plots:
        spots = {spot.ramet: spot for spot in plot.layout.spots} if plot.layout else {}
        fused = plot.layout is not None and plot.layout.unit > 1
        for portion in plot.portions:
            for code in portion.ramets:
                line = {"ramet": code, "plot": plot.plot}
                if code in spots:
                    line["position"] = spots[code].position
                    line["cluster"] = str(spots[code].unit) if fused else ""
                lines[plot.site].append(line)
    if not lines:
        message = "The proposal plants nothing, so there is no manifest to draft."
        raise Refused(Problem("nothing_proposed", message))
    return [
        draft(
            actor,
            read(
                ManifestIn,
                {
                    "uid": uuid.uuid5(uid, site),
                    "site": site,
                    "title": proposal.title,
                    "planned": proposal.planned,
                    "permits": proposal.permits,
                    "lines": said,
                },
            ),
        )
        for site, said in lines.items()
    ]


def named(given: ProposalIn) -> tuple[dict[str, Plot], dict[str, Taxon]]:
    """The plots and taxa that are named, by their codes; raises Refused as `propose` does."""
    codes = {need.plot for need in given.needs}
    plots = {row.code: row for row in Plot.objects.filter(code__in=codes).select_related("site")}
    kinds = {need.taxon for need in given.needs}
    taxa = {row.code: row for row in Taxon.objects.filter(code__in=kinds)}
    known = set(Nursery.objects.filter(code__in=given.nurseries).values_list("code", flat=True))
    problems = ProblemList()
    asked: dict[str, int] = defaultdict(int)
    for number, need in enumerate(given.needs):
        asked[need.plot] += need.plugs
        plot = plots.get(need.plot)
        where: Path = ("needs", number, "plot")
        if plot is None:
            problems.add("unknown_plot", f"There is no plot {need.plot}.", *where)
        elif any(
            place.closed_on is not None and given.planned.earliest > place.closed_on
            for place in (plot, plot.site)
        ):
            message = f"{plot.code} is closed on the planned day. Choose another plot."
            problems.add("plot_closed", message, *where)
        if need.taxon not in taxa:
            message = f"There is no taxon {need.taxon}."
            problems.add("unknown_taxon", message, "needs", number, "taxon")
    for number, code in enumerate(given.nurseries):
        if code not in known:
            problems.add("unknown_nursery", f"There is no nursery {code}.", "nurseries", number)
    permits = set(Permit.objects.filter(code__in=given.permits).values_list("code", flat=True))
    for number, code in enumerate(given.permits):
        if code not in permits:
            problems.add("unknown_permit", f"There is no permit {code}.", "permits", number)
    for number, layout in enumerate(given.layouts):
        if layout.plot not in asked:
            message = f"{layout.plot} needs no plugs here, so it is not laid out."
            problems.add("layout_of_another_plot", message, "layouts", number, "plot")
        elif layout.rows * layout.columns < asked[layout.plot]:
            message = (
                f"{layout.rows} × {layout.columns} positions are too few for "
                f"{asked[layout.plot]} plugs. Add rows or columns, or plant fewer."
            )
            problems.add("layout_too_small", message, "layouts", number, "rows")
    if sum(asked.values()) > MOST_LINES:
        message = f"At most {MOST_LINES} plugs in one proposal."
        problems.add("too_many", message, "needs")
    problems.raise_if_any()
    return plots, taxa


def _limits(given: LimitsIn) -> Limits:
    share = given.largest_share
    return Limits(
        largest_share=None if share is None else float(share) / 100,
        fewest_genets=given.fewest_genets,
        fewest_reefs=given.fewest_reefs,
    )


class _Proposer:
    """One proposal: what the record says of it, asked for all taxa and sites together."""

    def __init__(
        self, given: ProposalIn, plots: Mapping[str, Plot], taxa: Mapping[str, Taxon]
    ) -> None:
        self.given, self.plots, self.taxa = given, plots, taxa
        self.sites = {row.site_id: row.site for row in plots.values()}
        ids = [row.pk for row in taxa.values()]
        self.ready = ready(given, ids, set(given.nurseries))
        self.standing = standing_now(list(self.sites), ids, given.with_planned)
        genets = {row.genet for row in self.ready}
        genets |= {genet for counts in self.standing.values() for genet in counts}
        self.genets = {row.pk: row for row in Genet.objects.filter(pk__in=genets)}
        self.codes = {row.code: row for row in self.genets.values()}
        self.origins = {
            path: {
                self.genets[genet].code: names
                for genet, names in origins_of(ids, genets, path).items()
            }
            for path in (REEF, DONOR)
        }
        self.site_plots: dict[int, list[int]] = defaultdict(list)
        for plot, site in Plot.objects.filter(site__in=self.sites).values_list("pk", "site_id"):
            self.site_plots[site].append(plot)

    def proposal(self) -> Proposal:
        plans: dict[str, Plan] = {}
        pools = []
        for code in dict.fromkeys(need.taxon for need in self.given.needs):
            taxon = self.taxa[code]
            here = [row for row in self.ready if row.taxon == taxon.pk]
            asked = self._asked(taxon, here)
            plans[code] = self._solved(asked)
            pools.append(self._pool(taxon, here, asked, plans[code]))
        return Proposal(
            title=self.given.title,
            planned=str(self.given.planned),
            pools=tuple(pools),
            plots=tuple(self._plots(plans)),
            permits=self.given.permits,
        )

    def _solved(self, asked: Asked) -> Plan:
        tolerance = self.given.tolerance
        try:
            return allocate(asked, None if tolerance is None else float(tolerance) / 100, SECONDS)
        except Unsolved:
            message = (
                "No plan was found in the time that there is. Ask for fewer sites at once, or "
                "for less strict limits."
            )
            raise Refused(Problem("not_found_in_time", message, ("needs",))) from None

    def _asked(self, taxon: Taxon, here: Sequence[Ready]) -> Asked:
        needs: dict[int, list[NeedIn]] = defaultdict(list)
        for need in self.given.needs:
            if need.taxon == taxon.code:
                needs[self.plots[need.plot].site_id].append(need)
        of_plot = _limits(self.given.plot_limits)
        return Asked(
            lots=[Lot(self.genets[row.genet].code, row.plate, row.plugs) for row in here],
            sites=[
                AskedSite(
                    self.sites[site].code,
                    [
                        AskedPlot(
                            need.plot,
                            need.plugs,
                            self._counts([self.plots[need.plot].pk], taxon),
                            of_plot,
                        )
                        for need in wanted
                    ],
                    self._counts(self.site_plots[site], taxon),
                    _limits(self.given.site_limits),
                )
                for site, wanted in needs.items()
            ],
            reefs=self.origins[REEF],
        )

    def _counts(self, plots: Sequence[int], taxon: Taxon) -> dict[str, int]:
        found: dict[str, int] = defaultdict(int)
        for plot in plots:
            for genet, n in self.standing.get((plot, taxon.pk), {}).items():
                found[self.genets[genet].code] += n
        return dict(found)

    def _pool(self, taxon: Taxon, here: Sequence[Ready], asked: Asked, plan: Plan) -> Pool:
        names = {site.code: site.name for site in self.sites.values()}
        sides = []
        for site in asked.sites:
            planned = [one for one in plan.plots if one.site == site.key]
            after = dict(site.standing)
            for one in planned:
                for genet, n in one.by_genet().items():
                    after[genet] = after.get(genet, 0) + n
            sides.append(
                Side(
                    site=site.key,
                    site_name=names[site.key],
                    asked=sum(one.asked for one in planned),
                    given=sum(one.total for one in planned),
                    before=numbers(list(site.standing.values())),
                    after=numbers(list(after.values())),
                )
            )
        return Pool(
            taxon=taxon.code,
            taxon_name=taxon.name,
            ready=sum(row.plugs for row in here),
            ready_genets=len({row.genet for row in here}),
            sides=tuple(sides),
            unevenness=plan.unevenness,
            bound=plan.bound,
            evenest=plan.evenest,
            gap=plan.gap,
            plates=len(plan.plates),
            fewest_plates=plan.plates_bound,
            weighed=plan.weighed,
            broken=tuple(
                Broken(_rule(breach.rule), breach.asked, breach.reached) for breach in plan.breaches
            ),
            clashes=tuple(tuple(sorted(map(_rule, rules), key=str)) for rules in plan.clashes),
        )

    def _plots(self, plans: Mapping[str, Plan]) -> list[PlotPlan]:
        wanted = [
            (one.plot, taxon, genet, plate, plugs)
            for taxon, plan in plans.items()
            for one in plan.plots
            for (genet, plate), plugs in one.plugs.items()
        ]
        codes = chosen(
            self.given,
            [row.pk for row in self.taxa.values()],
            [(self.codes[genet].pk, plate, n) for _, _, genet, plate, n in wanted],
        )
        portions: dict[str, list[Portion]] = defaultdict(list)
        for (plot, taxon, genet, plate, _), ramets in zip(wanted, codes, strict=True):
            row = self.codes[genet]
            portions[plot].append(
                Portion(taxon, genet, row.name, row.pk, plate, len(ramets), tuple(ramets))
            )
        asked: dict[str, int] = defaultdict(int)
        for need in self.given.needs:
            asked[need.plot] += need.plugs
        layouts = {layout.plot: layout for layout in self.given.layouts}
        found = []
        for code, number in asked.items():
            site = self.plots[code].site
            here = portions[code]
            laid, unlaid = None, ""
            if code in layouts and here:
                try:
                    laid = self._laid(layouts[code], here)
                except ValueError as error:
                    unlaid = str(error)
            found.append(
                PlotPlan(
                    site=site.code,
                    site_name=site.name,
                    plot=code,
                    asked=number,
                    given=sum(portion.plugs for portion in here),
                    portions=tuple(here),
                    layout=laid,
                    unlaid=unlaid,
                )
            )
        return found

    def _laid(self, asked: LayoutIn, portions: Sequence[Portion]) -> Laid:
        """A plot's layout; genets of one donor colony or reef are alike where that is asked."""
        path = {"donor_colony": DONOR, "donor_reef": REEF}.get(asked.kept_apart)
        origins = self.origins[path] if path else {}
        alike = {
            portion.genet: f"{portion.taxon} {sorted(origins[portion.genet])}"
            for portion in portions
            if portion.genet in origins
        }
        return _laid(asked, portions, alike, self.given.seed)


def _rule(rule: Rule) -> RuleOf:
    return RuleOf(rule.kind, rule.site, rule.plot)


def _laid(
    asked: LayoutIn, portions: Sequence[Portion], alike: Mapping[str, str], seed: int
) -> Laid:
    """Ramets on a plot's grid. ValueError where units do not find room."""
    spacing = float(asked.spacing) / 100
    ground = grid(asked.rows, asked.columns, spacing, unit=asked.unit, corners=asked.corners)
    plugs: dict[str, int] = defaultdict(int)
    coming: dict[str, list[tuple[str, Portion]]] = defaultdict(list)
    for portion in portions:
        plugs[portion.genet] += portion.plugs
        coming[portion.genet] += [(code, portion) for code in portion.ramets]
    kinds = {portion.genet: portion.taxon for portion in portions}
    apart = {
        frozenset((one, other))
        for one in set(kinds.values())
        for other in set(kinds.values())
        if one != other and asked.taxa_apart
    }
    layout = lay_out(ground, plugs, alike=alike, taxa=Taxa(kinds, apart), seed=seed)
    unit_of = {at: n for n, block in enumerate(ground.blocks, 1) for at in block}
    spots = []
    for at, genet in enumerate(layout.genets):
        if genet is None:
            continue
        code, portion = coming[genet].pop(0)
        row, column = divmod(at, asked.columns)
        spots.append(
            Spot(
                position=Cell(row + 1, column + 1).name,
                row=row + 1,
                column=column + 1,
                unit=unit_of[at],
                ramet=code,
                genet=genet,
                genet_id=portion.genet_id,
                plate=portion.plate,
            )
        )
    return Laid(
        rows=asked.rows,
        columns=asked.columns,
        spacing_cm=float(asked.spacing),
        unit=asked.unit,
        kept_apart=asked.kept_apart,
        spots=tuple(spots),
        pairs=layout.pairs,
        like=layout.like,
        expected=layout.expected,
        bound=layout.bound,
        clashing=layout.clashing,
    )
