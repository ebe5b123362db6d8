"""What all parts of the API stand on: registers, events, and how each is described."""

from __future__ import annotations

import uuid
from collections.abc import Mapping, Sequence
from typing import Any, ClassVar, Literal

from django.db import models
from django.db.models import QuerySet
from drf_spectacular.openapi import AutoSchema
from drf_spectacular.utils import OpenApiParameter, extend_schema, extend_schema_view
from rest_framework import serializers
from rest_framework.exceptions import NotFound
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.viewsets import GenericViewSet

from nursery.access.actors import actor_of
from nursery.core import registers
from nursery.core.actor import Actor
from nursery.core.api.serializers import (
    AnyField,
    AnySerializer,
    derived_queryset,
    derived_serializer,
    event_queryset,
    header_fields,
    write_serializer,
)
from nursery.core.errors import Conflict, Problem, Refused, Trouble, Unknown
from nursery.core.filters import FilterSet, refuse_unknown, register_filters
from nursery.core.inputs import EventIn, read
from nursery.core.models import Event, EventKind, Register
from nursery.core.problems import CONTENT_TYPE, ProblemSerializer
from nursery.core.recording import Recorded

METHODS = ["get", "post", "patch", "head"]
IF_MATCH = OpenApiParameter(
    "If-Match",
    str,
    OpenApiParameter.HEADER,
    description="The ETag of the row that was looked at; 412 if somebody has saved it since.",
)


class Outdated(Trouble):
    """What the call says that it looked at is not what there is any more (RFC 9110, If-Match)."""

    status = 412
    title = "Changed meanwhile"


class Schema(AutoSchema):
    """Describes an endpoint; every one may answer with a problem."""

    def _get_response_bodies(
        self, direction: Literal["request", "response"] = "response"
    ) -> dict[str, Any]:
        bodies: dict[str, Any] = super()._get_response_bodies(direction)
        bodies["4XX"] = self._get_response_for_code(  # type: ignore[no-untyped-call]
            ProblemSerializer, "4XX", media_types=[CONTENT_TYPE], direction=direction
        )
        return bodies


def body_of(request: Request) -> Mapping[str, Any]:
    """What was sent; refuses (`not_an_object`) anything but one JSON object."""
    if not isinstance(request.data, Mapping):
        raise Refused(Problem("not_an_object", "Send one JSON object: {…}."))
    return request.data


class Api(GenericViewSet[Any]):
    """Base of all endpoints: nothing is deleted, and no parameter is ignored."""

    http_method_names = METHODS
    metadata_class = None
    schema = Schema()

    known_parameters: ClassVar[Mapping[str, tuple[str, ...]]] = {}
    """The parameters of each action that gives no list; none unless named here."""
    more_lists: ClassVar[frozenset[str]] = frozenset()
    """Actions besides `list` that filter, order and page."""
    default_ordering: ClassVar[tuple[str, ...]] = ()
    ordering_fields: ClassVar[Mapping[str, str]] = {}

    @property
    def actor(self) -> Actor:
        return actor_of(self.request)

    @property
    def default_response_headers(self) -> dict[str, str]:
        # What one person may see (exact positions) is not for the next one at the same machine.
        return {**super().default_response_headers, "Cache-Control": "private, no-store"}

    def initial(self, request: Request, *args: Any, **kwargs: Any) -> None:
        super().initial(request, *args, **kwargs)
        if any("\x00" in str(value) for value in kwargs.values()):
            # PostgreSQL cannot even be asked for such a text.
            raise NotFound("There is nothing of that name.")
        if self.action != "list" and self.action not in self.more_lists:
            refuse_unknown(request, self.known_parameters.get(self.action or "", ()))

    def about(self, rows: Sequence[Any]) -> dict[str, Any]:
        """What the serializer needs to know of all rows together: its further context."""
        return {}

    def listed(self, rows: Sequence[Any]) -> Any:
        """Rows as a list shows them."""
        context = {**self.get_serializer_context(), **self.about(rows)}
        return self.get_serializer_class()(rows, many=True, context=context).data


