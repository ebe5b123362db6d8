"""What can be asked about people, their roles and their tokens."""

from __future__ import annotations

from django.db.models import Prefetch, Q, QuerySet

from nursery.access.models import KeptList, Membership, Token
from nursery.core.actor import Actor, require_read
from nursery.core.models import User


def token_by_digest(digest: str) -> Token | None:
    """The token with this SHA-256 and its user, whether it is still good or not."""
    return Token.objects.select_related("user").filter(digest=digest).first()


def tokens_of(actor: Actor) -> QuerySet[Token]:
    """The actor's own tokens, newest first, withdrawn and expired ones too."""
    require_read(actor)
    return Token.objects.filter(user_id=actor.user_id).select_related("user")


def tokens_to_manage(actor: Actor) -> QuerySet[Token]:
    """The tokens that the actor may withdraw: a lead everybody's, others their own."""
    require_read(actor)
    everybody = Token.objects.select_related("user")
    return everybody if actor.leads else everybody.filter(user_id=actor.user_id)


def kept_lists(actor: Actor, path: str) -> list[KeptList]:
    """What was kept of the list at an address: one's own, and what others share. One query."""
    require_read(actor)
    rows = KeptList.objects.filter(Q(user_id=actor.user_id) | Q(shared=True), path=path)
    return list(rows.select_related("user"))


def people() -> QuerySet[User]:
    """Everybody with their roles, by name, in two queries."""
    memberships = Membership.objects.select_related("nursery")
    return User.objects.order_by("username").prefetch_related(
        Prefetch("memberships", queryset=memberships)
    )
