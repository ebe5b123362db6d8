"""Events of every kind, code series, and the history of registers."""

from __future__ import annotations

import uuid
from typing import Any, ClassVar

from django.db.models import QuerySet
from drf_spectacular.utils import extend_schema, extend_schema_view
from rest_framework.exceptions import NotFound
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from nursery.core.actor import Actor
from nursery.core.api.base import Listing
from nursery.core.api.serializers import derived_queryset, derived_serializer, header_fields
from nursery.core.errors import NotAllowed, Problem, Unknown
from nursery.core.filters import FilterSet, KindFilter, TextFilter, event_filters
from nursery.core.models import Change, CodeSeries, Event

EventSerializer = derived_serializer(Event, hide={"digest", "moment"}, first=header_fields(""))
ChangeSerializer = derived_serializer(Change, hide={"row_id"})
SeriesSerializer = derived_serializer(CodeSeries)

EventFilters: type[FilterSet] = type(
    "EventFilters", (FilterSet,), {"kind": KindFilter(field_name="kind"), **event_filters("")}
)


class ChangeFilters(FilterSet):
    """Of which register, which row, by whom."""

    register = TextFilter(field_name="register", lookup_expr="iexact")
    code = TextFilter(field_name="code", lookup_expr="iexact")
    by = TextFilter(field_name="by__username", lookup_expr="iexact")


@extend_schema_view(list=extend_schema(summary="Events of every kind, newest first"))
class AnyEventViewSet(Listing):
    """The headers of all events; each kind has its own list with its particulars."""

    serializer_class = EventSerializer
    queryset = Event.objects.none()
    filterset_class = EventFilters
    lookup_field = "uid"
    lookup_value_regex = "[^/]+"
    ordering_fields: ClassVar = {"when": "earliest", "recorded_at": "recorded_at"}
    default_ordering = ("-earliest", "-pk")

    def get_queryset(self) -> QuerySet[Event]:
        return Event.objects.select_related("recorded_by").prefetch_related("permit_links__permit")

    @extend_schema(summary="One event's header")
    def retrieve(self, request: Request, uid: str) -> Response:
        """An event of any kind by its uid."""
        try:
            row = self.get_queryset().filter(uid=uuid.UUID(uid)).first()
        except ValueError:
            row = None
        if row is None:
            raise Unknown(Problem("unknown_event", "There is no such event."))
        return Response(self.get_serializer(row).data)


@extend_schema_view(list=extend_schema(summary="Code series"))
class SeriesViewSet(Listing):
    """The series that ramet codes come from; `next_number` has not been given yet."""

    serializer_class = SeriesSerializer
    queryset = CodeSeries.objects.order_by("prefix")
    ordering_fields: ClassVar = {"prefix": "prefix"}


@extend_schema_view(list=extend_schema(summary="Changes of registers, newest first"))
class ChangeViewSet(Listing):
    """Who changed what in a register, before and after. For leads."""

    serializer_class = ChangeSerializer
    queryset = Change.objects.none()
    filterset_class = ChangeFilters
    ordering_fields: ClassVar = {"at": "at"}

    def get_queryset(self) -> QuerySet[Any]:
        _require_lead(self.actor)
        return derived_queryset(Change, {"row_id"})


class NoSuchAddress(APIView):
    """Whatever is under the API's address and nothing else answers to."""

    schema = None

    def initial(self, request: Request, *args: Any, **kwargs: Any) -> None:
        super().initial(request, *args, **kwargs)
        hint = "" if request.path.endswith("/") else " Addresses of the API end with a slash."
        raise NotFound(f"There is nothing at this address.{hint}")


def _require_lead(actor: Actor) -> None:
    if not actor.leads:
        raise NotAllowed(Problem("not_allowed", f"{actor.name} may not read the history."))
