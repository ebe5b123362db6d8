"""The exact positions of donor colonies and loose collections. Only `positions.py` reads them."""

from __future__ import annotations

from typing import ClassVar

from django.conf import settings
from django.db import models
from django.db.models import Q

from nursery.core.models import Event


class Position(models.Model):
    """One exact position in WGS 84: decimal degrees, `uncertainty_m` in metres (null: unknown).

    Rows are never edited: a correction adds a row, and the newest one of a colony is in force.
    """

    colony = models.ForeignKey(
        "donors.DonorColony", on_delete=models.PROTECT, null=True, related_name="+"
    )
    event = models.ForeignKey(Event, on_delete=models.PROTECT, null=True, related_name="+")
    latitude = models.DecimalField(max_digits=10, decimal_places=7)
    longitude = models.DecimalField(max_digits=10, decimal_places=7)
    uncertainty_m = models.PositiveIntegerField(null=True)
    recorded_at = models.DateTimeField(auto_now_add=True)
    recorded_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+"
    )

    class Meta:
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=Q(colony__isnull=False, event__isnull=True)
                | Q(colony__isnull=True, event__isnull=False),
                name="donors_position_of_colony_or_event",
            ),
            models.CheckConstraint(
                condition=Q(latitude__range=(-90, 90), longitude__range=(-180, 180)),
                name="donors_position_on_earth",
            ),
        ]

    def __str__(self) -> str:
        # An exact position is never printed by accident.
        return f"position {self.pk}"
