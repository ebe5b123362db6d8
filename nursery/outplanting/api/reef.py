"""The reef by API: outplantings, lifts, visits, and what was seen and counted."""

from __future__ import annotations

from typing import Any, ClassVar

from django.db.models import Prefetch, QuerySet
from drf_spectacular.utils import extend_schema, extend_schema_field, extend_schema_view
from rest_framework import serializers

from nursery.core.actor import Actor
from nursery.core.api.base import EventViewSet, Listing
from nursery.core.api.serializers import derived_queryset, derived_serializer
from nursery.core.models import Event, EventKind
from nursery.core.recording import Recorded
from nursery.lineage.api.events import SteppedViewSet, rows_of, steps_of
from nursery.lineage.filters import LiftFilters
from nursery.outplanting.actions import lift, plant, visit
from nursery.outplanting.filters import ObservationFilters, OutplantingFilters, VisitFilters
from nursery.outplanting.inputs import LiftIn, OutplantingIn, VisitIn
from nursery.outplanting.models import Observation, Outplant, Outplanting, PlotCount, Visit
from nursery.places.cells import Cell


@extend_schema_field({"type": ["string", "null"]})
class CellField(serializers.Field):  # type: ignore[type-arg]
    """The cell of `structure` that a ramet lived in when both were planted, `C7`."""

    def __init__(self, **options: Any) -> None:
        super().__init__(source="*", read_only=True, **options)

    def to_representation(self, value: Any) -> str | None:
        if value.row is None or value.column is None:
            return None
        return Cell(value.row, value.column).name


OutplantSerializer = derived_serializer(
    Outplant, hide={"outplanting", "row", "column"}, also={"cell": CellField()}
)
PlotCountSerializer = derived_serializer(PlotCount, hide={"visit"})
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
    also_detailed = {"outplants": rows_of(OutplantSerializer)}

    def act(self, actor: Actor, given: OutplantingIn) -> Recorded:
        return plant(actor, given)

    def get_queryset(self) -> QuerySet[Any]:
        return super().get_queryset().select_related("plot__site")

    def detailed(self, rows: QuerySet[Any]) -> QuerySet[Any]:
        outplants = Outplant.objects.select_related("ramet", "structure").order_by("pk")
        return rows.prefetch_related(Prefetch("outplants", queryset=outplants))


class LiftViewSet(SteppedViewSet):
    """Living outplants that were lifted from their plots, into structures or packed."""

    kind = EventKind.LIFT
    model = Event
    input_model = LiftIn
    filterset_class = LiftFilters
    also_detailed = {"steps": steps_of("")}

    def act(self, actor: Actor, given: LiftIn) -> Recorded:
        return lift(actor, given)


class VisitViewSet(EventViewSet):
    """Monitoring visits to a site or a reef. What was seen is never refused for disagreeing.

    `counts` are of whole plots: they change no ramet.
    """

    kind = EventKind.VISIT
    model = Visit
    input_model = VisitIn
    filterset_class = VisitFilters
    also_detailed = {
        "observations": rows_of(SeenSerializer),
        "counts": rows_of(PlotCountSerializer),
    }

    def act(self, actor: Actor, given: VisitIn) -> Recorded:
        return visit(actor, given)

    def detailed(self, rows: QuerySet[Any]) -> QuerySet[Any]:
        seen = derived_queryset(Observation, {"visit"}).order_by("pk")
        counted = derived_queryset(PlotCount, {"visit"}).order_by("pk")
        return rows.prefetch_related(
            Prefetch("observations", queryset=seen), Prefetch("counts", queryset=counted)
        )


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
