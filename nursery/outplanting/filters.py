"""Filters of manifests and policy, of plantings, visits and observations."""

from __future__ import annotations

from typing import Any

from django.db.models import QuerySet
from django_filters import UUIDFilter

from nursery.core.filters import (
    CodeFilter,
    FilterSet,
    TextFilter,
    WhenFilter,
    WordFilter,
    event_filters,
)
from nursery.donors.models import DonorColony, Genet, Taxon
from nursery.lineage.filters import GenetFilter
from nursery.lineage.models import Ramet
from nursery.lineage.words import Cause
from nursery.outplanting.models import Condition, Manifest, ManifestLine, Outplant, Stage
from nursery.outplanting.rules import Rule
from nursery.places.models import Plot, Reef, Site, Structure


class PlantedOnFilter(CodeFilter):
    """Outplantings by which this structure was planted, with ramets that lived in it."""

    def filter(self, qs: QuerySet[Any], value: int | None) -> Any:
        if value is None:
            return qs
        rows = Outplant.objects.filter(structure=value)
        return qs.filter(pk__in=rows.values("outplanting"))


OutplantingFilters: type[FilterSet] = type(
    "OutplantingFilters",
    (FilterSet,),
    {
        **event_filters(),
        "site": CodeFilter(field_name="plot__site", model=Site),
        "plot": CodeFilter(field_name="plot", model=Plot),
        "ramet": CodeFilter(field_name="outplants__ramet", model=Ramet),
        "structure": PlantedOnFilter(model=Structure),
    },
)
VisitFilters: type[FilterSet] = type(
    "VisitFilters",
    (FilterSet,),
    {
        **event_filters(),
        "site": CodeFilter(field_name="site", model=Site),
        "reef": CodeFilter(field_name="reef", model=Reef),
    },
)


class ObservationFilters(FilterSet):
    """Of what, where, when, and what was seen."""

    visit = UUIDFilter(field_name="visit__event__uid")
    when = WhenFilter(field_name="visit__event__")
    site = CodeFilter(field_name="visit__site", model=Site)
    reef = CodeFilter(field_name="visit__reef", model=Reef)
    plot = CodeFilter(field_name="plot", model=Plot)
    ramet = CodeFilter(field_name="ramet", model=Ramet)
    colony = CodeFilter(field_name="colony", model=DonorColony)
    genet = GenetFilter(field_name="ramet__genet", model=Genet)
    taxon = CodeFilter(field_name="ramet__taxon", model=Taxon)
    condition = WordFilter(field_name="condition", word=Condition)
    cause = WordFilter(field_name="cause", word=Cause)


class ManifestFilters(FilterSet):
    """For which site and day, how far it has come, and by whom."""

    site = CodeFilter(field_name="site", model=Site)
    planned = WhenFilter(field_name="")
    stage = WordFilter(field_name="stage", word=Stage)
    ramet = CodeFilter(method="of_ramet", model=Ramet)
    drafted_by = TextFilter(field_name="drafted_by__username", lookup_expr="iexact")

    def of_ramet(self, rows: QuerySet[Manifest], _: str, ramet: int) -> QuerySet[Manifest]:
        on = ManifestLine.objects.filter(ramet=ramet, taken_off=False)
        return rows.filter(pk__in=on.values("manifest"))


class LineFilters(FilterSet):
    """Of which plot, and of which ramet."""

    plot = CodeFilter(field_name="plot", model=Plot)
    ramet = CodeFilter(field_name="ramet", model=Ramet)


class PolicyFilters(FilterSet):
    """Which rule, of which taxon, in force on which day."""

    rule = WordFilter(field_name="rule", word=Rule)
    taxon = CodeFilter(field_name="taxon", model=Taxon)
