"""Tokens by API: one's own, made and withdrawn."""

from __future__ import annotations

from typing import Any, ClassVar

from django.db.models import QuerySet
from drf_spectacular.extensions import OpenApiAuthenticationExtension
from drf_spectacular.openapi import AutoSchema
from drf_spectacular.utils import extend_schema, extend_schema_view
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from nursery.access.actions import issue_token, withdraw_token
from nursery.access.authentication import TokenAuthentication
from nursery.access.inputs import TokenIn
from nursery.access.models import Token
from nursery.access.queries import tokens_of, tokens_to_manage
from nursery.core.api.base import Listing, body_of
from nursery.core.api.serializers import derived_serializer
from nursery.core.errors import NotAllowed, Problem, Unknown
from nursery.core.inputs import read
from nursery.core.models import User

TokenSerializer = derived_serializer(
    Token, hide={"digest"}, first={"id": serializers.IntegerField(read_only=True)}
)


class NewTokenSerializer(TokenSerializer):  # type: ignore[misc, valid-type]  # made from the model
    """A token with its key, which is shown this once."""

    key = serializers.CharField()

    class Meta(TokenSerializer.Meta):  # type: ignore[misc, name-defined]
        fields: ClassVar[list[str]] = [*TokenSerializer.Meta.fields, "key"]  # type: ignore[attr-defined]


@extend_schema_view(
    list=extend_schema(summary="Your tokens"),
    create=extend_schema(
        summary="Make a token", request=TokenIn, responses={201: NewTokenSerializer}
    ),
)
class TokenViewSet(Listing):
    """Keys for programs. A key is shown when it is made and never again; only its hash is kept."""

    serializer_class = TokenSerializer
    queryset = Token.objects.none()
    lookup_value_regex = "[0-9]{1,18}"

    def get_queryset(self) -> QuerySet[Token]:
        return tokens_of(self.actor)

    def create(self, request: Request) -> Response:
        """Make a token for oneself. A token may not make another: its end would mean nothing."""
        if isinstance(request.auth, Token):
            raise NotAllowed(
                Problem("token_makes_no_token", "Log in to make a token; a token may not.")
            )
        given = read(TokenIn, body_of(request))
        user = request.user
        if not isinstance(user, User):
            raise TypeError("the permission lets only people in")
        token, key = issue_token(self.actor, user, given.name, given.days, given.read_only)
        shown: dict[str, Any] = {**self.get_serializer(token).data, "key": key}
        return Response(shown, status=201)

    @extend_schema(summary="Withdraw a token", request=None, responses={200: TokenSerializer})
    @action(detail=True, methods=["post"])
    def withdraw(self, request: Request, pk: str) -> Response:
        """End a token now: one's own, or for a lead anybody's."""
        token = tokens_to_manage(self.actor).filter(pk=int(pk)).first()
        if token is None:
            raise Unknown(Problem("unknown_token", "There is no such token of yours."))
        return Response(self.get_serializer(withdraw_token(self.actor, token)).data)


class TokenScheme(OpenApiAuthenticationExtension):  # type: ignore[no-untyped-call]
    """The scheme's name and form in the API's description."""

    target_class = TokenAuthentication
    name = "token"

    def get_security_definition(self, auto_schema: AutoSchema) -> dict[str, str]:
        return {"type": "http", "scheme": "bearer", "description": "A key made by its owner."}
