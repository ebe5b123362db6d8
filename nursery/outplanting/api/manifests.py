"""Manifests by API, with their lines, audits and sign-offs; and the programme's policy."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, ClassVar

from django.db.models import QuerySet
from drf_spectacular.utils import extend_schema, extend_schema_view
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from nursery.core.api.answers import schema_of
from nursery.core.api.base import Api, Listing, body_of
from nursery.core.api.serializers import derived_queryset, derived_serializer
from nursery.core.errors import Problem, Unknown
from nursery.core.filters import FilterSet
from nursery.core.inputs import Given, Line, read
from nursery.core.plain import plain
from nursery.diversity import actions as diversity
from nursery.diversity.audits import (
    AuditTold,
    SignOffTold,
    audits_of,
    one_audit,
    sign_offs_of,
)
from nursery.diversity.inputs import SignOffIn
from nursery.outplanting import actions
from nursery.outplanting.filters import LineFilters, ManifestFilters, PolicyFilters
from nursery.outplanting.inputs import LinesIn, ManifestIn, PolicyRuleIn
from nursery.outplanting.manifests import IS_PLANTED, lines, manifest, tallies
from nursery.outplanting.models import Manifest, ManifestLine, PolicyRule


class TallyField(serializers.IntegerField):
    """How many lines of a manifest there are, or are planted."""

    def __init__(self, counted: str, **options: Any) -> None:
        self.counted = counted
        super().__init__(source="*", read_only=True, **options)

    def to_representation(self, value: Any) -> int:
        return int(getattr(self.context["tallies"][value.pk], self.counted))


ManifestSerializer = derived_serializer(
    Manifest,
    hide={"digest"},
    also={
        "planned": serializers.CharField(read_only=True, help_text="ISO 8601, a day or a range"),
        "lines": TallyField("lines", help_text="how many ramets are on it"),
        "planted": TallyField("planted", help_text="how many of them are planted"),
    },
)
LineSerializer = derived_serializer(
    ManifestLine,
    hide={"manifest", "taken_off", "seen_plot", "seen_genet", "seen_life", "seen_place"},
    also={"planted": serializers.BooleanField(read_only=True, source="is_planted")},
)
PolicyRuleSerializer = derived_serializer(
    PolicyRule,
    hide={"number", "word"},
    also={"value": serializers.CharField(read_only=True, help_text="empty: it asks nothing")},
)


class CancelledIn(Given):
    """Why a manifest is cancelled."""

    reason: Line


@extend_schema_view(list=extend_schema(summary="List of manifests, the latest planned first"))
class ManifestViewSet(Listing):
    """The proposed lists for outplantings: drafted, audited, signed off, planted or cancelled."""

    serializer_class = ManifestSerializer
    queryset = Manifest.objects.none()
    filterset_class: type[FilterSet] = ManifestFilters
    lookup_field = "code"
    lookup_value_regex = "[^/]+"
    ordering_fields: ClassVar = {"planned": "earliest", "code": "code", "drafted_at": "drafted_at"}
    default_ordering: ClassVar = ("-earliest", "-pk")

    def get_queryset(self) -> QuerySet[Any]:
        return derived_queryset(Manifest, {"digest"})

    def about(self, rows: Sequence[Any]) -> dict[str, Any]:
        return {"tallies": tallies(rows)}

    def _shown(self, row: Manifest, status: int = 200) -> Response:
        found = self.listed([self.get_queryset().get(pk=row.pk)])[0]
        return Response(found, status=status)

    @extend_schema(summary="One manifest")
    def retrieve(self, request: Request, code: str) -> Response:
        return self._shown(manifest(code))

    @extend_schema(
        summary="Draft a manifest",
        request=ManifestIn,
        responses={201: ManifestSerializer, 200: ManifestSerializer},
    )
    def create(self, request: Request) -> Response:
        """The same draft under its `uid` is stored once, and answered 200 the next time."""
        drafted = actions.draft(self.actor, read(ManifestIn, body_of(request)))
        answer = self._shown(drafted.manifest, 201 if drafted.fresh else 200)
        answer["Location"] = f"{request.path}{drafted.manifest.code}/"
        return answer

    @extend_schema(
        summary="Add, take off and swap ramets",
        request=LinesIn,
        responses={200: ManifestSerializer},
    )
    @action(detail=True, methods=["post"], url_path="change-lines")
    def change_lines(self, request: Request, code: str) -> Response:
        """After a sign-off, ramets may be taken off, or swapped within their genets, if another
        audit passes; what is added needs a new sign-off."""
        given = read(LinesIn, body_of(request))
        return self._shown(actions.change_lines(self.actor, manifest(code), given))

    @extend_schema(
        summary="Cancel a manifest", request=CancelledIn, responses={200: ManifestSerializer}
    )
    @action(detail=True, methods=["post"])
    def cancel(self, request: Request, code: str) -> Response:
        """Nothing more is planted of it, and its ramets are free for others."""
        reason = read(CancelledIn, body_of(request)).reason
        return self._shown(actions.cancel(self.actor, manifest(code), reason))


class LineViewSet(Listing):
    """The lines of one manifest."""

    serializer_class = LineSerializer
    queryset = ManifestLine.objects.none()
    filterset_class: type[FilterSet] = LineFilters
    ordering_fields: ClassVar = {"ramet": "ramet__code", "plot": "plot__code"}
    default_ordering: ClassVar = ("pk",)

    def get_queryset(self) -> QuerySet[Any]:
        code = self.kwargs.get("code")
        if code is None:
            return self.queryset
        rows = lines(manifest(code)).select_related("ramet", "plot")
        return rows.annotate(is_planted=IS_PLANTED)

    @extend_schema(summary="The ramets on a manifest")
    def list(self, request: Request, code: str) -> Response:
        """Each with its plot, and whether it is planted."""
        return super().list(request)


class AuditViewSet(Api):
    """The audits of one manifest."""

    queryset = Manifest.objects.none()
    filter_backends = ()
    pagination_class = None

    @extend_schema(
        operation_id="manifests_audits_list",
        summary="The audits of a manifest, newest first",
        responses={200: schema_of(list[AuditTold])},
    )
    def audits(self, request: Request, code: str) -> Response:
        return Response(plain(audits_of(manifest(code))))

    @extend_schema(summary="Audit a manifest", request=None, responses={201: schema_of(AuditTold)})
    def create(self, request: Request, code: str) -> Response:
        """Judge it by the policy of its planned day, as everything stands now. Of a manifest that
        is signed off, `stands` says whether the sign-off outlives this look."""
        row = manifest(code)
        made = diversity.audit(self.actor, row)
        return Response(plain(one_audit(row, made.pk)), status=201)

    @extend_schema(summary="One audit", responses={200: schema_of(AuditTold)})
    def retrieve(self, request: Request, code: str, number: str) -> Response:
        if not number.isdecimal() or len(number) > 18:
            raise Unknown(Problem("unknown_audit", "There is no such audit."))
        return Response(plain(one_audit(manifest(code), int(number))))


class SignOffViewSet(Api):
    """The sign-offs of one manifest."""

    queryset = Manifest.objects.none()
    filter_backends = ()
    pagination_class = None

    @extend_schema(
        operation_id="manifests_sign_offs_list",
        summary="The sign-offs of a manifest, newest first",
        responses={200: schema_of(list[SignOffTold])},
    )
    def sign_offs(self, request: Request, code: str) -> Response:
        return Response(plain(sign_offs_of(manifest(code))))

    @extend_schema(
        summary="Sign a manifest off",
        request=SignOffIn,
        responses={201: schema_of(SignOffTold)},
    )
    def create(self, request: Request, code: str) -> Response:
        """It names the last audit and the digest of the stock that it saw; each rule that fails
        needs a reason, which is kept. For leads."""
        row = manifest(code)
        diversity.sign_off(self.actor, row, read(SignOffIn, body_of(request)))
        return Response(plain(sign_offs_of(row)[0]), status=201)


@extend_schema_view(list=extend_schema(summary="All rows of the policy, those of the past too"))
class PolicyViewSet(Listing):
    """What the programme's rules ask, of which taxon (null: of all), from which day on."""

    serializer_class = PolicyRuleSerializer
    queryset = PolicyRule.objects.none()
    filterset_class: type[FilterSet] = PolicyFilters
    ordering_fields: ClassVar = {"since": "since", "rule": "rule"}
    default_ordering: ClassVar = ("rule", "taxon__code", "-since", "-pk")

    def get_queryset(self) -> QuerySet[Any]:
        return derived_queryset(PolicyRule, {"number", "word"})

    @extend_schema(
        summary="Set a rule from a day on",
        request=PolicyRuleIn,
        responses={201: PolicyRuleSerializer},
    )
    def create(self, request: Request) -> Response:
        """The row in force before ends the day before, and is kept. For leads."""
        row = actions.set_rule(self.actor, read(PolicyRuleIn, body_of(request)))
        return Response(self.listed([self.get_queryset().get(pk=row.pk)])[0], status=201)
