"""Samples, panels, tables of genotypes and proposals by API."""

from __future__ import annotations

import uuid
from typing import Any, ClassVar

from django.db.models import Count, QuerySet
from drf_spectacular.utils import extend_schema, extend_schema_view
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from nursery.core.actor import Actor, require_read
from nursery.core.api.answers import schema_of
from nursery.core.api.base import Listing, RegisterViewSet, body_of
from nursery.core.api.serializers import derived_serializer
from nursery.core.errors import Problem, Unknown
from nursery.core.inputs import read
from nursery.core.models import Event, EventKind
from nursery.core.plain import plain
from nursery.core.recording import Recorded
from nursery.genotyping.actions import (
    accept,
    accepting_effect,
    import_table,
    propose,
    reject,
    take_samples,
)
from nursery.genotyping.filters import OfPanelFilters, SampleFilters, SamplingFilters
from nursery.genotyping.inputs import AcceptedIn, MatchingIn, RejectedIn, SamplingIn, TableIn
from nursery.genotyping.measures import AtSite, Measures, at_sites, measures_of
from nursery.genotyping.models import (
    Decision,
    GenotypeTable,
    Panel,
    Proposal,
    Sample,
    TableRow,
)
from nursery.genotyping.queries import (
    Standing,
    groups_of,
    last_proposal,
    typed_of_panel,
    typed_of_table,
)
from nursery.lineage.api.events import SteppedViewSet, rows_of, steps_of
from nursery.lineage.regrouping import Effect

SampleSerializer = derived_serializer(
    Sample,
    hide={"event"},
    also={
        "sampling": serializers.UUIDField(source="event.uid", read_only=True),
        "taken": serializers.CharField(source="event.when", read_only=True),
        "live": serializers.BooleanField(
            source="event.live", read_only=True, help_text="false where its sampling was voided"
        ),
    },
)
TakenSerializer = derived_serializer(Sample, name="Taken", hide={"event", "version"})


class SampleViewSet(RegisterViewSet):
    """Samples. They are entered with their sampling; where they were sent is edited here."""

    model = Sample
    hide = frozenset({"event"})
    serializer_class = SampleSerializer
    filterset_class = SampleFilters
    http_method_names = ["get", "patch", "head"]

    def get_queryset(self) -> QuerySet[Any]:
        return super().get_queryset().select_related("event")


class SamplingViewSet(SteppedViewSet):
    """Samples taken of ramets and donor colonies, for the laboratory."""

    kind = EventKind.SAMPLING
    model = Event
    input_model = SamplingIn
    filterset_class = SamplingFilters
    also_detailed = {"samples": rows_of(TakenSerializer), "steps": steps_of("")}
    further: ClassVar = {"samples": Sample.objects.select_related("ramet", "colony").order_by("pk")}

    def act(self, actor: Actor, given: SamplingIn) -> Recorded:
        return take_samples(actor, given)


class PanelViewSet(RegisterViewSet):
    """Panels: the loci that individuals are told apart by."""

    model = Panel

    @extend_schema(summary="What all tables of a panel tell", responses={200: schema_of(Measures)})
    @action(detail=True)
    def measures(self, request: Request, code: str) -> Response:
        """How well it tells individuals apart, by one sample of each."""
        row = self.get_object()
        return Response(plain(measures_of(typed_of_panel(row), last_proposal(panel=row))))

    @extend_schema(
        summary="The donors' alleles at each site", responses={200: schema_of(tuple[AtSite, ...])}
    )
    @action(detail=True)
    def sites(self, request: Request, code: str) -> Response:
        """Which share of the alleles of all typed donor colonies each site has."""
        return Response(plain(at_sites(typed_of_panel(self.get_object()))))


RowSerializer = derived_serializer(TableRow, name="TypedRow", hide={"table", "number"})
TableSerializer = derived_serializer(
    GenotypeTable,
    hide={"calls"},
    also={"samples": serializers.IntegerField(source="size", read_only=True)},
)


class _ByUid(Listing):
    """What has a uid, and is no event."""

    lookup_field = "uid"
    lookup_value_regex = "[0-9a-f]{8}(?:-[0-9a-f]{4}){3}-[0-9a-f]{12}"

    def found(self, uid: str) -> Any:
        """The row of this uid; raises Unknown."""
        require_read(self.actor)
        row = self.get_queryset().filter(uid=uuid.UUID(uid)).first()
        if row is None:
            name = self.get_queryset().model._meta.verbose_name
            code = f"unknown_{self.get_queryset().model._meta.model_name}"
            raise Unknown(Problem(code, f"There is no {name} {uid}."))
        return row


