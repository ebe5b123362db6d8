"""The beginning of every event: permission was checked, now the header goes in first.

A uid that exists already is answered by what is kept: the same input from the same person is the
same entry (nothing is written); anything else is a conflict that reveals nothing.
"""

from __future__ import annotations

import uuid
from dataclasses import dataclass
from datetime import UTC

from django.db import IntegrityError, transaction

from nursery.core.actor import Actor
from nursery.core.dates import When
from nursery.core.errors import Conflict, Problem
from nursery.core.inputs import EventIn, digest_of
from nursery.core.models import Event, EventKind


@dataclass(frozen=True, slots=True)
class Recorded:
    """An event as it stands, and whether this call wrote it (`fresh`) or found it."""

    event: Event
    fresh: bool


def begin(actor: Actor, kind: EventKind, given: EventIn) -> Recorded:
    """Insert the header of an event; call it first inside the action's transaction.

    Raises Conflict (`uid_taken`) where the uid belongs to another entry or another person.
    """
    if not transaction.get_connection().in_atomic_block:
        raise RuntimeError("an event is begun inside its action's transaction")
    digest = digest_of(kind.name, given)
    if given.uid is not None:
        known = Event.objects.filter(uid=given.uid).first()
        if known is not None:
            return _same_or_refuse(known, actor, digest)
    event = _header(actor, kind, given, digest)
    if given.uid is None:
        # A uid of our own is nobody else's: no savepoint to go back to is needed.
        event.save(force_insert=True)
        return Recorded(event, fresh=True)
    try:
        with transaction.atomic():
            event.save(force_insert=True)
    except IntegrityError:
        # Somebody else's insert of the same uid won while we waited for its commit.
        known = Event.objects.filter(uid=event.uid).first()
        if known is None:
            raise
        return _same_or_refuse(known, actor, digest)
    return Recorded(event, fresh=True)


def _header(actor: Actor, kind: EventKind, given: EventIn, digest: str) -> Event:
    when: When = given.when
    return Event(
        uid=given.uid or uuid.uuid4(),
        kind=kind,
        earliest=when.earliest,
        latest=when.latest,
        time=when.time,
        moment=when.lower.replace(tzinfo=UTC),
        recorded_by_id=actor.user_id,
        done_by="; ".join(name.replace(";", ",") for name in given.done_by)[:500],
        note=given.note,
        digest=digest,
    )


def _same_or_refuse(known: Event, actor: Actor, digest: str) -> Recorded:
    if known.digest == digest and known.recorded_by_id == actor.user_id:
        return Recorded(known, fresh=False)
    raise Conflict(
        Problem(
            "uid_taken",
            "This uid belongs to another entry. Send the same entry again unchanged, "
            "or choose a new uid.",
            ("uid",),
        )
    )
