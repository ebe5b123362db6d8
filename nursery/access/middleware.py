"""Puts the actor on every request."""

from __future__ import annotations

from collections.abc import Callable

from django.http import HttpRequest
from django.http.response import HttpResponseBase
from django.utils import timezone
from django.utils.functional import SimpleLazyObject

from nursery.access.actors import actor_of


class ActorMiddleware:
    """Sets `request.actor` for the session's user; nothing is asked until somebody looks at it.

    A page may choose the zone of its reader's nursery; it is let go with the answer.
    """

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponseBase]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        request.__dict__["actor"] = SimpleLazyObject(lambda: actor_of(request))
        with timezone.override(None):
            return self.get_response(request)
