"""The page of a plot."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cached_property
from typing import Any

from django.db.models import QuerySet
from django.utils.safestring import SafeString

from nursery.core.phrases import counted, link, number, ramet_link
from nursery.core.views.register import Fact, RegisterPage
from nursery.core.views.tables import Column, Sheet, sheet, table
from nursery.donors.views.lists import (
    event_link,
    taxon_link,
)
from nursery.lineage.queries import place_view
from nursery.lineage.views.descent import where
from nursery.lineage.views.lists import genet_or_not, life_words
from nursery.lineage.words import Life, Place
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

    def says(self) -> str:
        living = self.row.ramets.filter(life=Life.LIVING, place=Place.PLOT).count()
        return (
            f"{counted(living, 'ramet,ramets')} live in plot {self.row.code}, "
            f"of {number(self.found.count)} planted."
        )

    def facts(self) -> Sequence[Fact]:
        row = self.row
        return [
            Fact("Site", link(row.site, "site", row.site.code)),
            Fact("Depth", f"{number(row.depth_m)} m" if row.depth_m is not None else ""),
            Fact("Area", f"{number(row.area_m2)} m²" if row.area_m2 is not None else ""),
            *common_facts(row),
        ]

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        found = self.found
        return super().get_context_data(
            sheet=found,
            table=table(
                [
                    Column("Ramet", lambda row: ramet_link(row.ramet.code)),
                    Column("Genet", lambda row: genet_or_not(row.ramet)),
                    Column("Taxon", lambda row: taxon_link(row.ramet)),
                    Column("Planted", lambda row: event_link(row.outplanting.event)),
                    Column("Position", position_in_plot),
                    Column("State", lambda row: life_words(row.ramet)),
                    Column("Now", lambda row: now_elsewhere(row, self.row)),
                ],
                found.rows,
                "Outplants of this plot",
            ),
            more=all_of("ramets", "plot", self.row.code, "All ramets that are here now"),
            **kwargs,
        )


def now_elsewhere(row: Outplant, plot: Plot) -> SafeString | str:
    """Where an outplant is, if that is no longer this plot."""
    ramet = row.ramet
    if ramet.plot_id == plot.pk:
        return "here"
    return where(
        place_view(Place(ramet.place), ramet.structure, ramet.row, ramet.column, ramet.plot)
    )
