"""Filters of places that do not follow from the model alone."""

from __future__ import annotations

from nursery.core.filters import CodeFilter, register_filters
from nursery.places.models import Structure, System


class StructureFilters(register_filters(Structure)):  # type: ignore[misc]  # made from the model
    """Structures also by the water they stand in."""

    system = CodeFilter(field_name="bay__system", model=System)
