"""Filters of samples, samplings, tables and proposals."""

from __future__ import annotations

from typing import Any

from django.db.models import Exists, OuterRef, Q, QuerySet

from nursery.core.filters import (
    CodeFilter,
    FilterSet,
    FlagFilter,
    OpenFilter,
    TextFilter,
    event_filters,
)
from nursery.donors.models import DonorColony, Genet
from nursery.genotyping.models import Panel, TableRow
from nursery.lineage.models import Ramet
from nursery.places.models import Reef, Structure


class SampledGenetFilter(CodeFilter):
    """Samples of ramets or colonies of a genet, and of those that turned out to be the same."""

    def filter(self, qs: QuerySet[Any], value: int | None) -> Any:
        if value is None:
            return qs
        same = Genet.objects.filter(Q(pk=value) | Q(canonical=value) | Q(synonyms=value))
        heads = Q(pk__in=same) | Q(canonical__in=same)
        ids = set(Genet.objects.filter(heads).values_list("pk", flat=True))
        return qs.filter(Q(ramet__genet__in=ids) | Q(colony__genet__in=ids))


class HasFilter(FlagFilter):
    """`true`: the field has a value; `false`: it has none."""

    def filter(self, qs: QuerySet[Any], value: bool | None) -> Any:
        return qs if value is None else qs.filter(**{f"{self.field_name}__isnull": not value})


class TypedFilter(FlagFilter):
    """`true`: the sample is in a table of genotypes; `false`: in none."""

    def filter(self, qs: QuerySet[Any], value: bool | None) -> Any:
        if value is None:
            return qs
        inside = Exists(TableRow.objects.filter(sample=OuterRef("pk")))
        return qs.filter(inside if value else ~inside)


class SampleFilters(FilterSet):
    """Of what a sample was taken, where it was sent, and how far it is."""

    ramet = CodeFilter(field_name="ramet", model=Ramet)
    colony = CodeFilter(field_name="colony", model=DonorColony)
    genet = SampledGenetFilter(model=Genet)
    reef = CodeFilter(field_name="colony__reef", model=Reef)
    structure = CodeFilter(field_name="ramet__structure", model=Structure)
    label = TextFilter(field_name="label")
    laboratory = TextFilter(field_name="laboratory")
    sent = HasFilter(field_name="sent_on")
    received = HasFilter(field_name="received_on")
    typed = TypedFilter()
    live = FlagFilter(field_name="event__live")
    open = OpenFilter(field_name="closed_on")


SamplingFilters: type[FilterSet] = type(
    "SamplingFilters",
    (FilterSet,),
    {
        **event_filters(""),
        "ramet": CodeFilter(field_name="samples__ramet", model=Ramet),
        "colony": CodeFilter(field_name="samples__colony", model=DonorColony),
    },
)


class OfPanelFilters(FilterSet):
    """Of one panel."""

    panel = CodeFilter(field_name="panel", model=Panel)
