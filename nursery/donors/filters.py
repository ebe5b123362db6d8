"""Filters of collections: where they came from. There is none for positions, and no ordering."""

from __future__ import annotations

from nursery.core.filters import CodeFilter, FilterSet, event_filters
from nursery.donors.models import DonorColony, Genet, Taxon
from nursery.places.models import Reef

CollectionFilters: type[FilterSet] = type(
    "CollectionFilters",
    (FilterSet,),
    {
        **event_filters(),
        "colony": CodeFilter(field_name="colony", model=DonorColony),
        "genet": CodeFilter(field_name="genet", model=Genet),
        "reef": CodeFilter(field_name="reef", model=Reef),
        "taxon": CodeFilter(field_name="taxon", model=Taxon),
    },
)
