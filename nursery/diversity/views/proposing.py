"""Pages of proposals: what plots need, what is proposed, and the sheet to take along."""

from __future__ import annotations

import uuid
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

from django.contrib import messages
from django.db.models import Count
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.urls import reverse
from django.utils.translation import ngettext
from rest_framework.request import Request

from nursery.core.actor import require
from nursery.core.dates import latest_today
from nursery.core.errors import Problem, Trouble
from nursery.core.filters import refuse_unknown
from nursery.core.inputs import read
from nursery.core.views import kin
from nursery.core.views.base import Page
from nursery.core.views.lists import kin_links
from nursery.diversity.proposing import ACT, draft_proposal
from nursery.diversity.proposing_answers import Portion, Proposal, read_back
from nursery.diversity.proposing_inputs import ProposalIn
from nursery.diversity.proposing_stock import offered_by_taxon
from nursery.diversity.views import proposing_words as words
from nursery.donors.models import Taxon
from nursery.donors.permits import permits_to_choose
from nursery.donors.queries import taxon as taxon_named
from nursery.exchange.models import Task
from nursery.exchange.tasks import ask_to_propose, proposal_of
from nursery.lineage.living import INDIVIDUAL, living
from nursery.lineage.words import Place
from nursery.outplanting.manifests import OPEN
from nursery.outplanting.models import Manifest
from nursery.outplanting.policies import in_force
from nursery.outplanting.rules import Rule
from nursery.places.models import Nursery, Plot

MOST_SHOWN = 12
PLATES = (("first", None), ("same", "0"), ("little", "2"), ("more", "10"))
"""How plates are weighed: the word of the choice, and the tolerance in per cent."""


@dataclass(frozen=True, slots=True)
class PlotRow:
    """A plot on the form: what stands there of the taxon, and what was typed."""

    plot: Plot
    ramets: int
    genets: int
    plugs: str
    rows: str
    columns: str


