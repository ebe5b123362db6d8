"""The sheet of a site: all that is told of its diversity, to print, and each table as CSV."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any, cast

from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.urls import reverse
from django.utils.translation import gettext as _
from rest_framework.request import Request

from nursery.core.errors import Problem, Unknown
from nursery.core.filters import refuse_unknown
from nursery.core.phrases import day
from nursery.core.problems import ParameterRefused
from nursery.core.views.base import Page
from nursery.core.views.exporting import rows_as_csv
from nursery.core.views.tables import Column, address, without_empty
from nursery.diversity.cohorts import By
from nursery.diversity.forms import COMPARED, read_compared
from nursery.diversity.measures import MEASURES
from nursery.diversity.overlaps import Overlaps, overlaps
from nursery.diversity.report import SiteReport, site_report
from nursery.diversity.values import Value
from nursery.diversity.views import sheet_tables as tables
from nursery.diversity.views.matrix import taxon_asked
from nursery.diversity.views.pictures import sides_sentence, sides_table
from nursery.diversity.views.site import (
    PARAMETERS,
    SitePage,
    beside,
    groups_table,
    look_words,
    read,
    says,
    shown,
)
from nursery.donors.models import Taxon
from nursery.outplanting.counts import Stand


@dataclass(frozen=True, slots=True)
class File:
    """A table of the sheet as a file: its rows, and the columns they have."""

    columns: Callable[[], list[Column]]
    rows: Callable[[SiteReport], Sequence[Any]]


FILES: Mapping[str, File] = {
    "genets": File(tables.genet_file, lambda found: found.genets),
    "groups": File(tables.group_file, lambda found: found.report.groups),
    "cohorts": File(tables.cohort_file, lambda found: found.cohorts),
    "reefs": File(tables.reef_file, lambda found: found.origins.reefs),
    "colonies": File(tables.colony_file, lambda found: found.origins.colonies),
    "sites": File(tables.other_file, lambda found: found.others),
}


class SiteSheet(SitePage):
    """A site's diversity on paper: planned, planted and alive, genets, cohorts, origins."""

    template_name = "diversity/site_sheet.html"
    parameters = (*PARAMETERS, "by")

    @cached_property
    def found(self) -> SiteReport:
        state, as_of, taxon = read(self.form())
        return site_report(self.actor, self.site, taxon, state, as_of, self.by)

    @property
    def by(self) -> By:
        asked = self.request.GET.get("by", By.YEAR)
        try:
            return By(asked)
        except ValueError:
            problem = Problem("not_a_choice", f"by is one of: {', '.join(By)}.", ("by",))
            raise ParameterRefused(problem) from None

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        found = self.found
        report = found.report
        today = day(report.as_of) if report.as_of else _("today")
        whole = report.whole
        return super(SitePage, self).get_context_data(
            site=self.site,
            form=self.form(),
            by=self.by,
            report=report,
            whole=whole,
            says=says(report),
            beside=beside(report),
            looked=look_words(report),
            confirmed=len(whole.genets) - whole.presumed,
            sides=sides_table(found.sides, found.planned, today),
            sides_say=sides_sentence(found.sides),
            genets=tables.genets_table(found.genets),
            cohorts=tables.cohorts_table(found.cohorts, self.by),
            groups=groups_table(report.groups, _("Diversity by plot and taxon")),
            reefs=tables.reefs_table(found.origins),
            colonies=tables.colonies_table(found.origins),
            unknown=found.origins.unknown,
            others=tables.others_table(found.others),
            measures=[shown(measure, whole) for measure in MEASURES],
            files=[(name, address(self._file(name), self.request.GET)) for name in FILES],
            today=today,
            **kwargs,
        )

    def _file(self, name: str) -> str:
        return reverse("site-file", args=[self.site.code, name])


class SiteFile(SiteSheet):
    """One table of the sheet as CSV."""

    def get(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        file = FILES.get(self.kwargs["name"])
        if file is None:
            names = ", ".join(FILES)
            raise Unknown(
                Problem("no_such_page", _("The files are: %(names)s.") % {"names": names})
            )
        name = f"{self.site.code}-{self.kwargs['name']}"
        # It streams; whoever answers treats it like any other.
        return self.elsewhere() or cast(
            "HttpResponse", rows_as_csv(name, file.columns(), file.rows(self.found))
        )


class OverlapPage(Page):
    """How alike the sites are in their genets, each with each."""

    place = "reef"
    template_name = "diversity/overlap.html"
    parameters = frozenset({"state", "taxon"})

    def get(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        filled = without_empty(request.GET)
        if filled is not None:
            return HttpResponseRedirect(address(request.path, filled))
        refuse_unknown(Request(request), self.parameters)
        return super().get(request, *args, **kwargs)

    @cached_property
    def taxon(self) -> Taxon | None:
        return taxon_asked(self.request)

    @cached_property
    def found(self) -> Overlaps:
        state = read_compared(self.request.GET.get("state", ""))
        return overlaps(self.actor, state, self.taxon)

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        taxa = Taxon.objects.filter(genets__isnull=False).distinct().order_by("name")
        return super().get_context_data(
            found=self.found,
            table=tables.overlap_table(self.found),
            says=tables.overlap_sentence(self.found),
            states=[(state, tables.HEADS[Stand(state)]) for state in COMPARED],
            taxon=self.taxon,
            taxa=list(taxa),
            file=address(reverse("overlap-file"), self.request.GET),
            **kwargs,
        )


class OverlapFile(OverlapPage):
    """The same as CSV: one row for each two sites."""

    def get(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        refuse_unknown(Request(request), self.parameters)
        found = self.found
        pairs: list[tuple[str, str, Value]] = [
            (here.site, there.site, value)
            for n, (here, row) in enumerate(zip(found.sites, found.rows, strict=True))
            for there, value in list(zip(found.sites, row, strict=True))[n + 1 :]
        ]
        return cast("HttpResponse", rows_as_csv("overlap", tables.pair_file(), pairs))
