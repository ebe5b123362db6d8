"""How ramets end, by API: one by one, by count, or with the structure that held them."""

from __future__ import annotations

from typing import ClassVar

from rest_framework import serializers

from nursery.core.actor import Actor
from nursery.core.api.serializers import derived_serializer
from nursery.core.models import Event, EventKind
from nursery.core.recording import Recorded
from nursery.lineage.actions import count_structures, end_ramets, lose_structures
from nursery.lineage.api.events import (
    STANDINGS,
    SteppedViewSet,
    StructureStepSerializer,
    rows_of,
    steps_of,
)
from nursery.lineage.filters import CountFilters, EndingFilters, LossFilters
from nursery.lineage.inputs import CountIn, EndingIn, LossIn
from nursery.lineage.models import Ending, StructureCount

StructureCountSerializer = derived_serializer(
    StructureCount,
    hide={"event"},
    also={
        "lot": serializers.UUIDField(
            source="lot.event.uid",
            read_only=True,
            allow_null=True,
            help_text="the cutting that made the lot; null where all was counted",
        )
    },
)


class EndingViewSet(SteppedViewSet):
    """Ramets that ended: dead, lost, discarded, sampled, handed over, or fused into another."""

    kind = EventKind.ENDING
    model = Ending
    input_model = EndingIn
    filterset_class = EndingFilters
    also_detailed = {"steps": steps_of()}

    def act(self, actor: Actor, given: EndingIn) -> Recorded:
        return end_ramets(actor, given)


class CountViewSet(SteppedViewSet):
    """Structures that were counted. Only a count of a lot ends ramets: those in `steps`."""

    kind = EventKind.COUNT
    model = Event
    input_model = CountIn
    filterset_class = CountFilters
    also_detailed = {
        "counts": rows_of(StructureCountSerializer, "structure_counts"),
        "steps": steps_of(""),
    }
    further: ClassVar = {
        "structure_counts": StructureCount.objects.select_related(
            "structure", "lot__event"
        ).order_by("pk")
    }

    def act(self, actor: Actor, given: CountIn) -> Recorded:
        return count_structures(actor, given)


class StructureLossViewSet(SteppedViewSet):
    """Structures that were lost, with all that they held by then."""

    kind = EventKind.STRUCTURE_LOSS
    model = Event
    input_model = LossIn
    filterset_class = LossFilters
    also_detailed = {
        "structures": rows_of(StructureStepSerializer, "structure_steps"),
        "steps": steps_of(""),
    }
    further: ClassVar = {"structure_steps": STANDINGS}

    def act(self, actor: Actor, given: LossIn) -> Recorded:
        return lose_structures(actor, given)
