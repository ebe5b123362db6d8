"""Donor registers by API: taxa, permits, genets, donor colonies.

A colony's position is shown as `nursery.donors.positions` lets the person see it, and nowhere else.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from drf_spectacular.utils import extend_schema, extend_schema_field
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from nursery.core.api.answers import schema_of
from nursery.core.api.base import RegisterViewSet
from nursery.core.api.serializers import AnySerializer, derived_serializer, write_serializer
from nursery.core.models import Register
from nursery.core.plain import plain
from nursery.donors import positions
from nursery.donors.actions import enter_colony
from nursery.donors.models import DonorColony, Genet, Permit, Taxon
from nursery.lineage import queries as lineage
from nursery.lineage.api.ramets import Descendants, DescentSerializer

ROUNDED = frozenset({"rounded_latitude", "rounded_longitude", "uncertainty_m", "generalisation"})


@extend_schema_field(schema_of(positions.Seen | None))
class PositionField(serializers.Field):  # type: ignore[type-arg]
    """A position as the person may see it, from the context's `positions` (by key)."""

    def __init__(self, **options: Any) -> None:
        super().__init__(source="*", read_only=True, **options)

    def to_representation(self, value: Any) -> Any:
        return plain(self.context["positions"].get(value.pk))
