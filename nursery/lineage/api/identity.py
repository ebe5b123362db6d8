"""Which individual a ramet is, and by what it is known, by API.

What a relabelling or a merge would change may be asked for first: nothing of that is kept.
"""

from __future__ import annotations

from typing import ClassVar

from drf_spectacular.utils import extend_schema
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from nursery.core.actor import Actor
from nursery.core.api.answers import schema_of
from nursery.core.api.base import EventViewSet, body_of
from nursery.core.api.serializers import derived_serializer
from nursery.core.inputs import read
from nursery.core.models import Event, EventKind
from nursery.core.plain import plain
from nursery.core.recording import Recorded
from nursery.donors.models import GenetMerge
from nursery.lineage.actions import (
    identify,
    merge_genets,
    merging_effect,
    relabel,
    relabelling_effect,
    retag,
)
from nursery.lineage.api.events import SteppedViewSet, rows_of, steps_of
from nursery.lineage.filters import (
    GenetMergeFilters,
    IdentificationFilters,
    RelabellingFilters,
    TaggingFilters,
)
from nursery.lineage.inputs import GenetMergeIn, IdentificationIn, RelabellingIn, TaggingIn
from nursery.lineage.models import Identification, Relabelling, Tag
from nursery.lineage.regrouping import Effect

IdentifiedSerializer = derived_serializer(Identification, name="Identified", hide={"event"})
TagPutOnSerializer = derived_serializer(
    Tag, name="TagPutOn", hide={"event", "ended_by", "since", "until", "lost", "live"}
)
TagTakenOffSerializer = derived_serializer(
    Tag, name="TagTakenOff", hide={"event", "ended_by", "since", "until", "live"}
)


class TaggingViewSet(SteppedViewSet):
    """Tags that were taken off, lost or put on."""

    kind = EventKind.TAGGING
    model = Event
    input_model = TaggingIn
    filterset_class = TaggingFilters
    also_detailed = {
        "taken_off": rows_of(TagTakenOffSerializer, "tags_ended"),
        "put_on": rows_of(TagPutOnSerializer, "tags"),
        "steps": steps_of(""),
    }
    further: ClassVar = dict.fromkeys(
        ["tags_ended", "tags"], Tag.objects.select_related("ramet").order_by("pk")
    )

    def act(self, actor: Actor, given: TaggingIn) -> Recorded:
        return retag(actor, given)


class RelabellingViewSet(SteppedViewSet):
    """Ramets that turned out to be of a genet, or of one that is not known (null)."""

    kind = EventKind.RELABELLING
    model = Relabelling
    input_model = RelabellingIn
    filterset_class = RelabellingFilters
    also_detailed = {"steps": steps_of()}

    def act(self, actor: Actor, given: RelabellingIn) -> Recorded:
        return relabel(actor, given)

    @extend_schema(
        summary="What a relabelling would change",
        request=RelabellingIn,
        responses={200: schema_of(Effect)},
    )
    @action(detail=False, methods=["post"])
    def preview(self, request: Request) -> Response:
        """Say what is about to be entered; the answer is what it would change. Nothing is kept."""
        given = read(RelabellingIn, body_of(request))
        return Response(plain(relabelling_effect(self.actor, given)))


class GenetMergeViewSet(EventViewSet):
    """Two genets that turned out to be one individual, known as `kept`. Leads enter them."""

    kind = EventKind.GENET_MERGE
    model = GenetMerge
    input_model = GenetMergeIn
    filterset_class = GenetMergeFilters

    def act(self, actor: Actor, given: GenetMergeIn) -> Recorded:
        return merge_genets(actor, given)

    @extend_schema(
        summary="What a merge of genets would change",
        request=GenetMergeIn,
        responses={200: schema_of(Effect)},
    )
    @action(detail=False, methods=["post"])
    def preview(self, request: Request) -> Response:
        """Say what is about to be entered; the answer is what it would change. Nothing is kept."""
        given = read(GenetMergeIn, body_of(request))
        return Response(plain(merging_effect(self.actor, given)))


class IdentificationViewSet(SteppedViewSet):
    """Known ramets that were found again, as a loose piece on record or as seen somewhere."""

    kind = EventKind.IDENTIFICATION
    model = Event
    input_model = IdentificationIn
    filterset_class = IdentificationFilters
    also_detailed = {
        "ramets": rows_of(IdentifiedSerializer, "identifications"),
        "steps": steps_of(""),
    }
    further: ClassVar = {
        "identifications": Identification.objects.select_related("ramet", "found").order_by("pk")
    }

    def act(self, actor: Actor, given: IdentificationIn) -> Recorded:
        return identify(actor, given)