class NeedsPage(Page):
    """What was proposed lately; and for a lead, what plots need of one taxon."""

    http_method_names = ["get", "head", "post"]
    place = "reef"
    template_name = "diversity/allocate.html"

    def get(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        refuse_unknown(Request(request), ("taxon",))
        if "taxon" in request.GET:
            require(self.actor, act=ACT)
        return super().get(request, *args, **kwargs)

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        require(self.actor, act=ACT)
        typed = request.POST
        try:
            task = ask_to_propose(self.actor, read(ProposalIn, said(typed)))
        except Trouble as trouble:
            context = self.get_context_data(typed=typed.dict(), problems=trouble.problems)
            return self.render_to_response(context, status=trouble.status)
        name = "proposal" if task.ended_at else "task"
        return HttpResponseRedirect(reverse(name, args=[task.uid]))

    def get_context_data(
        self,
        typed: Mapping[str, str] | None = None,
        problems: Sequence[Problem] = (),
        **kwargs: Any,
    ) -> dict[str, Any]:
        typed = typed or {}
        named = self.request.POST.getlist("permits")
        offered = offered_by_taxon()
        taxa = Taxon.objects.filter(pk__in=offered).order_by("name")
        code = typed.get("taxon") or self.request.GET.get("taxon", "")
        taxon = taxon_named(code) if code else None
        policy = _policy(taxon) if taxon and not typed else {}
        tasks = Task.objects.filter(kind=Task.Kind.PROPOSE).select_related("by")
        return super().get_context_data(
            kin=kin_links(kin.REEF, self.request.path),
            taxon=taxon,
            taxa=[(row, *offered[row.pk]) for row in taxa],
            offered=offered.get(taxon.pk, (0, 0)) if taxon else (0, 0),
            plots=_plot_rows(taxon, typed) if taxon else (),
            nurseries=Nursery.objects.filter(closed_on=None).order_by("name"),
            chosen=self.request.POST.getlist("nurseries"),
            permits=permits_to_choose(named) if taxon else (),
            named_permits=named,
            told={},
            typed={**_USUAL, "planned": str(latest_today()), **policy, **typed},
            plates=typed.get("plates", "same"),
            with_planned=not typed or "with_planned" in typed,
            presumed="presumed" in (typed or policy),
            problems=problems,
            faults=len(problems),
            proposals=tasks.defer("outcome").order_by("-asked_at")[:MOST_SHOWN],
            **kwargs,
        )


_USUAL = {"title": "", "least_days": "0", "spacing": "50", "unit": "1", "kept_apart": "genet"}
_ASKED_BY = {
    Rule.LARGEST_SHARE: "site_largest_share",
    Rule.GENETS_OF_SITE: "site_fewest_genets",
    Rule.DONOR_REEFS: "site_fewest_reefs",
    Rule.GENETS_OF_PLOT: "plot_fewest_genets",
    Rule.LEAST_AGE: "least_days",
    Rule.GREATEST_AGE: "most_days",
    Rule.LEAST_SIZE: "smallest",
    Rule.KEPT_APART: "kept_apart",
}
"""The rules of a policy that a proposal heeds, by the blanks that they fill in."""


def _policy(taxon: Taxon) -> dict[str, str]:
    """What the policy in force today asks of a taxon, as the form is filled in."""
    policy = in_force(latest_today())
    rows = {name: policy.of(rule, taxon.pk) for rule, name in _ASKED_BY.items()}
    found = {name: row.value for name, row in rows.items() if row is not None}
    row = policy.of(Rule.PRESUMED_GENETS, taxon.pk)
    if row is None or row.number:
        found["presumed"] = "1"
    return found


def _plot_rows(taxon: Taxon, typed: Mapping[str, str]) -> list[PlotRow]:
    """All open plots with what stands there of the taxon. Two queries."""
    counts = {
        plot: (ramets, genets)
        for plot, ramets, genets in living()
        .filter(place=Place.PLOT, taxon=taxon, genet__isnull=False)
        .values_list("plot")
        .annotate(n=Count("pk"), genets=Count(INDIVIDUAL, distinct=True))
    }
    plots = Plot.objects.filter(closed_on=None, site__closed_on=None).select_related("site")
    return [
        PlotRow(
            plot,
            *counts.get(plot.pk, (0, 0)),
            *(typed.get(f"{name}:{plot.code}", "") for name in ("plugs", "rows", "columns")),
        )
        for plot in plots.order_by("site__name", "site__code", "code")
    ]


def said(typed: Any) -> dict[str, Any]:
    """What the form says, as the input of a proposal; blanks that are empty are left out."""
    needs, layouts = [], []
    for name, value in typed.items():
        what, colon, plot = name.partition(":")
        if what != "plugs" or not colon or value.strip() in ("", "0"):
            continue
        needs.append({"plot": plot, "taxon": typed.get("taxon", ""), "plugs": value.strip()})
        rows, columns = (typed.get(f"{side}:{plot}", "").strip() for side in ("rows", "columns"))
        if rows or columns:
            layouts.append(
                {
                    "plot": plot,
                    "rows": rows,
                    "columns": columns,
                    "spacing": typed.get("spacing", ""),
                    "unit": typed.get("unit", "1"),
                    "corners": "corners" in typed,
                    "kept_apart": typed.get("kept_apart", "genet"),
                }
            )
    data: dict[str, Any] = {
        "title": typed.get("title", ""),
        "planned": typed.get("planned", ""),
        "needs": needs,
        "layouts": layouts,
        "nurseries": typed.getlist("nurseries"),
        "permits": typed.getlist("permits"),
        "with_planned": "with_planned" in typed,
        "presumed": "presumed" in typed,
        "tolerance": dict(PLATES).get(typed.get("plates", ""), "0"),
    }
    for place in ("site", "plot"):
        limits = {
            name: value
            for name in ("largest_share", "fewest_genets", "fewest_reefs")
            if (value := typed.get(f"{place}_{name}", "").strip())
        }
        data[f"{place}_limits"] = limits
    for name in ("least_days", "most_days", "smallest"):
        if value := typed.get(name, "").strip():
            data[name] = value
    return data


class _OfProposal(Page):
    """What is shown of one proposal."""

    place = "reef"

    @cached_property
    def task(self) -> Task:
        """The work that made it; raises Unknown (`unknown_proposal`)."""
        return proposal_of(self.actor, self.kwargs["uid"], found=True)

    @cached_property
    def proposal(self) -> Proposal:
        return read_back(self.task.outcome["proposal"])


class ProposalPage(_OfProposal):
    """A proposal: what it does for each site, what it breaks, and what each plot gets."""

    http_method_names = ["get", "head", "post"]
    template_name = "diversity/allocated.html"

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        try:
            drafted = draft_proposal(self.actor, self.proposal, self.task.uid)
        except Trouble as trouble:
            context = self.get_context_data(problems=trouble.problems)
            return self.render_to_response(context, status=trouble.status)
        codes = ", ".join(each.manifest.code for each in drafted)
        text = ngettext(
            "Drafted: manifest %(codes)s.", "Drafted: manifests %(codes)s.", len(drafted)
        )
        messages.success(request, text % {"codes": codes})
        return HttpResponseRedirect(request.path)

    def get_context_data(self, problems: Sequence[Problem] = (), **kwargs: Any) -> dict[str, Any]:
        proposal = self.proposal
        uids = [uuid.uuid5(self.task.uid, plot.site) for plot in proposal.plots]
        manifests = Manifest.objects.filter(uid__in=uids, stage__in=OPEN).select_related("site")
        return super().get_context_data(
            task=self.task,
            proposal=proposal,
            planned=words.planned(proposal),
            says=words.says(proposal),
            pools=[
                {
                    "pool": pool,
                    "sides": words.sides_table(pool),
                    "proof": words.proof(pool),
                    "plates": words.plates_words(pool),
                    "broken": [words.broken_words(broken) for broken in pool.broken],
                    "clashes": [words.clash_words(rules) for rules in pool.clashes],
                }
                for pool in proposal.pools
            ],
            plots=[
                {
                    "plot": plot,
                    "portions": words.portions_table(plot),
                    "drawing": words.drawing(plot.layout) if plot.layout else "",
                    "laid": words.layout_words(plot.layout) if plot.layout else "",
                }
                for plot in proposal.plots
            ],
            drafted=manifests.order_by("code"),
            problems=problems,
            faults=len(problems),
            **kwargs,
        )


class SheetPage(_OfProposal):
    """The proposal on paper: what to take from which structure, and who goes where."""

    template_name = "diversity/allocated_sheet.html"

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        proposal = self.proposal
        picked: dict[str, list[tuple[str, Portion]]] = defaultdict(list)
        for plot in proposal.plots:
            for portion in plot.portions:
                picked[portion.plate].append((plot.plot, portion))
        return super().get_context_data(
            task=self.task,
            proposal=proposal,
            planned=words.planned(proposal),
            picked=sorted(picked.items()),
            plots=[
                {
                    "plot": plot,
                    "drawing": words.drawing(plot.layout) if plot.layout else "",
                    "laid": words.layout_words(plot.layout) if plot.layout else "",
                    "legend": words.legend(plot.portions),
                }
                for plot in proposal.plots
                if plot.given
            ],
            **kwargs,
        )
