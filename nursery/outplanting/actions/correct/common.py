"""What voiding, restoring and amending share: who may, and what must follow of an event."""

from __future__ import annotations

import uuid
from collections.abc import Collection, Iterable, Sequence
from datetime import datetime

from django.db.models import Q

from nursery.core.actor import Actor, Role, require
from nursery.core.dates import certainly_before, dated
from nursery.core.errors import NotAllowed, Problem, Refused, Unknown
from nursery.core.models import Correction, Event, EventKind, Mend
from nursery.donors.merging import canonical_anew
from nursery.donors.models import GenetMerge
from nursery.genotyping.models import Sample
from nursery.lineage import descent
from nursery.lineage.actions.merge import follow
from nursery.lineage.late import InTheWay
from nursery.lineage.models import Ending, Ramet, Step, StructureCount, Tag
from nursery.lineage.occupancy import busy_anew, stays_in
from nursery.lineage.tags import save_changed, tag_clash
from nursery.lineage.timeline import Overlap, refuse_overlaps
from nursery.outplanting.standing import sightings_follow, sockets_follow
from nursery.places.actions import lock_with_kin, ring_in_past, stand_anew
from nursery.places.cells import Cell
from nursery.places.models import Structure, StructureStep


def event_to_correct(actor: Actor, uid: uuid.UUID, act: str) -> Event:
    """The event, locked; `act` completes "may not …".

    Raises NotAllowed (`not_yours` for those who may correct only what they entered themselves), or
    Unknown (`unknown_event`).
    """
    require(actor, Role.FIELD, Role.NURSERY, act=act)
    event = Event.objects.select_for_update(no_key=True).filter(uid=uid).first()
    if event is None:
        raise Unknown(Problem("unknown_event", f"There is no entry {uid}.", ("event",)))
    require_own(actor, event, act)
    return event


def is_own(actor: Actor, event: Event) -> bool:
    """Whether an event is somebody's to correct, as far as whose it is decides that: a lead's are
    all, and merges of genets are nobody else's."""
    mine = event.recorded_by_id == actor.user_id and event.kind != EventKind.GENET_MERGE
    return actor.leads or mine


def require_own(actor: Actor, event: Event, act: str) -> None:
    """Refuse (`not_yours`) those who are no leads and did not enter it themselves."""
    if not is_own(actor, event):
        raise NotAllowed(
            Problem(
                "not_yours",
                f"{actor.name} may not {act}: the {event.get_kind_display()} {dated(event.when)} "
                "was entered by somebody else. Ask a programme lead.",
            )
        )


def require_live(event: Event) -> None:
    """Refuse (`voided_already`) an event that did not happen."""
    if not event.live:
        message = "This entry is void: it did not happen. Restore it first, if it did."
        raise Refused(Problem("voided_already", message, ("event",)))


def require_void(event: Event) -> None:
    """Refuse (`not_voided`) an event that happened."""
    if event.live:
        raise Refused(Problem("not_voided", "This entry is not void.", ("event",)))


def last_correction(event: Event) -> Correction | None:
    return Correction.objects.filter(event=event).order_by("-pk").first()


def require_amended(last: Correction | None) -> Correction:
    """The last correction of an event; refuse (`not_amended`) one that is no amendment."""
    if last is None or last.mend != Mend.AMENDED:
        raise Refused(Problem("not_amended", "This entry was not amended last.", ("event",)))
    return last


def keep(
    actor: Actor,
    event: Event,
    mend: Mend,
    reason: str,
    together: uuid.UUID,
    changes: dict[str, object] | None = None,
    undone: dict[str, object] | None = None,
) -> Correction:
    """Keep who corrected what, and why."""
    return Correction.objects.create(
        event=event,
        mend=mend,
        together=together,
        reason=reason,
        by_id=actor.user_id,
        changes=changes or {},
        undone=undone or {},
    )


def touched(event: Event) -> list[int]:
    """The ramets that an event has steps of, live ones or not."""
    return list(Step.objects.filter(event=event).values_list("ramet_id", flat=True).distinct())


def structures_follow(event: Event, coming: Collection[int] = ()) -> None:
    """Work out again where the structures of an event stand; `coming` are steps that become live.

    Raises InTheWay where something else was in their cells, or where one would stand in itself.
    """
    steps = StructureStep.objects.filter(event=event)
    ids = set(steps.values_list("structure_id", flat=True))
    if not ids:
        return
    parents = set(
        StructureStep.objects.filter(structure__in=ids, parent__isnull=False).values_list(
            "parent_id", flat=True
        )
    )
    locked = lock_with_kin(ids, parents)
    stand_anew({pk: locked[pk] for pk in sorted(ids)}, coming)
    _refuse_rings(event, ids)
    try:
        refuse_overlaps(stays_in(parents))
    except Overlap as overlap:
        later = max(overlap.first, overlap.second, key=lambda stay: stay.begin)
        other = Event.objects.get(pk=later.begin[1])
        where = Structure.objects.get(pk=later.cell[0])
        raise InTheWay(
            [
                Problem(
                    "cell_was_held",
                    f"{where.code} {Cell(*later.cell[1:]).name} was taken by the "
                    f"{other.get_kind_display()} {dated(other.when)}, so what stood there before "
                    f"the {event.get_kind_display()} {dated(event.when)} cannot be there.",
                )
            ],
            other if other.pk != event.pk else None,
        ) from None
    busy_anew(parents)


