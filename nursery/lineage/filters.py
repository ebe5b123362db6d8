"""Filters of ramets and of what happened to them."""

from __future__ import annotations

from typing import Any

from django.db.models import Q, QuerySet

from nursery.core.filters import (
    CodeFilter,
    FilterSet,
    TextFilter,
    WhenFilter,
    WholeFilter,
    WordFilter,
    event_filters,
)
from nursery.donors.models import DonorColony, DonorSetMember, Genet, Taxon
from nursery.lineage.models import Ramet, Step, Tag
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
    """Ramets that carry this tag or once did."""

    def filter(self, qs: QuerySet[Any], value: str) -> Any:
        if not value:
            return qs
        return qs.filter(pk__in=Tag.objects.filter(text=value.upper()).values("ramet"))


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


class TouchedFilter(CodeFilter):
    """Events with a step in this place; `field_name` is the step's path to it."""

    def filter(self, qs: QuerySet[Any], value: int | None) -> Any:
        if value is None:
            return qs
        steps = Step.objects.filter(**{self.field_name: value})
        return qs.filter(pk__in=steps.values("event"))


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
