"""Voiding: an event did not happen. Restoring: it did after all."""

from __future__ import annotations

import uuid
from collections.abc import Callable
from datetime import date
from typing import Any

from django.db import transaction
from django.db.models import Q

from nursery.core.actor import Actor
from nursery.core.dates import dated
from nursery.core.errors import Problem, Refused
from nursery.core.models import Correction, Event, Mend
from nursery.genotyping import confirming
from nursery.lineage.entries import Entry
from nursery.lineage.late import InTheWay, settle
from nursery.lineage.models import Step
from nursery.lineage.rows import change_of, lock_all
from nursery.outplanting.actions.correct.common import (
    all_follows,
    event_to_correct,
    keep,
    locked_tags,
    require_live,
    require_own,
    require_void,
    structures_follow,
    tag_not_on,
    tags_follow,
    touched,
)
from nursery.outplanting.actions.correct.outcome import Outcome, Watch
from nursery.outplanting.corrections import RestoreIn, VoidIn
from nursery.places.models import StructureStep

ACT = "void entries"
MOST_TOGETHER = 500
"""The most events that are voided in one act: more is a programme, not a slip."""


def void(
    actor: Actor, given: VoidIn, preview: bool = False, together: uuid.UUID | None = None
) -> Outcome:
    """Void an event; with `together` also all that is in the way, last first. One transaction.

    With `preview` nothing is kept: the outcome says what would change. `together` is what these
    corrections are to be known by, if the caller chooses that. Raises NotAllowed; Unknown;
    Refused (`voided_already`, `too_many_in_the_way`); InTheWay with the first event in the way and
    both dates.
    """

    def act(watch: Watch) -> None:
        event = event_to_correct(actor, given.event, ACT)
        require_live(event)
        _void_all(actor, event, given, together or uuid.uuid4(), watch)

    return carried_out(act, preview)


def restore(actor: Actor, given: RestoreIn, preview: bool = False) -> Outcome:
    """Restore a voided event: the steps that its void took out stand again, if they still can.

    Raises NotAllowed; Unknown; Refused (`not_voided`); InTheWay.
    """

    def act(watch: Watch) -> None:
        event = event_to_correct(actor, given.event, "restore entries")
        require_void(event)
        watch.look(event)
        _restore(event)
        keep(actor, event, Mend.RESTORED, given.reason, uuid.uuid4())
        confirming.follow(actor, event)
        watch.events.append(event)

    return carried_out(act, preview)


def carried_out(act: Callable[[Watch], None], preview: bool) -> Outcome:
    """Do it in one transaction and tell what changed; with `preview` nothing is kept of it."""
    watch = Watch()
    with transaction.atomic():
        act(watch)
        outcome = watch.outcome()
        transaction.set_rollback(preview)
    return outcome


def _void_all(actor: Actor, event: Event, given: VoidIn, together: uuid.UUID, watch: Watch) -> None:
    """Void an event, after whatever is in its way where that is asked for."""
    while True:
        watch.look(event)
        try:
            with transaction.atomic():
                undone = _void(event)
            break
        except InTheWay as blocked:
            if not given.together or blocked.event is None:
                raise
            if len(watch.events) >= MOST_TOGETHER:
                raise Refused(
                    Problem(
                        "too_many_in_the_way",
                        f"More than {MOST_TOGETHER} entries are in the way. Void some of them "
                        "first.",
                    )
                ) from blocked
            other = Event.objects.select_for_update(no_key=True).get(pk=blocked.event.pk)
            require_own(actor, other, ACT)
            _void_all(actor, other, given, together, watch)
            event.refresh_from_db()
    keep(actor, event, Mend.VOIDED, given.reason, together, undone=undone)
    confirming.follow(actor, event)
    watch.events.append(event)


def _void(event: Event) -> dict[str, Any]:
    """Take an event's steps out, with all that hangs on it; returns what that took out."""
    steps = Step.objects.filter(event=event, live=True)
    structure_steps = StructureStep.objects.filter(event=event, live=True)
    tags = locked_tags(Q(event=event, live=True) | Q(ended_by=event))
    undone: dict[str, Any] = {
        "steps": list(steps.values_list("pk", flat=True)),
        "structure_steps": list(structure_steps.values_list("pk", flat=True)),
        "tags": [tag.pk for tag in tags if tag.live and tag.event_id == event.pk],
        "tags_ended": [
            [tag.pk, str(tag.until), tag.lost] for tag in tags if tag.ended_by_id == event.pk
        ],
    }
    settle(event, [])
    structure_steps.update(live=False)
    structures_follow(event)
    for tag in tags:
        tag.live = tag.live and tag.event_id != event.pk
        if tag.ended_by_id == event.pk:
            tag.until, tag.ended_by, tag.lost = None, None, False
    tags_follow(event, tags)
    event.live = False
    event.save(update_fields=["live"])
    all_follows(event, touched(event))
    return undone


def _restore(event: Event) -> None:
    last = Correction.objects.filter(event=event, mend=Mend.VOIDED).order_by("-pk").first()
    undone: dict[str, Any] = last.undone if last is not None else {}
    steps = list(Step.objects.filter(pk__in=undone.get("steps", [])).order_by("pk"))
    ramets = lock_all({step.ramet_id for step in steps}, {})
    event.live = True
    event.save(update_fields=["live"])
    settle(event, [Entry(ramets[step.ramet_id], change_of(step)) for step in steps], stay=True)
    structures_follow(event, undone.get("structure_steps", []))
    ended = {pk: (until, lost) for pk, until, lost in undone.get("tags_ended", [])}
    given = undone.get("tags", [])
    tags = locked_tags(Q(pk__in=[*given, *ended]))
    for tag in tags:
        tag.live = tag.live or tag.pk in given
        if tag.pk in ended:
            if tag.ended_by is not None:
                raise tag_not_on(
                    f"Tag {tag.text} came off {tag.ramet.code} by the {tag.ended_by}; it cannot "
                    f"have come off {dated(event.when)} too. Void that one first.",
                    tag.ended_by,
                )
            until, lost = ended[tag.pk]
            tag.until, tag.ended_by, tag.lost = date.fromisoformat(until), event, lost
    tags_follow(event, tags)
    all_follows(event, list(ramets))
