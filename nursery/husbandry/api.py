"""Checks by API, and what was found by them."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, ClassVar

from django.db.models import Prefetch, QuerySet
from drf_spectacular.utils import extend_schema, extend_schema_field, extend_schema_view
from rest_framework import serializers

from nursery.core.actor import Actor
from nursery.core.api.base import EventViewSet, Listing
from nursery.core.api.serializers import derived_queryset, derived_serializer
from nursery.core.models import EventKind
from nursery.core.recording import Recorded
from nursery.husbandry.actions import check
from nursery.husbandry.filters import CheckFilters, FindingFilters
from nursery.husbandry.inputs import CheckIn
from nursery.husbandry.models import Check, Finding
from nursery.husbandry.queries import causes_of
from nursery.lineage.api.events import rows_of
from nursery.lineage.words import Cause


@extend_schema_field({"enum": [*Cause.all_words(), None], "type": ["string", "null"]})
class CauseField(serializers.Field):  # type: ignore[type-arg]
    """Why a dead one died, as far as it was seen."""

    def __init__(self, **options: Any) -> None:
        super().__init__(source="*", read_only=True, **options)

    def to_representation(self, value: Finding) -> str | None:
        cause: Cause | None = self.context["causes"].get((value.during_id, value.ramet_id))
        return cause.word if cause is not None else None


FoundSerializer = derived_serializer(
    Finding, name="Found", hide={"during"}, also={"cause": CauseField()}
)
FindingSerializer = derived_serializer(
    Finding,
    hide={"during"},
    first={
        "check": serializers.UUIDField(source="during.event.uid", read_only=True),
        "when": serializers.CharField(source="during.event.when", read_only=True),
    },
    also={"cause": CauseField()},
)


class CheckViewSet(EventViewSet):
    """Checks: ramets in a nursery looked at, one by one. Never refused for disagreeing."""

    kind = EventKind.CHECK
    model = Check
    input_model = CheckIn
    filterset_class = CheckFilters
    also_detailed = {"findings": rows_of(FoundSerializer)}

    def act(self, actor: Actor, given: CheckIn) -> Recorded:
        return check(actor, given)

    def detailed(self, rows: QuerySet[Any]) -> QuerySet[Any]:
        found = derived_queryset(Finding, {"during"}).order_by("pk")
        return rows.prefetch_related(Prefetch("findings", queryset=found))

    def about(self, rows: Sequence[Any]) -> dict[str, Any]:
        if self.action == "list":
            return {}
        return {"causes": causes_of(row.pk for row in rows)}


@extend_schema_view(list=extend_schema(summary="What was found, newest check first"))
class FindingViewSet(Listing):
    """Findings of all checks. They are entered with their check."""

    serializer_class = FindingSerializer
    queryset = Finding.objects.none()
    filterset_class = FindingFilters
    ordering_fields: ClassVar = {"when": "during__event__earliest"}
    default_ordering = ("-during__event__earliest", "-pk")

    def get_queryset(self) -> QuerySet[Any]:
        rows = derived_queryset(Finding, {"during"}).filter(during__event__live=True)
        return rows.select_related("during__event")

    def about(self, rows: Sequence[Any]) -> dict[str, Any]:
        ramets = {row.ramet_id for row in rows}
        return {"causes": causes_of({row.during_id for row in rows}, ramets)}
