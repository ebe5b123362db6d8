"""What disagrees or is irregular in the record, and settling it, by API."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, ClassVar

from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from nursery.core.api.answers import schema_of
from nursery.core.api.base import Api, body_of
from nursery.core.api.serializers import derived_serializer
from nursery.core.errors import Problem
from nursery.core.filters import refuse_unknown
from nursery.core.inputs import Given, read
from nursery.core.plain import plain
from nursery.core.problems import ParameterRefused
from nursery.outplanting.actions.settle import SettledIn, Thing, accept, take_back
from nursery.outplanting.disagreeing import Unsettled
from nursery.outplanting.models import Settled
from nursery.outplanting.unsettled import CODES, unsettled

SettledSerializer = derived_serializer(Settled)


class TakenBackIn(Given):
    """One thing that was settled, by its code and what it is about."""

    code: Thing
    thing: Thing


class UnsettledViewSet(Api):
    """What is for a lead to settle: by a correction, or by saying that it stands as it is."""

    queryset = Settled.objects.none()

    known_parameters: ClassVar[Mapping[str, tuple[str, ...]]] = {
        "list": ("code", "settled", "limit", "offset")
    }

    @extend_schema(
        summary="What disagrees or is irregular",
        parameters=[
            OpenApiParameter("code", str, enum=list(CODES), description="one kind of it"),
            OpenApiParameter(
                "settled", bool, default=False, description="true: what was settled already"
            ),
        ],
        responses={200: schema_of(Unsettled)},
    )
    def list(self, request: Request) -> Response:
        """Each by a stable code and what it is about, with the entries that say different
        things."""
        refuse_unknown(request, self.known_parameters["list"])
        asked = request.query_params
        rows = unsettled(self.actor, _codes(asked.get("code")), _flag(asked.get("settled")))
        page: Any = self.paginate_queryset(rows)
        return self.get_paginated_response([plain(row) for row in page])

    @extend_schema(
        summary="Say that something stands as it is",
        request=SettledIn,
        responses={201: SettledSerializer},
    )
    @action(detail=False, methods=["post"])
    def settle(self, request: Request) -> Response:
        """It is told no more among what is to be settled. For leads."""
        row = accept(self.actor, read(SettledIn, body_of(request)))
        return Response(SettledSerializer(row).data, status=201)

    @extend_schema(
        summary="Tell something again that was settled", request=TakenBackIn, responses={204: None}
    )
    @action(detail=False, methods=["post"], url_path="take-back")
    def take_back(self, request: Request) -> Response:
        """It is told again among what is to be settled. For leads."""
        given = read(TakenBackIn, body_of(request))
        take_back(self.actor, given.code, given.thing)
        return Response(status=204)


def _codes(text: str | None) -> tuple[str, ...]:
    if text is None:
        return tuple(CODES)
    if text not in CODES:
        message = f"code is one of: {', '.join(CODES)}."
        raise ParameterRefused(Problem("not_a_choice", message, ("code",)))
    return (text,)


def _flag(text: str | None) -> bool:
    if text is None:
        return False
    if text.lower() not in ("true", "false"):
        raise ParameterRefused(Problem("not_yes_or_no", "settled is true or false.", ("settled",)))
    return text.lower() == "true"
