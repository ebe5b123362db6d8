"""The page of a plot."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cached_property
from typing import Any

from django.db.models import Count, QuerySet
from django.utils.safestring import SafeString
from django.utils.translation import gettext as _
from django.utils.translation import ngettext_lazy

from nursery.core.charts import ceiling, tick_text
from nursery.core.phrases import counted, link, number, ramet_link
from nursery.core.views.register import Fact, RegisterPage
from nursery.core.views.tables import Column, Sheet, Table, sheet, table
from nursery.diversity.indices import hill
from nursery.diversity.views.pictures import MOST_RANKED, ramets_bar
from nursery.donors.models import Genet
from nursery.donors.views.lists import (
    event_link,
    genet_link,
    taxon_link,
)
from nursery.lineage.living import INDIVIDUAL, living
from nursery.lineage.queries import place_view
from nursery.lineage.views.descent import where
from nursery.lineage.views.lists import genet_or_not, life_words
from nursery.lineage.words import Place
from nursery.outplanting.models import Outplant
from nursery.outplanting.views.touched import position_in_plot
from nursery.places.models import Plot
from nursery.places.views.pages import all_of, common_facts

PAGED = frozenset({"limit", "offset"})


class PlotPage(RegisterPage):
    """A plot with what was planted in it."""

    template_name = "outplanting/plot.html"
    place = "reef"
    model = Plot
    name = "plot"
    joined = ("site__reef",)
    parameters = PAGED

    @cached_property
    def outplants(self) -> QuerySet[Outplant]:
        return Outplant.objects.filter(
            outplanting__plot=self.row, outplanting__event__live=True
        ).select_related(
            "outplanting__event",
            "ramet__taxon",
            "ramet__genet__canonical",
            "ramet__structure__nursery",
            "ramet__plot__site",
        )

    @cached_property
    def found(self) -> Sheet:
        return sheet(self.request, self.outplants.order_by("pk"))

    @cached_property
    def alive(self) -> dict[int | None, int]:
        """Living ramets in the plot by genet, merged ones as one (None: of an unknown one)."""
        rows = living().filter(plot=self.row, place=Place.PLOT).annotate(individual=INDIVIDUAL)
        return dict(rows.values_list("individual").annotate(n=Count("pk")))

    def says(self) -> str:
        alive = sum(self.alive.values())
        told = {
            "ramets": counted(alive, ngettext_lazy("ramet", "ramets")),
            "plot": self.row.code,
            "planted": number(self.found.count),
        }
        known = [n for genet, n in self.alive.items() if genet is not None]
        effective = hill(known, 1).value
        if effective is None:
            return _("%(ramets)s live in plot %(plot)s, of %(planted)s planted.") % told
        told |= {
            "genets": counted(len(known), ngettext_lazy("known genet", "known genets")),
            "effective": number(effective, 1),
        }
        return (
            _(
                "%(ramets)s live in plot %(plot)s, of %(planted)s planted: %(genets)s, "
                "%(effective)s effective (Hill q\u00a0=\u00a01)."
            )
            % told
        )

    def genets(self) -> tuple[Table, Table | None]:
        """The genets that live in the plot, the most numerous first, each drawn as long as it is
        numerous; and those of the tail, which are folded (None: there is none)."""
        rows = Genet.objects.filter(pk__in=[pk for pk in self.alive if pk is not None])
        shown = sorted(rows, key=lambda row: (-self.alive[row.pk], row.code))
        top = ceiling(max((self.alive[row.pk] for row in shown), default=0))
        columns = [
            Column(_("Genet"), genet_link),
            Column(_("Alive"), lambda row: self.alive[row.pk], number=True),
            Column(
                _("Drawn, 0 to %(top)s ramets") % {"top": tick_text(top)},
                lambda row: ramets_bar(self.alive[row.pk], self.alive[row.pk], top, row.pk),
            ),
        ]
        most = MOST_RANKED if len(shown) > MOST_RANKED + 1 else len(shown)
        none = _("No ramet of a known genet lives here.")
        first = table(columns, shown[:most], _("Genets alive in this plot"), none, compact=True)
        others = table(columns, shown[most:], _("Further genets"), compact=True)
        return first, others if others.rows else None

    def facts(self) -> Sequence[Fact]:
        row = self.row
        return [
            Fact(_("Site"), link(row.site, "site", row.site.code)),
            Fact(_("Depth"), f"{number(row.depth_m)} m" if row.depth_m is not None else ""),
            Fact(_("Area"), f"{number(row.area_m2)} m²" if row.area_m2 is not None else ""),
            *common_facts(row),
        ]

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        found = self.found
        genets, other_genets = self.genets()
        return super().get_context_data(
            sheet=found,
            genets=genets,
            other_genets=other_genets,
            without_genet=self.alive.get(None, 0),
            table=table(
                [
                    Column(_("Ramet"), lambda row: ramet_link(row.ramet.code)),
                    Column(_("Genet"), lambda row: genet_or_not(row.ramet)),
                    Column(_("Taxon"), lambda row: taxon_link(row.ramet)),
                    Column(_("Planted"), lambda row: event_link(row.outplanting.event)),
                    Column(_("Position"), position_in_plot),
                    Column(_("State"), lambda row: life_words(row.ramet)),
                    Column(_("Now"), lambda row: now_elsewhere(row, self.row)),
                ],
                found.rows,
                _("Outplants of this plot"),
            ),
            more=all_of("ramets", "plot", self.row.code, _("All ramets that are here now")),
            **kwargs,
        )


def now_elsewhere(row: Outplant, plot: Plot) -> SafeString | str:
    """Where an outplant is, if that is no longer this plot."""
    ramet = row.ramet
    if ramet.plot_id == plot.pk:
        return _("here")
    return where(
        place_view(Place(ramet.place), ramet.structure, ramet.row, ramet.column, ramet.plot)
    )
