"""One page for each sample and each panel."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cached_property
from typing import Any

from django.db.models import Count
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from nursery.core.phrases import in_words, number, percent
from nursery.core.views.register import Fact, RegisterPage, Section
from nursery.core.views.tables import Column, table
from nursery.donors.views.lists import event_link
from nursery.genotyping.measures import at_sites
from nursery.genotyping.models import GenotypeTable, Panel, Proposal, Sample, TableRow
from nursery.genotyping.queries import typed_of_panel
from nursery.genotyping.views.lists import labelled, panel_link, table_link, taken_of
from nursery.genotyping.views.telling import proposal_link
from nursery.places.views.pages import MOST_SHOWN, common_facts


class SamplePage(RegisterPage):
    """A sample: what it is of, where it was sent, and by which tables it was typed."""

    place = "genets"
    model = Sample
    name = "sample"
    joined = ("event", "ramet__genet__canonical", "colony__genet__canonical")

    @cached_property
    def typed(self) -> list[TableRow]:
        rows = TableRow.objects.filter(sample=self.row).defer("table__calls")
        return list(rows.select_related("table__panel").order_by("-pk"))

    def says(self) -> str:
        if not self.row.event.live:
            return _("Its sampling was voided: it was never taken.")
        if not self.typed:
            return _("It has not been typed yet.")
        return ngettext(
            "It was typed at %(n)s locus last.",
            "It was typed at %(n)s loci last.",
            self.typed[0].typed,
        ) % {"n": number(self.typed[0].typed)}

    def facts(self) -> Sequence[Fact]:
        row = self.row
        return [
            Fact(_("Taken from"), taken_of(row)),
            Fact(_("Labelled as genet"), labelled(row)),
            Fact(_("Taken"), event_link(row.event)),
            Fact(_("Laboratory’s label"), row.label),
            Fact(_("Laboratory"), row.laboratory),
            Fact(_("Sent"), in_words(row.sent_on)),
            Fact(_("Received"), in_words(row.received_on)),
            *common_facts(row),
        ]

    def sections(self) -> Sequence[Section]:
        return [
            Section(
                _("Typed in"),
                table(
                    [
                        Column(_("Table"), lambda row: table_link(row.table)),
                        Column(_("Panel"), lambda row: panel_link(row.table)),
                        Column(_("Loci typed"), lambda row: number(row.typed), number=True),
                    ],
                    self.typed,
                    _("Tables with this sample"),
                    _("No table has it yet."),
                ),
            )
        ]


class PanelPage(RegisterPage):
    """A panel: its tables and proposals, and how many of the donors' alleles each site has."""

    place = "genets"
    model = Panel
    name = "panel"
    template_name = "genotyping/panel.html"

    @cached_property
    def tables(self) -> list[GenotypeTable]:
        rows = self.row.tables.defer("calls").annotate(size=Count("rows"))
        return list(rows.select_related("imported_by").order_by("-pk"))

    def says(self) -> str:
        told = ngettext(
            "%(tables)s table of this panel is on record.",
            "%(tables)s tables of this panel are on record.",
            len(self.tables),
        )
        return told % {"tables": number(len(self.tables))}

    def facts(self) -> Sequence[Fact]:
        row = self.row
        loci = " ".join(row.loci[:MOST_SHOWN])
        more = _(" and %(n)s more") % {"n": number(len(row.loci) - MOST_SHOWN)}
        return [
            Fact(_("Kind"), row.get_marker_display()),
            Fact(_("Loci"), loci + (more if len(row.loci) > MOST_SHOWN else "")),
            Fact(_("Since"), in_words(row.made_on)),
            *common_facts(row),
        ]

    def sections(self) -> Sequence[Section]:
        found = [
            Section(
                _("Tables"),
                table(
                    [
                        Column(_("Table"), table_link),
                        Column(_("Samples"), lambda row: number(row.size), number=True),
                        Column(_("Imported"), lambda row: in_words(row.imported_at)),
                        Column(_("By"), lambda row: str(row.imported_by)),
                    ],
                    self.tables,
                    _("Tables of this panel"),
                    _("No table of it was imported yet."),
                ),
            ),
            proposals_section(
                Proposal.objects.filter(panel=self.row), _("No samples were compared yet.")
            ),
        ]
        if len({row.writing for row in self.tables}) == 1:
            found.append(self._sites())
        return found

    def _sites(self) -> Section:
        rows = at_sites(typed_of_panel(self.row))
        return Section(
            _("The donors’ alleles at each site"),
            table(
                [
                    Column(_("Site"), lambda row: row.site),
                    Column(_("Genets living"), lambda row: number(row.genets), number=True),
                    Column(_("Genets typed"), lambda row: number(row.typed), number=True),
                    Column(
                        _("Share of the alleles"),
                        lambda row: percent(row.share) or _("no donor was typed"),
                        number=True,
                    ),
                ],
                rows,
                _("Share of the alleles of typed donor colonies that living genets have"),
                _("Nothing lives at any site yet."),
            ),
            says=_(
                "Of all alleles that the typed donor colonies have, so many are found in the "
                "genets that live at the site, as far as these were typed."
            ),
        )

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        return super().get_context_data(
            may_propose=self.actor.leads and bool(self.tables),
            may_import=self.actor.leads,
            loci=len(self.row.loci),
            minimum=least_shared(len(self.row.loci)),
            **kwargs,
        )


def least_shared(loci: int) -> int:
    """What a form offers as the fewest loci that two samples share: two thirds of them."""
    return max(1, loci * 2 // 3)


def proposals_section(rows: Any, empty: str) -> Section:
    """Proposals, the last first."""
    found = rows.annotate(size=Count("groups")).select_related("made_by").order_by("-pk")
    return Section(
        _("Proposals"),
        table(
            [
                Column(_("Made"), proposal_link),
                Column(_("By"), lambda row: str(row.made_by)),
                Column(_("Mismatches at most"), lambda row: row.threshold, number=True),
                Column(_("Shared loci at least"), lambda row: row.minimum, number=True),
                Column(_("Groups"), lambda row: number(row.size), number=True),
            ],
            list(found[:MOST_SHOWN]),
            _("Proposals which samples match"),
            empty,
        ),
    )
