"""The edge at which a log-in or a token becomes an actor."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest
from rest_framework.request import Request

from nursery.access.models import Membership, Token
from nursery.core.actor import Actor, Role
from nursery.core.errors import Problem, Unknown
from nursery.core.models import User

NOBODY = Actor(0, "Somebody who is not logged in", frozenset())
"""Who acts before anybody has logged in: no role, so every action and question refuses."""

_KEPT = "_kept_actor"


def actor_for(user: User, *, read_only: bool = False) -> Actor:
    """The person as an actor, in one query; without a membership, an actor without roles."""
    given: list[tuple[str, int | None, str | None]] = list(
        Membership.objects.filter(user_id=user.pk).values_list(
            "role", "nursery_id", "nursery__timezone"
        )
    )
    zones = {zone for _, _, zone in given if zone}
    return Actor(
        user_id=user.pk,
        name=str(user),
        roles=frozenset(Role(role) for role, _, _ in given),
        nurseries=frozenset(nursery for _, nursery, _ in given if nursery is not None),
        read_only=read_only,
        zone=zones.pop() if len(zones) == 1 else "",
    )


def actor_of(request: HttpRequest | Request) -> Actor:
    """Who makes the request, asked once and kept on it.

    An API request has its own answer, since a token may speak for somebody else than the session.
    """
    kept: dict[str, Any] = request.__dict__
    if _KEPT not in kept:
        token = request.auth if isinstance(request, Request) else None
        user = request.user
        kept[_KEPT] = (
            actor_for(user, read_only=isinstance(token, Token) and token.read_only)
            if isinstance(user, User)
            else NOBODY
        )
    found: Actor = kept[_KEPT]
    return found


CONSOLE = Actor(0, "the command line", frozenset({Role.VIEWER}))
"""Who asks on the command line, where nobody is named: sees what every viewer sees."""


def console_actor(username: str | None) -> Actor:
    """The actor of a command: the person named, else a viewer. Raises Unknown (`unknown_user`)."""
    if username is None:
        return CONSOLE
    user = User.objects.filter(username=username).first()
    if user is None:
        raise Unknown(Problem("unknown_user", f"There is no log-in {username!r}."))
    return actor_for(user)