class Listing(Api):
    """An endpoint with a list: filtered, ordered, in pages."""

    def list(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        return self.page_of(self.get_queryset())

    def page_of(self, rows: QuerySet[Any]) -> Response:
        """One page of the rows that the parameters ask for."""
        page = self.paginate_queryset(self.filter_queryset(rows))
        return self.get_paginated_response(self.listed(page or []))


class RegisterViewSet(Listing):
    """A register: list, look up by code (in any case), enter, edit. Never deleted.

    A PATCH may carry `version`, the version that was looked at: where somebody has saved since, it
    is refused (409 `edited_meanwhile`). So it is by `If-Match` with the `ETag` of the row that was
    looked at (412 `edited_meanwhile`).
    """

    model: ClassVar[type[Register]]
    hide: ClassVar[frozenset[str]] = frozenset()
    lookup_field = "code"
    lookup_value_regex = "[^/]+"
    writes: ClassVar[bool] = True

    def __init_subclass__(cls, **options: Any) -> None:
        super().__init_subclass__(**options)
        if "model" not in cls.__dict__:
            return
        if "serializer_class" not in cls.__dict__:
            cls.serializer_class = derived_serializer(cls.model, hide=cls.hide)
        if "filterset_class" not in cls.__dict__:
            cls.filterset_class = register_filters(cls.model)
        if not cls.ordering_fields:
            names = {field.name for field in cls.model._meta.fields}
            cls.ordering_fields = {
                name: name for name in ("code", "name", "closed_on") if name in names
            }
        sent = cls.write_serializer_class()
        shown = cls.serializer_class
        title = cls.model._meta.verbose_name
        extend_schema_view(
            list=extend_schema(summary=f"List of {cls.model._meta.verbose_name_plural}"),
            retrieve=extend_schema(summary=f"One {title}"),
            create=extend_schema(summary=f"Enter a {title}", request=sent, responses={201: shown}),
            partial_update=extend_schema(
                summary=f"Edit a {title}",
                request=_with_version(sent),
                responses={200: shown},
                parameters=[IF_MATCH],
            ),
        )(cls)

    filterset_class: ClassVar[type[FilterSet]]

    @classmethod
    def write_serializer_class(cls) -> type[AnySerializer]:
        """The form of what may be sent, for the description."""
        return write_serializer(cls.model)

    def get_queryset(self) -> QuerySet[Any]:
        return derived_queryset(self.model, self.hide)

    def get_object(self) -> Any:
        """The row of the code in the address; raises Unknown (`unknown_<register>`)."""
        return registers.find(self.model, self.kwargs["code"])

    def shown(self, row: Register) -> dict[str, Any]:
        """A row as it stands now, as the list shows it."""
        found: dict[str, Any] = self.listed([self.get_queryset().get(pk=row.pk)])[0]
        return found

    def enter(self, given: Mapping[str, Any]) -> Register:
        """Enter a row; a register with an action of its own overrides this."""
        return registers.create(self.actor, self.model, given)

    def change(self, row: Any, given: Mapping[str, Any], seen_version: int | None) -> Register:
        """Edit a row; a register with an action of its own overrides this."""
        changed: Register = registers.edit(self.actor, row, given, seen_version)
        return changed

    def retrieve(self, request: Request, code: str) -> Response:
        row = self.get_object()
        return Response(self.shown(row), headers={"ETag": etag(row)})

    def create(self, request: Request) -> Response:
        row = self.enter(body_of(request))
        headers = {"Location": f"{request.path}{row.code}/", "ETag": etag(row)}
        return Response(self.shown(row), status=201, headers=headers)

    def partial_update(self, request: Request, code: str) -> Response:
        given = dict(body_of(request))
        seen = given.pop("version", None)
        if seen is not None and (isinstance(seen, bool) or not isinstance(seen, int)):
            raise Refused(Problem("not_a_number", "version is a whole number.", ("version",)))
        row = self.get_object()
        matched = _matched(request, row)
        try:
            row = self.change(row, given, matched if seen is None else seen)
        except Conflict as conflict:
            # Somebody saved between the look at the tag and the lock.
            if conflict.code == "edited_meanwhile" and seen is None and matched is not None:
                raise Outdated(conflict.problems) from conflict
            raise
        return Response(self.shown(row), headers={"ETag": etag(row)})


def etag(row: Register) -> str:
    """Which version of a register's row this is.

    It stands for what people edit, not for what the ledger counts: nothing is cached by it.
    """
    return f'"{row.version}"'


def _matched(request: Request, row: Register) -> int | None:
    """The version that the call says it looked at, or None where it says nothing.

    Raises Outdated (`edited_meanwhile`) where it is not the one that there is.
    """
    text = request.headers.get("If-Match")
    if text is None or text.strip() == "*":
        return None
    if etag(row) in (part.strip() for part in text.split(",")):
        return row.version
    message = f"{row.code} was changed since you looked: it is {etag(row)} now. Look at it again."
    raise Outdated(Problem("edited_meanwhile", message))


class EventViewSet(Listing):
    """Events of one kind: list, look up by uid, enter.

    A POST with a `uid` may be repeated: the same entry by the same person is answered 200 with the
    event as it stands; another one under that uid 409 (`uid_taken`).

    `model` holds the particulars, or is `Event` itself where a kind has none of its own.
    """

    kind: ClassVar[EventKind]
    model: ClassVar[type[models.Model]]
    hide: ClassVar[frozenset[str]] = frozenset()
    input_model: ClassVar[type[EventIn]]
    also: ClassVar[Mapping[str, AnyField]] = {}
    """Fields shown everywhere besides the derived ones."""
    also_detailed: ClassVar[Mapping[str, AnyField]] = {}
    """Fields shown of one event, not in the list."""
    detail_serializer_class: ClassVar[type[AnySerializer]]
    filterset_class: ClassVar[type[FilterSet]]
    lookup_field = "uid"
    lookup_value_regex = "[^/]+"

    def __init_subclass__(cls, **options: Any) -> None:
        super().__init_subclass__(**options)
        if "kind" not in cls.__dict__:
            return
        path = cls.path()
        name = "".join(part.capitalize() for part in cls.kind.word.split("_"))
        hide = {"event", "digest", "moment", *cls.hide}
        cls.serializer_class = derived_serializer(
            cls.model, name=name, hide=hide, first=header_fields(path), also=cls.also
        )
        cls.detail_serializer_class = derived_serializer(
            cls.model,
            name=f"{name}Detail",
            hide=hide,
            first=header_fields(path),
            also={**cls.also, **cls.also_detailed},
        )
        header = f"{path}__" if path else ""
        cls.ordering_fields = {
            "when": f"{header}earliest",
            "recorded_at": f"{header}recorded_at",
        }
        cls.default_ordering = (f"-{header}earliest", "-pk")
        words = cls.kind.label
        shown = cls.detail_serializer_class
        extend_schema_view(
            list=extend_schema(summary=f"List: {words}, newest first"),
            retrieve=extend_schema(summary=f"One {words}", responses={200: shown}),
            create=extend_schema(
                summary=f"Enter: {words}",
                request=cls.input_model,
                responses={201: shown, 200: shown},
            ),
        )(cls)

    @classmethod
    def path(cls) -> str:
        """The way from a row to its header; empty where the row is the header."""
        return "" if cls.model is Event else "event"

    def act(self, actor: Actor, given: Any) -> Recorded:
        """The action behind a POST."""
        raise NotImplementedError

    def get_queryset(self) -> QuerySet[Any]:
        rows = event_queryset(self.model, self.path(), self.hide)
        return rows if self.path() else rows.filter(kind=self.kind)

    def detailed(self, rows: QuerySet[Any]) -> QuerySet[Any]:
        """The rows with what only one event's own page shows."""
        return rows

    def shown(self, found: QuerySet[Any]) -> dict[str, Any] | None:
        """The one event of `found`, with all that is known of it; None if there is none."""
        row = self.detailed(found).first()
        if row is None:
            return None
        context = {**self.get_serializer_context(), **self.about([row])}
        return dict(self.detail_serializer_class(row, context=context).data)

    def retrieve(self, request: Request, uid: str) -> Response:
        """The event of the uid in the address; raises Unknown (`unknown_event`)."""
        try:
            key = uuid.UUID(uid)
        except ValueError:
            key = uuid.UUID(int=0)
        found = {"event__uid" if self.path() else "uid": key}
        shown = self.shown(self.get_queryset().filter(**found))
        if shown is None:
            raise Unknown(Problem("unknown_event", f"There is no such {self.kind.label}."))
        return Response(shown)

    def create(self, request: Request) -> Response:
        given = read(self.input_model, body_of(request))
        recorded = self.act(self.actor, given)
        return Response(
            self.shown(self.get_queryset().filter(pk=recorded.event.pk)),
            status=201 if recorded.fresh else 200,
            headers={"Location": f"{request.path}{recorded.event.uid}/"},
        )


def _with_version(sent: type[AnySerializer]) -> type[AnySerializer]:
    version = serializers.IntegerField(
        required=False, help_text="the version that was looked at; refused if it is not the newest"
    )
    name = sent.__name__.replace("WriteSerializer", "EditSerializer")
    return type(name, (sent,), {"version": version})
