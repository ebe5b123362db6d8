"""Voiding: an event did not happen. Restoring: it did after all."""

from __future__ import annotations

import uuid
from collections.abc import Callable
from datetime import date
from typing import Any

from django.db import transaction

from nursery.core.actor import Actor
from nursery.core.dates import dated
from nursery.core.errors import Problem, Refused
from nursery.core.models import Correction, Event, Mend
from nursery.lineage.entries import Entry
from nursery.lineage.late import InTheWay, settle
from nursery.lineage.models import Ending, Ramet, Step, StructureCount, Tag
from nursery.lineage.rows import change_of, lock_all
from nursery.lineage.words import What
from nursery.outplanting.actions.correct.common import (
    descent_follows,
    event_to_correct,
    keep,
    refuse_tag_clash,
    require_own,
    structures_follow,
    touched,
)
from nursery.outplanting.actions.correct.outcome import Outcome, Watch
from nursery.outplanting.corrections import RestoreIn, VoidIn
from nursery.outplanting.standing import sightings_follow
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
        if not event.live:
            raise Refused(Problem("voided_already", "This entry was voided already.", ("event",)))
        _void_all(actor, event, given, together or uuid.uuid4(), watch)

    return carried_out(act, preview)


def restore(actor: Actor, given: RestoreIn, preview: bool = False) -> Outcome:
    """Restore a voided event: the steps that its void took out stand again, if they still can.

    Raises NotAllowed; Unknown; Refused (`not_voided`); InTheWay.
    """

    def act(watch: Watch) -> None:
        event = event_to_correct(actor, given.event, "restore entries")
        if event.live:
            raise Refused(Problem("not_voided", "This entry is not void.", ("event",)))
        watch.look(event)
        _restore(event)
        keep(actor, event, Mend.RESTORED, given.reason, uuid.uuid4())
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
    watch.events.append(event)


def _void(event: Event) -> dict[str, Any]:
    """Take an event's steps out, with all that hangs on it; returns what that took out."""
    steps = Step.objects.filter(event=event, live=True)
    structure_steps = StructureStep.objects.filter(event=event, live=True)
    ended = Tag.objects.filter(ended_by=event).select_for_update(no_key=True)
    undone: dict[str, Any] = {
        "steps": list(steps.values_list("pk", flat=True)),
        "structure_steps": list(structure_steps.values_list("pk", flat=True)),
        "tags": list(Tag.objects.filter(event=event, live=True).values_list("pk", flat=True)),
        "tags_ended": [[tag.pk, str(tag.until), tag.lost] for tag in ended],
    }
    _refuse_leaning(event)
    settle(event, [])
    structure_steps.update(live=False)
    structures_follow(event)
    Tag.objects.filter(event=event).update(live=False)
    texts = {tag.text for tag in ended}
    _open_tags(event, undone["tags_ended"], texts)
    event.live = False
    event.save(update_fields=["live"])
    ramets = touched(event)
    descent_follows(event, ramets)
    sightings_follow(event, ramets)
    return undone


def _open_tags(event: Event, ended: list[list[Any]], texts: set[str]) -> None:
    """Tags that the event ended are in force again; two on one text are in the way."""
    ids = [pk for pk, *_ in ended]
    with transaction.atomic():
        # Judged before they are opened: the database allows one in force.
        later = Tag.objects.filter(text__in=texts, live=True).exclude(pk__in=ids)
        for tag in Tag.objects.filter(pk__in=ids, live=True):
            other = later.filter(text=tag.text, since__gte=tag.since).order_by("since").first()
            if other is not None and other.event is not None:
                raise InTheWay(
                    [
                        Problem(
                            "tag_taken",
                            f"Tag {tag.text} would be on {tag.ramet.code} again, and is on "
                            f"{other.ramet.code} since {other.since}.",
                        )
                    ],
                    other.event,
                )
        Tag.objects.filter(pk__in=ids).update(until=None, ended_by=None, lost=False)
    refuse_tag_clash(event, texts)


def _refuse_leaning(event: Event) -> None:
    """What names the event's ramets without a step of its own would be left without them."""
    born = Ramet.objects.filter(born=event)
    fusion = Ending.objects.filter(into__in=born, event__live=True).select_related("event").first()
    count = StructureCount.objects.filter(lot__event=event, event__live=True)
    counted = count.select_related("event").first()
    for other in (fusion, counted):
        if other is not None:
            raise InTheWay(
                [
                    Problem(
                        "behind_later_entry",
                        f"The {other.event.get_kind_display()} {dated(other.event.when)} names "
                        f"what this {event.get_kind_display()} {dated(event.when)} made.",
                    )
                ],
                other.event,
            )


def _restore(event: Event) -> None:
    last = Correction.objects.filter(event=event, mend=Mend.VOIDED).order_by("-pk").first()
    undone: dict[str, Any] = last.undone if last is not None else {}
    steps = list(Step.objects.filter(pk__in=undone.get("steps", [])).order_by("pk"))
    ramets = lock_all({step.ramet_id for step in steps}, {})
    _refuse_unborn(event, steps, ramets)
    event.live = True
    event.save(update_fields=["live"])
    settle(event, [Entry(ramets[step.ramet_id], change_of(step)) for step in steps], stay=True)
    structures_follow(event, undone.get("structure_steps", []))
    given = Tag.objects.filter(pk__in=undone.get("tags", []))
    texts = set(given.values_list("text", flat=True))
    for pk, until, lost in undone.get("tags_ended", []):
        tag = Tag.objects.select_for_update(no_key=True).get(pk=pk)
        texts.add(tag.text)
        if tag.until is None:
            tag.until, tag.ended_by, tag.lost = date.fromisoformat(until), event, lost
            tag.save(update_fields=["until", "ended_by", "lost"])
    _refuse_second_tag(event, given)
    given.update(live=True)
    refuse_tag_clash(event, texts)
    ramet_ids = list(ramets)
    descent_follows(event, ramet_ids)
    sightings_follow(event, ramet_ids)


def _refuse_unborn(event: Event, steps: list[Step], ramets: dict[int, Ramet]) -> None:
    """A ramet whose own birth is void cannot be given steps again, and is nobody's source."""
    for step in steps:
        ramet = ramets[step.ramet_id]
        if step.what != What.BORN and not ramet.born.live:
            raise Refused(
                Problem(
                    "never_born",
                    f"{ramet.code} has never been: the {ramet.born.get_kind_display()} "
                    f"{dated(ramet.born.when)} that made it is void. Restore that first, then the "
                    f"{event.get_kind_display()} {dated(event.when)}.",
                )
            )


def _refuse_second_tag(event: Event, given: Any) -> None:
    for tag in given.filter(until__isnull=True):
        other = Tag.objects.filter(text=tag.text, until__isnull=True, live=True).first()
        if other is not None:
            raise InTheWay(
                [
                    Problem(
                        "tag_taken",
                        f"Tag {tag.text} is on {other.ramet.code} since {other.since}.",
                    )
                ],
                other.event if other.event_id != event.pk else None,
            )
