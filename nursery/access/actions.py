"""Giving and withdrawing roles and tokens: leads for everybody, others their own tokens."""

from __future__ import annotations

import hashlib
import secrets
from datetime import timedelta
from typing import Any

from django.db import IntegrityError, transaction
from django.utils import timezone

from nursery.access.inputs import RoleIn, TokenIn
from nursery.access.models import Membership, Token
from nursery.core.actor import Actor, Role, require_write
from nursery.core.errors import NotAllowed, Problem, Refused
from nursery.core.inputs import read
from nursery.core.models import Change, User
from nursery.places.models import Nursery

_RANDOM_BYTES = 32


def digest_of_key(key: str) -> str:
    """What is kept of a key. The key is random enough that one SHA-256 cannot be turned back."""
    return hashlib.sha256(key.encode()).hexdigest()


def require_lead(actor: Actor, act: str) -> None:
    """Refuse (`not_allowed`) anybody but a lead."""
    require_write(actor)
    if not actor.leads:
        raise NotAllowed(
            Problem("not_allowed", f"{actor.name} may not {act}. Ask a programme lead.")
        )


@transaction.atomic
def grant_role(actor: Actor, user: User, role: str, nursery: Nursery | None = None) -> Membership:
    """Give a person a role; to have it already is no fault.

    Raises NotAllowed, or Refused (`not_a_choice`, `nursery_needed`, `nursery_not_wanted`).
    """
    require_lead(actor, "give roles")
    given = read(RoleIn, {"role": role})
    if given.role is Role.NURSERY and nursery is None:
        raise Refused(
            Problem("nursery_needed", "The nursery role is given at one nursery.", ("nursery",))
        )
    if given.role is not Role.NURSERY and nursery is not None:
        raise Refused(
            Problem(
                "nursery_not_wanted",
                f"The {given.role} role holds in the whole programme, not at one nursery.",
                ("nursery",),
            )
        )
    try:
        with transaction.atomic():
            membership = Membership.objects.create(user=user, role=given.role, nursery=nursery)
    except IntegrityError:
        return Membership.objects.get(user=user, role=given.role, nursery=nursery)
    _keep(actor, membership, user, before=None, after=_words(membership))
    return membership


@transaction.atomic
def withdraw_role(actor: Actor, membership: Membership) -> None:
    """Take a role away. Raises NotAllowed, or Refused (`last_lead`)."""
    require_lead(actor, "withdraw roles")
    # Two leads who withdraw each other's role meet here, so that one of them stays.
    leads = list(Membership.objects.select_for_update().filter(role=Role.LEAD).order_by("pk"))
    if membership.role == Role.LEAD and len(leads) <= 1:
        raise Refused(
            Problem("last_lead", "Nobody would lead the programme. Name another lead first.")
        )
    before = _words(membership)
    pk = membership.pk
    deleted, _ = Membership.objects.filter(pk=pk).delete()
    if deleted:
        membership.pk = pk
        _keep(actor, membership, membership.user, before=before, after=dict.fromkeys(before))


@transaction.atomic
def save_person(
    actor: Actor, user: User, *, password: str = "", by_superuser: bool = False
) -> User:
    """Enter or edit a log-in. A password is kept hashed and never in the history.

    A new log-in without a password cannot be used until it gets one. Raises NotAllowed, also for
    a lead who would change the log-in of a superuser (unless `by_superuser`).
    """
    require_lead(actor, "change log-ins")
    stored = User.objects.filter(pk=user.pk).first() if user.pk else None
    raised = user.is_superuser or (stored is not None and stored.is_superuser)
    if raised and not by_superuser:
        raise NotAllowed(Problem("not_allowed", "Only a superuser changes a superuser's log-in."))
    before = _person(stored) if stored else {}
    if password:
        user.set_password(password)
    elif stored is None:
        user.set_unusable_password()
    user.save()
    after = _person(user) | ({"password": "set anew"} if password else {})
    changed = sorted(name for name in after if name not in before or before[name] != after[name])
    if changed:
        _keep(
            actor,
            user,
            user,
            before={name: before.get(name) for name in changed} if before else None,
            after={name: after[name] for name in changed},
        )
    return user


@transaction.atomic
def issue_token(
    actor: Actor, user: User, name: str, days: int, read_only: bool = False
) -> tuple[Token, str]:
    """Make a key for a program that acts as `user`; the key is returned once and not kept.

    Raises NotAllowed (somebody else's), or Refused (`required`, `too_long`, `out_of_range`).
    """
    require_write(actor)
    _own_or_lead(actor, user.pk, "make tokens for others")
    given = read(TokenIn, {"name": name, "days": days, "read_only": read_only})
    key = secrets.token_urlsafe(_RANDOM_BYTES)
    token = Token.objects.create(
        user=user,
        name=given.name,
        digest=digest_of_key(key),
        read_only=given.read_only,
        expires_at=timezone.now() + timedelta(days=given.days),
    )
    _keep(actor, token, user, before=None, after={"name": token.name, "read_only": token.read_only})
    return token, key


@transaction.atomic
def withdraw_token(actor: Actor, token: Token) -> Token:
    """End a token now; one that has been withdrawn stays as it is. Raises NotAllowed."""
    require_write(actor)
    _own_or_lead(actor, token.user_id, "withdraw other people's tokens")
    token = Token.objects.select_for_update(of=("self",)).select_related("user").get(pk=token.pk)
    if token.withdrawn_at is None:
        token.withdrawn_at = timezone.now()
        token.save(update_fields=["withdrawn_at"])
        _keep(
            actor,
            token,
            token.user,
            before={"withdrawn_at": None},
            after={"withdrawn_at": token.withdrawn_at.isoformat()},
        )
    return token


def _own_or_lead(actor: Actor, user_id: int, act: str) -> None:
    if actor.user_id != user_id and not actor.leads:
        raise NotAllowed(
            Problem("not_allowed", f"{actor.name} may not {act}. Ask a programme lead.")
        )


def _words(membership: Membership) -> dict[str, Any]:
    nursery = membership.nursery
    return {"role": str(membership.role), "nursery": nursery.code if nursery else None}


def _person(user: User) -> dict[str, Any]:
    names = ("username", "first_name", "last_name", "email", "is_active", "is_staff")
    return {name: getattr(user, name) for name in names}


def _keep(
    actor: Actor,
    row: Membership | Token | User,
    user: User,
    before: dict[str, Any] | None,
    after: dict[str, Any],
) -> None:
    Change.objects.create(
        register=row._meta.label_lower,
        row_id=row.pk,
        code=user.username[:60],
        by_id=actor.user_id,
        before=before,
        after=after,
    )
