"""Places by API: reefs, nurseries and their water, structures, sites and plots."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from nursery.core.api.base import RegisterViewSet
from nursery.core.api.serializers import AnySerializer, derived_serializer, write_serializer
from nursery.core.models import Register
from nursery.lineage.actions import edit_structure
from nursery.places.actions import enter_nursery, enter_structure
from nursery.places.cells import Cell
from nursery.places.filters import StructureFilters
from nursery.places.models import Bay, Nursery, Plot, Reef, Site, Structure, System

_PARENT_CELL = frozenset({"parent_row", "parent_column"})


@extend_schema_field({"type": ["string", "null"]})
class ParentCellField(serializers.Field):  # type: ignore[type-arg]
    """The cell of `parent` that a structure stands in, `C7`."""

    def __init__(self, **options: Any) -> None:
        super().__init__(source="*", read_only=True, **options)

    def to_representation(self, value: Any) -> str | None:
        if value.parent_row is None or value.parent_column is None:
            return None
        return Cell(value.parent_row, value.parent_column).name


class ReefViewSet(RegisterViewSet):
    """Reefs that colonies stand on."""

    model = Reef


class NurseryViewSet(RegisterViewSet):
    """Nurseries. `series` is the letters that codes of ramets cut there begin with."""

    model = Nursery

    @classmethod
    def write_serializer_class(cls) -> type[AnySerializer]:
        series = serializers.CharField(required=False, max_length=4)
        return write_serializer(Nursery, {"series": series})

    def enter(self, given: Mapping[str, Any]) -> Register:
        return enter_nursery(self.actor, given)

    def change(self, row: Any, given: Mapping[str, Any], seen_version: int | None) -> Register:
        return enter_nursery(self.actor, given, row, seen_version)


class SystemViewSet(RegisterViewSet):
    """Systems: each one body of shared water."""

    model = System


class BayViewSet(RegisterViewSet):
    """Bays: tanks, raceways and sea-bed blocks."""

    model = Bay


class StructureViewSet(RegisterViewSet):
    """Structures: what holds ramets. Where one stands is told by structure moves."""

    model = Structure
    hide = _PARENT_CELL
    filterset_class = StructureFilters
    serializer_class = derived_serializer(
        Structure,
        hide=_PARENT_CELL,
        also={"parent_cell": ParentCellField()},
    )

    def enter(self, given: Mapping[str, Any]) -> Register:
        return enter_structure(self.actor, given, None)

    def change(self, row: Any, given: Mapping[str, Any], seen_version: int | None) -> Register:
        return edit_structure(self.actor, row, given, seen_version)


class SiteViewSet(RegisterViewSet):
    """Outplant sites."""

    model = Site


class PlotViewSet(RegisterViewSet):
    """Plots of outplant sites."""

    model = Plot
