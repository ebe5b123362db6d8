"""The reef by API: outplantings, visits, and what was seen."""

from __future__ import annotations

from typing import Any, ClassVar, cast

from django.db.models import Prefetch, QuerySet
from drf_spectacular.utils import extend_schema, extend_schema_view
from rest_framework import serializers

from nursery.core.actor import Actor
from nursery.core.api.base import EventViewSet, Listing
from nursery.core.api.serializers import derived_queryset, derived_serializer
from nursery.core.models import EventKind
from nursery.core.recording import Recorded
from nursery.outplanting.actions import plant, visit
from nursery.outplanting.filters import ObservationFilters, OutplantingFilters, VisitFilters
from nursery.outplanting.inputs import OutplantingIn, VisitIn
from nursery.outplanting.models import Observation, Outplant, Outplanting, Visit

OutplantSerializer = derived_serializer(Outplant, hide={"outplanting"})
SeenSerializer = derived_serializer(Observation, name="Seen", hide={"visit"})
ObservationSerializer = derived_serializer(
    Observation,
    first={
        "visit": serializers.UUIDField(source="visit.event.uid", read_only=True),
        "when": serializers.CharField(source="visit.event.when", read_only=True),
    },
)


class OutplantingViewSet(EventViewSet):
    """Outplantings: ramets planted in one plot."""

    kind = EventKind.OUTPLANTING
    model = Outplanting
    input_model = OutplantingIn
    filterset_class = OutplantingFilters
    also = {"site": serializers.CharField(source="plot.site.code", read_only=True)}
    also_detailed = {
        "outplants": cast(
            "serializers.Field[Any, Any, Any, Any]", OutplantSerializer(many=True, read_only=True)
        )
    }

    def act(self, actor: Actor, given: OutplantingIn) -> Recorded:
        return plant(actor, given)

    def get_queryset(self) -> QuerySet[Any]:
        return super().get_queryset().select_related("plot__site")

    def detailed(self, rows: QuerySet[Any]) -> QuerySet[Any]:
        outplants = Outplant.objects.select_related("ramet").order_by("pk")
        return rows.prefetch_related(Prefetch("outplants", queryset=outplants))


class VisitViewSet(EventViewSet):
    """Monitoring visits to a site or a reef. What was seen is never refused for disagreeing."""

    kind = EventKind.VISIT
    model = Visit
    input_model = VisitIn
    filterset_class = VisitFilters
    also_detailed = {
        "observations": cast(
            "serializers.Field[Any, Any, Any, Any]", SeenSerializer(many=True, read_only=True)
        )
    }

    def act(self, actor: Actor, given: VisitIn) -> Recorded:
        return visit(actor, given)

    def detailed(self, rows: QuerySet[Any]) -> QuerySet[Any]:
        seen = derived_queryset(Observation, {"visit"}).order_by("pk")
        return rows.prefetch_related(Prefetch("observations", queryset=seen))


@extend_schema_view(list=extend_schema(summary="What was seen, newest visit first"))
class ObservationViewSet(Listing):
    """Observations of all visits. They are entered with their visit."""

    serializer_class = ObservationSerializer
    queryset = Observation.objects.none()
    filterset_class = ObservationFilters
    ordering_fields: ClassVar = {"when": "visit__event__earliest"}
    default_ordering = ("-visit__event__earliest", "-pk")

    def get_queryset(self) -> QuerySet[Any]:
        rows = derived_queryset(Observation, {"visit"}).filter(visit__event__live=True)
        return rows.select_related("visit__event")
