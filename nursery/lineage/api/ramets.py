"""Ramets by API: the list, one of them, where it came from and where it went."""

from __future__ import annotations

from typing import Any, ClassVar

from django.db.models import Prefetch, QuerySet
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import (
    OpenApiParameter,
    extend_schema,
    extend_schema_field,
    extend_schema_view,
)
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from nursery.core.api.answers import schema_of
from nursery.core.api.base import Listing
from nursery.core.api.serializers import derived_serializer
from nursery.core.paging import Paging
from nursery.core.plain import plain
from nursery.donors import queries as donors
from nursery.donors.models import DonorSetMember
from nursery.lineage import queries, resolve
from nursery.lineage.filters import RametFilters, parse_day
from nursery.lineage.models import Ramet, Tag
from nursery.lineage.queries import Descent, PlaceView, Trace, place_view
from nursery.lineage.words import Place
from nursery.outplanting.queries import trace

_REPLACED = frozenset(
    [
        "collection",
        "fragmentation",
        "donor_set",
        "structure",
        "row",
        "column",
        "plot",
        "steps_taken",
        "not_before",
        "rebased",
        "entered_genet",
    ]
)
"""Fields that are shown in another form, or are the ledger's own."""


@extend_schema_field(schema_of(PlaceView))
class PlaceField(serializers.Field):  # type: ignore[type-arg]
    """Where a ramet is, or was when it ended; of a step, where it put the ramet."""

    def __init__(self, **options: Any) -> None:
        super().__init__(source="*", read_only=True, **options)

    def to_representation(self, value: Any) -> Any:
        if value.place is None:
            return None
        place = Place(value.place)
        return plain(place_view(place, value.structure, value.row, value.column, value.plot))


@extend_schema_field({"type": "array", "items": {"type": "string"}})
class DonorCodes(serializers.Field):  # type: ignore[type-arg]
    """The codes of the donor colonies that a row came from; none where that is not known."""

    def __init__(self, **options: Any) -> None:
        super().__init__(source="*", read_only=True, **options)

    def to_representation(self, value: Any) -> list[str]:
        members = value.donor_set.members.all() if value.donor_set is not None else ()
        return sorted(member.colony.code for member in members)


@extend_schema_field({"type": ["string", "null"]})
class GenetCode(serializers.Field):  # type: ignore[type-arg]
    """The code of a genet, or of the one that it turned out to be the same as."""

    def to_representation(self, value: Any) -> str:
        return str((value.canonical or value).code)


@extend_schema_field({"type": "array", "items": {"type": "string"}})
class TagTexts(serializers.Field):  # type: ignore[type-arg]
    """The tags that are on a ramet now."""

    def to_representation(self, value: Any) -> list[str]:
        return [tag.text for tag in value.all()]


def _ramet_serializer(name: str) -> type[serializers.Serializer[Any]]:
    return derived_serializer(
        Ramet,
        name=name,
        hide=_REPLACED,
        also={
            "genet": GenetCode(read_only=True, allow_null=True),
            "donors": DonorCodes(),
            "place": PlaceField(),
            "base_now": serializers.CharField(
                read_only=True, help_text="what it sits on now; `base` is what it was born on"
            ),
            "tags": TagTexts(read_only=True),
            "born_when": serializers.CharField(source="born.when", read_only=True),
        },
    )


RametSerializer = _ramet_serializer("Ramet")
DescendantSerializer = _ramet_serializer("Descendant")


def shown_ramets(ramets: QuerySet[Ramet]) -> QuerySet[Ramet]:
    """The ramets with all that is shown of them: three queries however many there are."""
    in_force = Tag.objects.filter(until__isnull=True, live=True).order_by("text")
    return ramets.select_related(
        "taxon", "genet__canonical", "born", "donor_set", "structure__nursery", "plot__site"
    ).prefetch_related(
        Prefetch("donor_set__members", queryset=DonorSetMember.objects.select_related("colony")),
        Prefetch("tags", queryset=in_force),
    )


class RametListing(Listing):
    """A list of ramets."""

    serializer_class = RametSerializer
    queryset = Ramet.objects.none()
    filterset_class = RametFilters
    lookup_field = "code"
    lookup_value_regex = "[^/]+"
    ordering_fields: ClassVar = {
        "code": "code",
        "generation": "generation",
        "born": "born__earliest",
    }
    default_ordering = ("pk",)


@extend_schema_view(list=extend_schema(summary="List of ramets"))
class RametViewSet(RametListing):
    """Ramets. One is named by its code, by a tag that it carries or carried, or by its place.

    Tags change hands and cells change their holders: with `on`, a day, it is the ramet that the tag
    or the place named then. What is told of it is what it is now.
    """

    known_parameters = {"retrieve": ("on",)}

    def get_queryset(self) -> QuerySet[Ramet]:
        return shown_ramets(Ramet.objects.all())

    @extend_schema(
        summary="One ramet",
        parameters=[
            OpenApiParameter(
                "on", OpenApiTypes.DATE, description="the day of the tag or place; now if left out"
            )
        ],
    )
    def retrieve(self, request: Request, code: str) -> Response:
        """A ramet as it is now. A name that nothing has is answered with near ones that exist."""
        text = request.query_params.get("on")
        day = parse_day(text) if text is not None else None
        row = self.get_queryset().get(pk=resolve.one(code, day).pk)
        return Response(self.listed([row])[0])

    @extend_schema(summary="Where it came from", responses={200: schema_of(Trace)})
    @action(detail=True)
    def trace(self, request: Request, code: str) -> Response:
        """Every step back to the wild, with gaps told; donor positions as you may see them."""
        return Response(plain(trace(self.actor, code)))


class DescentPaging(Paging):
    """A page of descendants, with the counts of all that were asked for."""

    def get_paginated_response_schema(self, schema: dict[str, Any]) -> dict[str, Any]:
        whole: dict[str, Any] = super().get_paginated_response_schema(schema)
        whole["properties"]["summary"] = schema_of(Descent)
        return whole


class Descendants(RametListing):
    """Base of the three questions where something went."""

    serializer_class = DescendantSerializer
    pagination_class = DescentPaging

    def descendants(self, code: str) -> QuerySet[Ramet]:
        """The ramets that came from the thing of this code; raises Unknown."""
        raise NotImplementedError

    def list(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """Descendants; `summary` counts all that the filters leave, by state and by place."""
        found = self.descendants(self.kwargs["code"])
        response = self.page_of(shown_ramets(found))
        counted = self.filter_queryset(found)
        response.data["summary"] = plain(queries.summary(counted))
        return response


@extend_schema_view(list=extend_schema(summary="Ramets cut from a ramet, directly or not"))
class RametDescendants(Descendants):
    """Where did this ramet go?"""

    def descendants(self, code: str) -> QuerySet[Ramet]:
        return queries.of_ramet(resolve.one(code))


@extend_schema_view(list=extend_schema(summary="Ramets from a donor colony"))
class DonorDescendants(Descendants):
    """Where did this colony go?"""

    def descendants(self, code: str) -> QuerySet[Ramet]:
        return queries.of_donor(donors.colony(code))


@extend_schema_view(list=extend_schema(summary="Ramets of a genet"))
class GenetDescendants(Descendants):
    """Where is this genet?"""

    def descendants(self, code: str) -> QuerySet[Ramet]:
        return queries.of_genet(donors.genet(code))
