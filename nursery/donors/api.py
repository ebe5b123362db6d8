"""Donor registers by API: taxa, permits, genets, donor colonies.

A colony's position is shown as `nursery.donors.positions` lets the person see it, and nowhere else.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from nursery.core.api.answers import schema_of
from nursery.core.api.base import RegisterViewSet
from nursery.core.api.serializers import (
    TEXT_OR_NUMBER,
    AnySerializer,
    derived_serializer,
    write_serializer,
)
from nursery.core.models import Register
from nursery.core.plain import plain
from nursery.donors import positions
from nursery.donors.actions import enter_colony
from nursery.donors.models import DonorColony, Genet, Permit, Taxon

ROUNDED = frozenset({"rounded_latitude", "rounded_longitude", "uncertainty_m", "generalisation"})
"""The fields that a position is shown in place of."""


@extend_schema_field(schema_of(positions.Seen | None))
class PositionField(serializers.Field):  # type: ignore[type-arg]
    """A position as the person may see it, from the context's `positions` (by the row's key)."""

    def __init__(self, **options: Any) -> None:
        super().__init__(source="*", read_only=True, **options)

    def to_representation(self, value: Any) -> Any:
        return plain(self.context["positions"].get(value.pk))


class TaxonViewSet(RegisterViewSet):
    """Taxa: species, or genera where the species is not known."""

    model = Taxon


class PermitViewSet(RegisterViewSet):
    """Permits, by their number."""

    model = Permit


class GenetViewSet(RegisterViewSet):
    """Genets. `canonical` is the one that a genet turned out to be the same as."""

    model = Genet


class DonorViewSet(RegisterViewSet):
    """Donor colonies. `position` is exact for field staff and leads, rounded for all others."""

    model = DonorColony
    hide = ROUNDED
    serializer_class = derived_serializer(
        DonorColony, hide=ROUNDED, also={"position": PositionField()}
    )

    @classmethod
    def write_serializer_class(cls) -> type[AnySerializer]:
        half: dict[str, Any] = {"required": False, "help_text": TEXT_OR_NUMBER}
        return write_serializer(
            DonorColony,
            {
                "genet": serializers.CharField(
                    required=False, help_text="code; a presumed genet of its own if left out"
                ),
                "latitude": serializers.CharField(**half),
                "longitude": serializers.CharField(**half),
                "uncertainty_m": serializers.IntegerField(required=False, help_text="metres"),
            },
        )

    def about(self, rows: Sequence[Any]) -> dict[str, Any]:
        return {"positions": positions.of_colonies(self.actor, rows)}

    def enter(self, given: Mapping[str, Any]) -> Register:
        return enter_colony(self.actor, given)

    def change(self, row: Any, given: Mapping[str, Any], seen_version: int | None) -> Register:
        return enter_colony(self.actor, given, row, seen_version)
