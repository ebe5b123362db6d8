"""What is entered twice under one uid: the same entry, or a conflict that reveals nothing."""

from __future__ import annotations

from nursery.core.actor import Actor
from nursery.core.errors import Conflict, Problem


def same_or_refuse(digest: str, by: int, wanted: str, actor: Actor) -> None:
    """Raise Conflict (`uid_taken`) unless what is kept has this digest and is of this person."""
    if digest == wanted and by == actor.user_id:
        return
    raise Conflict(
        Problem(
            "uid_taken",
            "This uid belongs to another entry. Send the same entry again unchanged, "
            "or choose a new uid.",
            ("uid",),
        )
    )
