"""Looking after what grows in the nurseries: checks and what was found by them.

No field may be called `check`: that is what Django calls its own inspection of a model.
"""

from __future__ import annotations

from typing import ClassVar

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_noop as _

from nursery.core.models import Event
from nursery.core.spoken import choices_of
from nursery.core.words import Word
from nursery.lineage.models import Ramet


class FindingState(Word):
    """How a ramet was found. Loose: it lives, but does not hold to its base yet or any more."""

    ATTACHED = 1, _("attached")
    LOOSE = 2, _("loose")
    DEAD = 3, _("dead")
    MISSING = 4, _("missing")


ALIVE = frozenset({FindingState.ATTACHED, FindingState.LOOSE})
"""The states of a living ramet."""


class Check(models.Model):
    """Particulars of a check: somebody looked at ramets in a nursery, one by one."""

    event = models.OneToOneField(
        Event, on_delete=models.PROTECT, primary_key=True, related_name="nursery_check"
    )

    def __str__(self) -> str:
        return f"check {self.event_id}"


class Finding(models.Model):
    """How one ramet was found by a check. Why a dead one died is said by its step."""

    # The foreign key's own index would be the beginning of the constraint's.
    during = models.ForeignKey(
        Check, on_delete=models.PROTECT, db_index=False, related_name="findings"
    )
    ramet = models.ForeignKey(Ramet, on_delete=models.PROTECT, related_name="findings")
    state = models.PositiveSmallIntegerField(choices=choices_of(FindingState))
    size_cm = models.DecimalField(max_digits=6, decimal_places=1, null=True)
    note = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering: ClassVar = ["id"]
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["during", "ramet"], name="husbandry_finding_once"),
            models.CheckConstraint(
                condition=Q(state__in=FindingState.numbers()), name="husbandry_finding_state"
            ),
            models.CheckConstraint(
                condition=Q(size_cm__isnull=True)
                | (Q(size_cm__gte=0) & ~Q(state=FindingState.MISSING)),
                name="husbandry_finding_size",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.ramet_id} {self.get_state_display()}"
