"""Settling what disagrees or is irregular: a lead says that it stands as it is."""

from __future__ import annotations

from typing import Annotated

from django.db import IntegrityError, transaction
from pydantic import AfterValidator, StringConstraints

from nursery.core.actor import Actor, require
from nursery.core.errors import Problem, Refused
from nursery.core.inputs import Given, printable
from nursery.outplanting.corrections import Reason
from nursery.outplanting.models import Settled
from nursery.outplanting.unsettled import CODES, unsettled

Thing = Annotated[
    str,
    StringConstraints(strip_whitespace=True, min_length=1, max_length=60),
    AfterValidator(printable),
]


class SettledIn(Given):
    """One thing as `unsettled` tells it, by its code and what it is about, and why it stands."""

    code: Thing
    thing: Thing
    reason: Reason


@transaction.atomic
def accept(actor: Actor, given: SettledIn) -> Settled:
    """Say that something stands as it is; it is told no more among what is to be settled.

    Raises NotAllowed (leads alone), Refused (`nothing_to_settle`, `settled_already`).
    """
    require(actor, act="settle what disagrees")
    known = given.code in CODES
    found = unsettled(actor, [given.code]) if known else []
    if not any(row.thing == given.thing for row in found):
        if Settled.objects.filter(code=given.code, thing=given.thing).exists():
            raise Refused(Problem("settled_already", "This was settled already.", ("thing",)))
        raise Refused(
            Problem("nothing_to_settle", "There is no such thing to be settled.", ("thing",))
        )
    try:
        with transaction.atomic():
            return Settled.objects.create(
                code=given.code, thing=given.thing, reason=given.reason, by_id=actor.user_id
            )
    except IntegrityError:
        raise Refused(Problem("settled_already", "This was settled already.", ("thing",))) from None


@transaction.atomic
def take_back(actor: Actor, code: str, thing: str) -> None:
    """Tell it again among what is to be settled. Raises NotAllowed, Refused (`not_settled`)."""
    require(actor, act="settle what disagrees")
    rows = Settled.objects.select_for_update(no_key=True).filter(code=code, thing=thing)
    if not rows:
        raise Refused(Problem("not_settled", "This was not settled.", ("thing",)))
    rows.delete()
