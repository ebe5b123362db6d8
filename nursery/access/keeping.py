"""Lists that people keep under a name: their own way to what they look at every day.

Nothing of the record: a kept list is overwritten by its owner, and removed.
"""

from __future__ import annotations

from django.db import IntegrityError, transaction

from nursery.access.inputs import KeptListIn, KeptNameIn
from nursery.access.models import KeptList
from nursery.core.actor import Actor, require_read
from nursery.core.errors import Conflict, NotAllowed, Problem, Unknown


def keep_list(actor: Actor, given: KeptListIn) -> KeptList:
    """Keep a list under a name; one's own of that name is the new one from now on.

    Raises NotAllowed (`no_role`).
    """
    require_read(actor)
    row, _ = KeptList.objects.update_or_create(
        user_id=actor.user_id,
        path=given.path,
        name=given.name,
        defaults={"query": given.query, "shared": given.shared},
    )
    return row


def rename_list(actor: Actor, pk: int, given: KeptNameIn) -> KeptList:
    """Give one's own kept list another name, share it or keep it to oneself.

    Raises Unknown (`unknown_list`), NotAllowed (`not_yours`), Conflict (`name_taken`).
    """
    row = _seen(actor, pk)
    if row.user_id != actor.user_id:
        raise NotAllowed(
            Problem(
                "not_yours", f"{row.name} was kept by somebody else. Ask them for another name."
            )
        )
    row.name, row.shared = given.name, given.shared
    try:
        with transaction.atomic():
            row.save(update_fields=["name", "shared"])
    except IntegrityError as error:
        raise Conflict(
            Problem("name_taken", f"You keep another list as {given.name}.", ("name",))
        ) from error
    return row


def drop_list(actor: Actor, pk: int) -> KeptList:
    """Remove a kept list; a lead may remove what others share.

    Raises NotAllowed (`not_yours`), Unknown (`unknown_list`).
    """
    row = _seen(actor, pk)
    if row.user_id != actor.user_id and not actor.leads:
        raise NotAllowed(
            Problem("not_yours", f"{row.name} was kept by somebody else. Ask them or a lead.")
        )
    row.delete()
    return row


def _seen(actor: Actor, pk: int) -> KeptList:
    """A kept list that the actor sees: their own, or one that somebody shares."""
    require_read(actor)
    row = KeptList.objects.filter(pk=pk).first()
    if row is None or (row.user_id != actor.user_id and not row.shared):
        raise Unknown(Problem("unknown_list", "There is no such kept list."))
    return row
