"""Photos by API: listed, brought, looked at, closed."""

from __future__ import annotations

import datetime
import uuid
from collections.abc import Mapping
from typing import Any, ClassVar

from django.db.models import QuerySet
from django.http import FileResponse
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema, extend_schema_view
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.parsers import MultiPartParser
from rest_framework.request import Request
from rest_framework.response import Response

from nursery.core.actor import Role, require
from nursery.core.api.base import Listing
from nursery.core.errors import Problem, Refused
from nursery.core.filters import CodeFilter, FilterSet
from nursery.core.registers import find
from nursery.donors import photos
from nursery.donors.models import Collection, DonorColony, Photo
from nursery.donors.pictures import clean
from nursery.donors.views.photos import file_answer


class PhotoSerializer(serializers.ModelSerializer[Photo]):
    """What is known of a photo. Its file is at its address, with `file/` after it."""

    colony = serializers.CharField(source="colony.code", default=None, read_only=True)
    collection = serializers.UUIDField(
        source="collection.event.uid", default=None, read_only=True, help_text="its uid"
    )
    recorded_by = serializers.CharField(source="recorded_by.username", read_only=True)

    class Meta:
        model = Photo
        fields: ClassVar = [
            *("uid", "colony", "collection", "taken_on", "note", "width", "height"),
            *("recorded_at", "recorded_by", "closed_at"),
        ]


class PhotoWriteSerializer(serializers.Serializer[Any]):
    """A photo as it is brought. It is of a colony, of a collection, or of both."""

    photo = serializers.FileField(help_text="JPEG, PNG or WebP, at most 15 MB")
    colony = serializers.CharField(required=False, help_text="its code")
    collection = serializers.UUIDField(required=False, help_text="its uid")
    taken_on = serializers.DateField(required=False)
    note = serializers.CharField(required=False, help_text="what is to be seen on it")


class PhotoFilters(FilterSet):
    """Photos of one colony."""

    colony = CodeFilter(field_name="colony", model=DonorColony)


_FIELDS = frozenset({"photo", "colony", "collection", "taken_on", "note"})


@extend_schema_view(list=extend_schema(summary="List of photos that are not closed"))
class PhotoViewSet(Listing):
    """Photos of colonies and collections. Where they were taken is not in their files."""

    serializer_class = PhotoSerializer
    queryset = Photo.objects.none()
    filterset_class = PhotoFilters
    parser_classes = [MultiPartParser]
    lookup_field = "uid"
    lookup_value_regex = "[0-9a-f]{8}(?:-[0-9a-f]{4}){3}-[0-9a-f]{12}"
    ordering_fields: ClassVar = {"taken_on": "taken_on", "recorded_at": "recorded_at"}
    default_ordering = ("-taken_on", "-pk")
    known_parameters: ClassVar = {"file": ("small",)}

    def get_queryset(self) -> QuerySet[Photo]:
        return photos.shown().select_related("colony", "collection__event", "recorded_by")

    @extend_schema(summary="One photo")
    def retrieve(self, request: Request, uid: str) -> Response:
        return Response(self.get_serializer(photos.one(self.actor, uuid.UUID(uid))).data)

    @extend_schema(
        summary="Bring a photo",
        request={"multipart/form-data": PhotoWriteSerializer},
        responses={201: PhotoSerializer},
    )
    def create(self, request: Request) -> Response:
        require(self.actor, Role.FIELD, act=photos.ACT)
        given: Mapping[str, Any] = request.data  # type: ignore[assignment]  # a form, by its parser
        _refuse_strange(given)
        file = request.FILES.get("photo")
        if file is None:
            raise Refused(Problem("required", "Send the photo as a file.", ("photo",)))
        (kept,) = photos.keep(
            self.actor,
            [clean(file, file.size, file.name or "")],
            find(DonorColony, given["colony"]) if given.get("colony") else None,
            _collection(given.get("collection")),
            _day(given.get("taken_on")),
            given.get("note", ""),
        )
        headers = {"Location": f"{request.path}{kept.uid}/"}
        return Response(self.get_serializer(kept).data, status=201, headers=headers)

    @extend_schema(
        summary="The file of a photo",
        parameters=[OpenApiParameter("small", bool, description="the small copy")],
        responses={(200, "image/jpeg"): OpenApiTypes.BINARY},
    )
    @action(detail=True, methods=["get"])
    def file(self, request: Request, uid: str) -> FileResponse:
        small = request.query_params.get("small", "") in ("1", "true")
        return file_answer(photos.one(self.actor, uuid.UUID(uid)), small)

    @extend_schema(summary="Close a photo", request=None, responses={200: PhotoSerializer})
    @action(detail=True, methods=["post"])
    def close(self, request: Request, uid: str) -> Response:
        return Response(self.get_serializer(photos.close(self.actor, uuid.UUID(uid))).data)


def _refuse_strange(given: Mapping[str, Any]) -> None:
    strange = sorted(set(given) - _FIELDS)
    if strange:
        raise Refused([Problem("unknown_field", "There is no such field.", (n,)) for n in strange])


def _collection(uid: str | None) -> Collection | None:
    if not uid:
        return None
    try:
        row = (
            Collection.objects.select_related("colony", "event")
            .filter(event__uid=uuid.UUID(uid), event__live=True)
            .first()
        )
    except ValueError:
        row = None
    if row is None:
        raise Refused(
            Problem("unknown_collection", f"There is no collection {uid}.", ("collection",))
        )
    return row


def _day(text: str | None) -> datetime.date | None:
    if not text:
        return None
    try:
        return datetime.date.fromisoformat(text)
    except ValueError:
        message = "A day is written like this: 2021-03-04."
        raise Refused(Problem("date_malformed", message, ("taken_on",))) from None
