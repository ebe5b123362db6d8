"""Corrections of events by API: voided, restored, amended, and each of these undone.

The event is in the address. With `preview` nothing is kept, and the answer says what would change.
"""

from __future__ import annotations

import uuid
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from typing import Any, TypeVar, cast

from django.db.models import QuerySet
from drf_spectacular.utils import extend_schema
from pydantic import create_model
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from nursery.core.actor import Actor
from nursery.core.api.answers import schema_of
from nursery.core.api.base import body_of
from nursery.core.api.serializers import derived_serializer
from nursery.core.api.views import AnyEventViewSet
from nursery.core.errors import Problem, Trouble, Unknown
from nursery.core.inputs import Given, read
from nursery.core.models import Correction, Event
from nursery.core.plain import plain
from nursery.outplanting.actions.correct import Outcome, amend, restore, undo_amendment, void
from nursery.outplanting.corrections import AmendIn, Reason, RestoreIn, VoidIn

EVENT = "event"
PREVIEW = "preview"

G = TypeVar("G", bound=Given)

CorrectionSerializer = derived_serializer(Correction, hide={"event", "undone"})


class Previewed(Given):
    """What every correction may say besides: only what it would change, nothing is kept."""

    preview: bool = False


class UndoneIn(Previewed):
    """The last amendment of an event was wrong: it is as it was before."""

    reason: Reason


def without_event(model: type[Given], name: str) -> type[Previewed]:
    """The body for an input whose event is in the address."""
    fields: dict[str, Any] = {
        each: (info.annotation, info) for each, info in model.model_fields.items() if each != EVENT
    }
    found = create_model(name, __base__=Previewed, __doc__=model.__doc__, **fields)
    return cast("type[Previewed]", found)


VoidBody = without_event(VoidIn, "EventVoid")
RestoreBody = without_event(RestoreIn, "EventRestore")
AmendBody = without_event(AmendIn, "EventAmend")


@contextmanager
def addressed() -> Iterator[None]:
    """What is wrong with the event is wrong with the address, not with a place in the body."""
    try:
        yield
    except Trouble as trouble:
        trouble.problems = tuple(
            replace(problem, path=()) if problem.path == (EVENT,) else problem
            for problem in trouble.problems
        )
        raise


class EventViewSet(AnyEventViewSet):
    """The headers of all events, and their corrections; each kind has its own list with its
    particulars."""

    @extend_schema(
        summary="Void an event: it did not happen",
        request=VoidBody,
        responses={200: schema_of(Outcome)},
    )
    @action(detail=True, methods=["post"])
    def void(self, request: Request, uid: str) -> Response:
        """Take an event out, with all that it did. Whatever is in its way is named; with `together`
        it is voided too, last first. Nothing is deleted, and the event may be restored."""
        return self._corrected(uid, VoidBody, VoidIn, void)

    @extend_schema(
        summary="Restore a voided event: it did happen",
        request=RestoreBody,
        responses={200: schema_of(Outcome)},
    )
    @action(detail=True, methods=["post"])
    def restore(self, request: Request, uid: str) -> Response:
        """What the void took out stands again, if it still can."""
        return self._corrected(uid, RestoreBody, RestoreIn, restore)

    @extend_schema(
        summary="Amend an event: it happened otherwise",
        request=AmendBody,
        responses={200: schema_of(Outcome)},
    )
    @action(detail=True, methods=["post"])
    def amend(self, request: Request, uid: str) -> Response:
        """Say what was otherwise; what is left out stays as it is. The event keeps its uid, and
        what was said before is kept beside it."""
        return self._corrected(uid, AmendBody, AmendIn, amend)

    @extend_schema(
        summary="Undo the last amendment of an event",
        request=UndoneIn,
        responses={200: schema_of(Outcome)},
    )
    @action(detail=True, methods=["post"], url_path="undo-amendment")
    def undo_amendment(self, request: Request, uid: str) -> Response:
        """The event is what it was before its last amendment, if it still can be."""
        key = _uid(uid)
        body = read(UndoneIn, body_of(request))
        with addressed():
            outcome = undo_amendment(self.actor, key, body.reason, body.preview)
        return Response(plain(outcome))

    @extend_schema(
        summary="The corrections of an event, in order",
        responses={200: CorrectionSerializer(many=True)},
        filters=False,
    )
    @action(detail=True, pagination_class=None)
    def corrections(self, request: Request, uid: str) -> Response:
        """Who corrected what, when and why: `changes` has each amended field before and after.
        Those that were made together carry the same `together`."""
        event = Event.objects.filter(uid=_uid(uid)).first()
        if event is None:
            raise Unknown(Problem("unknown_event", "There is no such event."))
        rows: QuerySet[Correction] = event.corrections.select_related("by").order_by("pk")
        return Response(CorrectionSerializer(rows, many=True).data)

    def _corrected(
        self,
        uid: str,
        body: type[Previewed],
        model: type[G],
        act: Callable[[Actor, G, bool], Outcome],
    ) -> Response:
        """Read the body, put the event of the address beside it, and act."""
        key = _uid(uid)
        sent = body_of(self.request)
        preview = read(body, sent).preview
        said = {name: value for name, value in sent.items() if name != PREVIEW}
        with addressed():
            outcome = act(self.actor, read(model, {**said, EVENT: key}), preview)
        return Response(plain(outcome))


def _uid(text: str) -> uuid.UUID:
    try:
        return uuid.UUID(text)
    except ValueError:
        raise Unknown(Problem("unknown_event", "There is no such event.")) from None
