"""The page of one table of genotypes, and the form by which its samples are compared."""

from __future__ import annotations

import uuid
from collections.abc import Mapping
from functools import cached_property
from typing import Any

from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from rest_framework.request import Request

from nursery.core.actor import require
from nursery.core.errors import Problem, Trouble, Unknown
from nursery.core.filters import refuse_unknown
from nursery.core.inputs import read
from nursery.core.phrases import in_words, number, percent
from nursery.core.registers import find
from nursery.core.views.base import Page
from nursery.core.views.register import Fact, Section
from nursery.core.views.returned import returned
from nursery.core.views.tables import Column, table
from nursery.genotyping.actions import propose
from nursery.genotyping.actions.propose import ACT
from nursery.genotyping.inputs import MatchingIn
from nursery.genotyping.measures import Measures, measures_of
from nursery.genotyping.models import GenotypeTable, Panel, Proposal
from nursery.genotyping.queries import last_proposal, typed_of_table
from nursery.genotyping.views.lists import panel_link
from nursery.genotyping.views.pages import least_shared, proposals_section
from nursery.genotyping.views.telling import blank_of, chance_number, chance_words

MOST_LOCI = 200
"""The most loci that a page tells one by one; the API tells all."""


def table_of(uid: uuid.UUID) -> GenotypeTable:
    """The table of this uid; raises Unknown (`unknown_genotypetable`)."""
    row = GenotypeTable.objects.select_related("panel", "imported_by").filter(uid=uid).first()
    if row is None:
        raise Unknown(Problem("unknown_genotypetable", _("There is no such table.")))
    return row


class TablePage(Page):
    """A table: how well it tells individuals apart, locus by locus, and what was compared."""

    place = "genets"
    template_name = "genotyping/table.html"

    @cached_property
    def row(self) -> GenotypeTable:
        return table_of(self.kwargs["uid"])

    def get(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        refuse_unknown(Request(request), ())
        return super().get(request, *args, **kwargs)

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        row = self.row
        told = measures_of(typed_of_table(row), last_proposal(table=row))
        loci = len(row.panel.loci)
        return super().get_context_data(
            row=row,
            says=_says(told),
            facts=_facts(row, told),
            sections=[
                proposals_section(
                    Proposal.objects.filter(table=row), _("Its samples were not compared yet.")
                ),
                *([_loci(told)] if loci <= MOST_LOCI else []),
            ],
            many_loci=loci > MOST_LOCI,
            may_propose=self.actor.leads,
            loci=loci,
            minimum=least_shared(loci),
            **kwargs,
        )


def _says(told: Measures) -> str:
    if told.proposal is None:
        says = ngettext("%(n)s sample was typed.", "%(n)s samples were typed.", told.samples)
        return says % {"n": number(told.samples)}
    says = ngettext(
        "%(samples)s samples are of %(n)s individual.",
        "%(samples)s samples are of %(n)s individuals.",
        told.individuals,
    )
    return says % {"samples": number(told.samples), "n": number(told.individuals)}


def _facts(row: GenotypeTable, told: Measures) -> list[Fact]:
    needed = "; ".join(
        _("%(n)s hold %(share)s") % {"n": number(one.individuals), "share": percent(one.share)}
        for one in told.needed
    )
    return [
        Fact(_("Panel"), panel_link(row)),
        Fact(_("Imported"), in_words(row.imported_at)),
        Fact(_("By"), str(row.imported_by)),
        Fact(_("Same genotype, no kin"), chance_words(told.identity)),
        Fact(_("Same genotype, siblings"), chance_words(told.sibling_identity)),
        Fact(_("Alleles"), number(told.alleles)),
        Fact(_("Individuals that hold the alleles"), needed),
    ]


def _loci(told: Measures) -> Section:
    counted_by = _("By one sample of each individual.")
    if told.proposal is None:
        counted_by = _(
            "The samples were not compared yet, so each counts as an individual of its own: clones "
            "make their alleles seem common."
        )
    copies = _("Alleles in %(n)s copies") % {"n": number(told.copies)}
    return Section(
        _("Loci"),
        table(
            [
                Column(_("Locus"), lambda row: row.locus),
                Column(_("Typed"), lambda row: number(row.typed), number=True),
                Column(_("Alleles"), lambda row: number(row.alleles), number=True),
                Column(copies, lambda row: number(row.richness, 2), number=True),
                Column(
                    _("Expected heterozygosity"),
                    lambda row: chance_number(row.expected_heterozygosity),
                    number=True,
                ),
                Column(_("Identity"), lambda row: chance_number(row.identity), number=True),
                Column(
                    _("Of siblings"), lambda row: chance_number(row.sibling_identity), number=True
                ),
            ],
            told.loci,
            _("The loci of the panel, by one sample of each individual"),
        ),
        says=counted_by
        + " "
        + _(
            "Identity: the chance that two individuals that are "
            "no kin, or two full siblings, have the same genotype (Waits, Luikart and Taberlet "
            "2001). Expected heterozygosity after Nei 1978. Alleles rarefied to as many gene "
            "copies as the least typed locus has (Hurlbert 1971)."
        ),
    )


class ProposePage(Page):
    """The samples of a table or a panel are compared; what matches is proposed."""

    http_method_names = ["get", "head", "post"]
    place = "genets"
    template_name = "genotyping/propose.html"

    def get(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        require(self.actor, act=ACT)
        refuse_unknown(Request(request), {"table", "panel"})
        typed = {"uid": str(uuid.uuid4()), "threshold": "1", **request.GET.dict()}
        return self._form({**typed, "minimum": str(least_shared(len(self._panel(typed).loci)))})

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        require(self.actor, act=ACT)
        typed = request.POST.dict()
        names = ("uid", "table", "panel", "threshold", "minimum")
        try:
            given = read(MatchingIn, {n: typed[n].strip() for n in names if typed.get(n)})
            made = propose(self.actor, given)
        except Trouble as trouble:
            return self._form(typed, trouble)
        return HttpResponseRedirect(reverse("matches", args=[made.proposal.uid]))

    def _panel(self, typed: Mapping[str, str]) -> Panel:
        """The panel that is meant; raises Unknown."""
        if typed.get("table"):
            try:
                return table_of(uuid.UUID(typed["table"])).panel
            except ValueError:
                raise Unknown(
                    Problem("unknown_genotypetable", _("There is no such table."))
                ) from None
        return find(Panel, typed.get("panel", ""))

    def _form(self, typed: Mapping[str, str], trouble: Trouble | None = None) -> HttpResponse:
        back = returned(trouble, blank_of)
        panel = self._panel(typed)
        context = self.get_context_data(
            typed=typed,
            told=back.told,
            panel=panel,
            loci=len(panel.loci),
            problems=back.above({"threshold", "minimum"}),
            faults=back.faults,
        )
        return self.render_to_response(context, status=back.status)