def _refuse_rings(event: Event, ids: Iterable[int]) -> None:
    ring = ring_in_past(ids)
    if ring is None:
        return
    raise InTheWay(
        [
            Problem(
                "structure_in_itself",
                f"{ring.structure.code} would stand in itself from the "
                f"{ring.event.get_kind_display()} {dated(ring.event.when)} on.",
            )
        ],
        ring.event if ring.event_id != event.pk else None,
    )


def locked_tags(which: Q) -> list[Tag]:
    """Tags in the order of their ids, locked: changed in memory, then handed to `tags_follow`."""
    rows = Tag.objects.filter(which).select_related("ramet", "event", "ended_by").order_by("pk")
    return list(rows.select_for_update(of=("self",), no_key=True))


def tags_follow(event: Event, changed: Sequence[Tag]) -> None:
    """Save tags that an event gave or took off as they are now in memory.

    Raises InTheWay (`tag_not_on`) where one would come off that was never on, or (`tag_taken`)
    where two of one text would be on at once.
    """
    for tag in changed:
        if not tag.live and tag.ended_by is not None:
            by = tag.ended_by
            raise tag_not_on(
                f"Tag {tag.text} cannot have come off {tag.ramet.code} by the {by}, if what put it "
                "on did not happen. Either both entries are void or neither is.",
                by if by.pk != event.pk else None,
            )
    clash = tag_clash(changed)
    if clash is None:
        save_changed(changed)
        return
    first, second = clash
    other = second.event if second.event_id != event.pk else first.event
    raise InTheWay(
        [
            Problem(
                "tag_taken",
                f"Tag {first.text} would be on {first.ramet.code} and on {second.ramet.code} at "
                f"once, from {second.since}.",
            )
        ],
        other if other is not None and other.pk != event.pk else None,
    )


def tag_not_on(message: str, other: Event | None) -> InTheWay:
    """Why a tag cannot have come off, and which event is in the way."""
    return InTheWay([Problem("tag_not_on", message)], other)


def all_follows(event: Event, ramet_ids: Sequence[int], since: datetime | None = None) -> None:
    """Work out again whatever hangs on an event that has its steps by now: what descends from it,
    what is named without a step, where outplants had lived, where they were seen. `since` is where
    it stood before. Raises InTheWay.
    """
    _descent_follows(event, ramet_ids)
    _refuse_unborn(event)
    _refuse_sent_before(event)
    sockets_follow(event, ramet_ids)
    sightings_follow(event, ramet_ids, since)


def _refuse_unborn(event: Event) -> None:
    """Refuse to leave a fusion or a count that names what had not been born by then: it has no step
    of that, so no history tells."""
    fusions = Ending.objects.filter(into__isnull=False, event__live=True)
    counts = StructureCount.objects.filter(lot__isnull=False, event__live=True)
    if event.kind == EventKind.ENDING:
        fusions, counts = fusions.filter(event=event), counts.none()
    elif event.kind == EventKind.COUNT:
        fusions, counts = fusions.none(), counts.filter(event=event)
    else:
        fusions, counts = fusions.filter(into__born=event), counts.filter(lot__event=event)
    named: list[tuple[Event, Event | None]] = [
        (row.event, row.into.born if row.into is not None else None)
        for row in fusions.select_related("event", "into__born").order_by("event__moment", "event")
    ]
    named += [
        (row.event, row.lot.event if row.lot is not None else None)
        for row in counts.select_related("event", "lot__event").order_by("event__moment", "pk")
    ]
    for naming, birth in named:
        if birth is not None and (not birth.live or certainly_before(naming.when, birth.when)):
            raise _unborn(event, naming, birth)


def _refuse_sent_before(event: Event) -> None:
    """Refuse to leave samples that had been sent before they were taken."""
    if event.kind != EventKind.SAMPLING:
        return
    early = Q(sent_on__lt=event.earliest) | Q(received_on__lt=event.earliest)
    sample = Sample.objects.filter(early, event=event).order_by("pk").first()
    if sample is not None:
        message = (
            f"Sample {sample.code} had left before it would have been taken {dated(event.when)}. "
            "Check both dates."
        )
        raise InTheWay([Problem("before_sampling", message)], None)


def _unborn(event: Event, naming: Event, birth: Event) -> InTheWay:
    this = f"{naming.get_kind_display()} {dated(naming.when)}"
    made = f"{birth.get_kind_display()} {dated(birth.when)}"
    if event.pk == birth.pk:
        return InTheWay(
            [
                Problem(
                    "behind_later_entry",
                    f"The {this} names what this {made} made. Void or amend that one first.",
                )
            ],
            naming,
        )
    if not birth.live:
        message = f"This {this} names what has never been: the {made} that made it was voided."
        return InTheWay([Problem("never_born", f"{message} Restore that first.")], None)
    message = f"This {this} names what came into the record only later ({made}). Check both dates."
    return InTheWay([Problem(f"before_{birth.kind_word}", message)], birth)


def _descent_follows(event: Event, ramet_ids: Sequence[int]) -> None:
    """Work out again what descends from an event: genets, donors, generations, merged genets."""
    if event.kind in (EventKind.COLLECTION, EventKind.FRAGMENTATION):
        descent.work_out(Ramet.everything.filter(born=event).values_list("pk", flat=True))
    elif event.kind == EventKind.RELABELLING:
        descent.work_out(ramet_ids)
    elif event.kind == EventKind.GENET_MERGE:
        merge = GenetMerge.objects.get(event=event)
        follow(canonical_anew([merge.kept_id, merge.merged_id]))
