"""Who acts, with which roles, at which nurseries: a plain value made at the edge."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from enum import StrEnum

from nursery.core.errors import NotAllowed, Problem


class Role(StrEnum):
    """What a person is in the programme; `access` grants them."""

    VIEWER = "viewer"
    FIELD = "field"
    NURSERY = "nursery"
    LEAD = "lead"


@dataclass(frozen=True, slots=True)
class Actor:
    """A person at work. `nurseries` holds the ids at which the nursery role was given; `zone` is
    the time zone of these where they share one, else empty.
    """

    user_id: int
    name: str
    roles: frozenset[Role]
    nurseries: frozenset[int] = field(default_factory=frozenset)
    read_only: bool = False
    zone: str = ""

    def has(self, *roles: Role) -> bool:
        """Whether any of the roles is held."""
        return not self.roles.isdisjoint(roles)

    @property
    def leads(self) -> bool:
        return Role.LEAD in self.roles

    def works_at(self, nursery_id: int | None) -> bool:
        """Whether the nursery's stock may be handled: a lead everywhere, staff at their own."""
        if self.leads:
            return True
        return Role.NURSERY in self.roles and nursery_id in self.nurseries


def require_read(actor: Actor) -> None:
    """Refuse (`no_role`) a person to whom no role has been given."""
    if not actor.roles:
        raise NotAllowed(
            Problem(
                "no_role",
                f"{actor.name} has no role in this programme yet. Ask a programme lead for one.",
            )
        )


def require_write(actor: Actor) -> None:
    """Refuse (`no_role`, `read_only`) a person or token that may not write anything."""
    require_read(actor)
    if actor.read_only:
        raise NotAllowed(
            Problem("read_only", "This access token only reads. Use one that may write.")
        )


def require(actor: Actor, *roles: Role, act: str) -> None:
    """Refuse (`not_allowed`) unless one of the roles is held; a lead may do everything.

    `act` completes the sentence "… may not …", for example "register donor colonies".
    """
    require_write(actor)
    if not actor.leads and not actor.has(*roles):
        held = ", ".join(sorted(actor.roles))
        raise NotAllowed(
            Problem("not_allowed", f"{actor.name} ({held}) may not {act}. Ask a programme lead.")
        )


def require_at(
    actor: Actor, nurseries: Iterable[tuple[int | None, str]], *others: Role, act: str
) -> None:
    """Refuse (`not_your_nursery`) unless the actor works at each nursery, given as (id, name).

    Holders of one of the roles `others` may act anywhere.
    """
    require(actor, Role.NURSERY, *others, act=act)
    if actor.leads or actor.has(*others):
        return
    for nursery_id, name in nurseries:
        if not actor.works_at(nursery_id):
            raise NotAllowed(
                Problem(
                    "not_your_nursery",
                    f"{actor.name} does not work at {name or 'that place'}, so may not {act} "
                    "there. Ask its staff or a programme lead.",
                )
            )
