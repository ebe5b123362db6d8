"""Filters of ramets and of what happened to them."""

from __future__ import annotations

from datetime import date
from typing import Any, get_args
from uuid import UUID

import django_filters
from django import forms
from django.db.models import Q, QuerySet
from django.utils.translation import gettext_lazy
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema_field

from nursery.core.errors import Problem
from nursery.core.filters import (
    CodeFilter,
    FilterSet,
    TextFilter,
    WhenFilter,
    WholeFilter,
    WordFilter,
    event_filters,
)
from nursery.core.problems import ParameterRefused
from nursery.donors.models import DonorColony, DonorSetMember, Genet, Taxon
from nursery.lineage import resolve
from nursery.lineage.inputs import FateWord
from nursery.lineage.models import Fragmentation, Ramet, Step, StructureCount, Tag
from nursery.lineage.words import Life, Origin, Place, Purpose
from nursery.places.models import Nursery, Plot, Site, Structure, System


class GenetFilter(CodeFilter):
    """Ramets of a genet, and of those that turned out to be the same."""

    def filter(self, qs: QuerySet[Any], value: int | None) -> Any:
        if value is None:
            return qs
        canonical = Genet.objects.filter(pk=value).values_list("canonical_id", flat=True).get()
        same = canonical or value
        path = self.field_name
        return qs.filter(Q(**{path: same}) | Q(**{f"{path}__canonical": same}))


class DonorFilter(CodeFilter):
    """Ramets that came from a donor colony, through every cutting."""

    def filter(self, qs: QuerySet[Any], value: int | None) -> Any:
        if value is None:
            return qs
        sets = DonorSetMember.objects.filter(colony=value).values("donor_set")
        return qs.filter(**{f"{self.field_name}__in": sets})


class TagFilter(TextFilter):
    """Ramets that carry this tag or once did; with `on`, the one that carried it on that day."""

    def filter(self, qs: QuerySet[Any], value: str) -> Any:
        if not value:
            return qs
        day = self.parent.form.cleaned_data.get("on")
        if day is not None:
            return qs.filter(pk__in=resolve.ramet_ids([value], day).values())
        tags = Tag.objects.filter(text=value.upper(), live=True)
        return qs.filter(pk__in=tags.values("ramet"))


class DayField(forms.CharField):
    """One day: 2021-03-04."""

    def clean(self, value: Any) -> date | None:
        text = super().clean(value)
        return parse_day(text) if text else None


@extend_schema_field(OpenApiTypes.DATE)
class DayFilter(django_filters.Filter):  # type: ignore[misc]  # it carries no types
    """The day on which a tag is read; it chooses nothing by itself."""

    field_class = DayField

    def filter(self, qs: QuerySet[Any], value: date | None) -> Any:
        if value is not None and not self.parent.form.cleaned_data.get("tag"):
            raise ParameterRefused(
                Problem("on_without_tag", "on is the day of a tag: give tag too.", ("on",))
            )
        return qs


def parse_day(text: str) -> date:
    """A day as a parameter gives it; raises ParameterRefused (`date_malformed`)."""
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise ParameterRefused(
            Problem("date_malformed", "on is a day: 2021-03-04.", ("on",))
        ) from None


class RametFilters(FilterSet):
    """Which ramets: by descent, by what they are, and by where they are."""

    genet = GenetFilter(field_name="genet", model=Genet)
    taxon = CodeFilter(field_name="taxon", model=Taxon)
    donor = DonorFilter(field_name="donor_set", model=DonorColony)
    origin = WordFilter(field_name="origin", word=Origin)
    life = WordFilter(field_name="life", word=Life)
    purpose = WordFilter(field_name="purpose", word=Purpose)
    place = WordFilter(field_name="place", word=Place)
    nursery = CodeFilter(field_name="structure__nursery", model=Nursery)
    system = CodeFilter(field_name="structure__bay__system", model=System)
    structure = CodeFilter(field_name="structure", model=Structure)
    site = CodeFilter(field_name="plot__site", model=Site)
    plot = CodeFilter(field_name="plot", model=Plot)
    generation = WholeFilter(field_name="generation")
    generation__gte = WholeFilter(field_name="generation", lookup_expr="gte")
    generation__lte = WholeFilter(field_name="generation", lookup_expr="lte")
    born = WhenFilter(field_name="born__")
    tag = TagFilter()
    on = DayFilter()


class TouchedFilter(CodeFilter):
    """Events with a step in this place; `field_name` is the step's path to it."""

    def filter(self, qs: QuerySet[Any], value: int | None) -> Any:
        if value is None:
            return qs
        steps = Step.objects.filter(**{self.field_name: value})
        return qs.filter(pk__in=steps.values("event"))