@extend_schema_view(list=extend_schema(summary="List of tables of genotypes, the last first"))
class TableViewSet(_ByUid):
    """Tables of genotypes, as they came. They are entered as text (`nursery.genotyping.reading`
    says in which form), at most 5 MB; larger ones by their page."""

    serializer_class = TableSerializer
    queryset = GenotypeTable.objects.none()
    filterset_class = OfPanelFilters
    ordering_fields: ClassVar = {"imported_at": "imported_at"}
    default_ordering = ("-pk",)

    def get_queryset(self) -> QuerySet[Any]:
        rows = GenotypeTable.objects.defer("calls").annotate(size=Count("rows"))
        return rows.select_related("panel", "imported_by")

    @extend_schema(summary="One table of genotypes")
    def retrieve(self, request: Request, uid: str) -> Response:
        return Response(self.get_serializer(self.found(uid)).data)

    @extend_schema(
        summary="Import a table of genotypes",
        request=TableIn,
        responses={201: TableSerializer, 200: TableSerializer},
    )
    def create(self, request: Request) -> Response:
        """The same text of the same panel again is answered 200 with the table that is there."""
        made = import_table(self.actor, read(TableIn, body_of(request)))
        return Response(
            self.get_serializer(self.found(str(made.table.uid))).data,
            status=201 if made.fresh else 200,
            headers={"Location": f"{request.path}{made.table.uid}/"},
        )

    @extend_schema(summary="The samples of a table", responses={200: RowSerializer(many=True)})
    @action(detail=True)
    def rows(self, request: Request, uid: str) -> Response:
        """In the order of the table, with the number of loci at which each was typed."""
        rows = self.found(uid).rows.select_related("sample").order_by("number")
        return Response(RowSerializer(rows, many=True).data)

    @extend_schema(summary="What a table tells", responses={200: schema_of(Measures)})
    @action(detail=True)
    def measures(self, request: Request, uid: str) -> Response:
        """How well its panel tells individuals apart, by one sample of each."""
        row = self.found(uid)
        return Response(plain(measures_of(typed_of_table(row), last_proposal(table=row))))


ProposalSerializer = derived_serializer(
    Proposal,
    hide={"digest", "table"},
    also={
        "table": serializers.UUIDField(
            source="table.uid", read_only=True, default=None, help_text="null: all of the panel"
        ),
        "groups": serializers.IntegerField(source="size", read_only=True),
    },
)


@extend_schema_view(list=extend_schema(summary="List of proposals, the last first"))
class ProposalViewSet(_ByUid):
    """Which samples match, for leads to decide about group by group."""

    serializer_class = ProposalSerializer
    queryset = Proposal.objects.none()
    filterset_class = OfPanelFilters
    ordering_fields: ClassVar = {"made_at": "made_at"}
    default_ordering = ("-pk",)

    def get_queryset(self) -> QuerySet[Any]:
        rows = Proposal.objects.annotate(size=Count("groups"))
        return rows.select_related("panel", "table", "made_by").defer("table__calls")

    @extend_schema(summary="One proposal")
    def retrieve(self, request: Request, uid: str) -> Response:
        return Response(self.get_serializer(self.found(uid)).data)

    @extend_schema(
        summary="Propose which samples match",
        request=MatchingIn,
        responses={201: ProposalSerializer, 200: ProposalSerializer},
    )
    def create(self, request: Request) -> Response:
        made = propose(self.actor, read(MatchingIn, body_of(request)))
        return Response(
            self.get_serializer(self.found(str(made.proposal.uid))).data,
            status=201 if made.fresh else 200,
            headers={"Location": f"{request.path}{made.proposal.uid}/"},
        )

    @extend_schema(
        summary="The groups of a proposal", responses={200: schema_of(tuple[Standing, ...])}
    )
    @action(detail=True)
    def groups(self, request: Request, uid: str) -> Response:
        """The largest first, each with its members, its chain and what was decided about it."""
        return Response(plain(groups_of(self.found(uid).groups.order_by("number"))))

    @extend_schema(
        summary="What accepting a group would change",
        request=AcceptedIn,
        responses={200: schema_of(Effect)},
    )
    @action(detail=False, methods=["post"])
    def preview(self, request: Request) -> Response:
        """Place by place and genet by genet, before and after. Nothing is kept."""
        given = read(AcceptedIn, body_of(request))
        return Response(plain(accepting_effect(self.actor, given)))

    @extend_schema(
        summary="Accept that a group is of one genet",
        request=AcceptedIn,
        responses={201: schema_of(Standing), 200: schema_of(Standing)},
    )
    @action(detail=False, methods=["post"])
    def accept(self, request: Request) -> Response:
        """Genets are merged into it, wrong labels are mended, and it is confirmed."""
        made = accept(self.actor, read(AcceptedIn, body_of(request)))
        return self._decided(made.decision, made.fresh)

    @extend_schema(
        summary="Reject a group",
        request=RejectedIn,
        responses={201: schema_of(Standing), 200: schema_of(Standing)},
    )
    @action(detail=False, methods=["post"])
    def reject(self, request: Request) -> Response:
        """Nothing is changed by it."""
        made = reject(self.actor, read(RejectedIn, body_of(request)))
        return self._decided(made.decision, made.fresh)

    def _decided(self, decision: Decision, fresh: bool) -> Response:
        (group,) = groups_of([decision.group])
        return Response(plain(group), status=201 if fresh else 200)
