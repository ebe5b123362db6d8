"""Filters of checks and findings."""

from __future__ import annotations

from django_filters import UUIDFilter

from nursery.core.filters import CodeFilter, FilterSet, WhenFilter, WordFilter, event_filters
from nursery.donors.models import Genet, Taxon
from nursery.husbandry.models import FindingState
from nursery.lineage.filters import GenetFilter
from nursery.lineage.models import Ramet
from nursery.places.models import Structure

CheckFilters: type[FilterSet] = type(
    "CheckFilters",
    (FilterSet,),
    {**event_filters(), "ramet": CodeFilter(field_name="findings__ramet", model=Ramet)},
)


class FindingFilters(FilterSet):
    """Of what, when, how it was found, and in which structure it is now or was last."""

    check = UUIDFilter(field_name="during__event__uid")
    when = WhenFilter(field_name="during__event__")
    ramet = CodeFilter(field_name="ramet", model=Ramet)
    structure = CodeFilter(field_name="ramet__structure", model=Structure)
    genet = GenetFilter(field_name="ramet__genet", model=Genet)
    taxon = CodeFilter(field_name="ramet__taxon", model=Taxon)
    state = WordFilter(field_name="state", word=FindingState)