class FateFilter(django_filters.ChoiceFilter):  # type: ignore[misc]
    """Endings by which ramets ended so."""

    def __init__(self) -> None:
        super().__init__(
            choices=[(word, gettext_lazy(Life.of(word).label)) for word in get_args(FateWord)]
        )

    def filter(self, qs: QuerySet[Any], value: str) -> Any:
        if not value:
            return qs
        steps = Step.objects.filter(life=Life.of(value))
        return qs.filter(pk__in=steps.values("event"))


class EitherGenetFilter(CodeFilter):
    """Merges of this genet: kept or merged."""

    def filter(self, qs: QuerySet[Any], value: int | None) -> Any:
        return qs if value is None else qs.filter(Q(kept=value) | Q(merged=value))


class CountedFilter(CodeFilter):
    """Counts of a structure."""

    def filter(self, qs: QuerySet[Any], value: int | None) -> Any:
        if value is None:
            return qs
        rows = StructureCount.objects.filter(**{self.field_name: value})
        return qs.filter(pk__in=rows.values("event"))


class LotFilter(django_filters.UUIDFilter):  # type: ignore[misc]
    """Counts of the lot that this cutting made."""

    def filter(self, qs: QuerySet[Any], value: UUID | None) -> Any:
        if value is None:
            return qs
        lots = Fragmentation.objects.filter(event__uid=value)
        rows = StructureCount.objects.filter(lot__in=lots)
        return qs.filter(pk__in=rows.values("event"))


def touched_filters() -> dict[str, Any]:
    """Filters by the ramets and places that an event's steps name."""
    return {
        "ramet": TouchedFilter(field_name="ramet", model=Ramet),
        "structure": TouchedFilter(field_name="structure", model=Structure),
        "nursery": TouchedFilter(field_name="structure__nursery", model=Nursery),
    }


AtNurseryFilters: type[FilterSet] = type(
    "AtNurseryFilters",
    (FilterSet,),
    {**event_filters(), "nursery": CodeFilter(field_name="nursery", model=Nursery)},
)
FragmentationFilters: type[FilterSet] = type(
    "FragmentationFilters",
    (FilterSet,),
    {
        **event_filters(),
        **touched_filters(),
        "genet": GenetFilter(field_name="genet", model=Genet),
        "taxon": CodeFilter(field_name="taxon", model=Taxon),
        "donor": DonorFilter(field_name="donor_set", model=DonorColony),
    },
)
MoveFilters: type[FilterSet] = type(
    "MoveFilters", (FilterSet,), {**event_filters(""), **touched_filters()}
)
StructureMoveFilters: type[FilterSet] = type(
    "StructureMoveFilters",
    (FilterSet,),
    {
        **event_filters(""),
        "structure": CodeFilter(field_name="structure_steps__structure", model=Structure),
    },
)
LiftFilters: type[FilterSet] = type(
    "LiftFilters", (FilterSet,), {**event_filters(""), **touched_filters()}
)
OF_RAMET: dict[str, Any] = {"ramet": TouchedFilter(field_name="ramet", model=Ramet)}
EndingFilters: type[FilterSet] = type(
    "EndingFilters",
    (FilterSet,),
    {
        **event_filters(),
        **OF_RAMET,
        "fate": FateFilter(),
        "into": CodeFilter(field_name="into", model=Ramet),
    },
)
CountFilters: type[FilterSet] = type(
    "CountFilters",
    (FilterSet,),
    {
        **event_filters(""),
        **OF_RAMET,
        "structure": CountedFilter(field_name="structure", model=Structure),
        "nursery": CountedFilter(field_name="structure__nursery", model=Nursery),
        "lot": LotFilter(),
    },
)
LossFilters: type[FilterSet] = type(
    "LossFilters",
    (FilterSet,),
    {
        **event_filters(""),
        **OF_RAMET,
        "structure": CodeFilter(field_name="structure_steps__structure", model=Structure),
    },
)
TaggingFilters: type[FilterSet] = type(
    "TaggingFilters", (FilterSet,), {**event_filters(""), **OF_RAMET}
)
RelabellingFilters: type[FilterSet] = type(
    "RelabellingFilters",
    (FilterSet,),
    {**event_filters(), **OF_RAMET, "genet": GenetFilter(field_name="genet", model=Genet)},
)
GenetMergeFilters: type[FilterSet] = type(
    "GenetMergeFilters", (FilterSet,), {**event_filters(), "genet": EitherGenetFilter(model=Genet)}
)
IdentificationFilters: type[FilterSet] = type(
    "IdentificationFilters", (FilterSet,), {**event_filters(""), **OF_RAMET}
)
