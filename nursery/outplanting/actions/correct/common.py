"""What voiding, restoring and amending share: who may, and what must follow of an event."""

from __future__ import annotations

import uuid
from collections.abc import Collection, Iterable, Sequence

from django.db.models import Q

from nursery.core.actor import Actor, Role, require
from nursery.core.dates import dated
from nursery.core.errors import NotAllowed, Problem, Unknown
from nursery.core.models import Correction, Event, EventKind, Mend
from nursery.donors.merging import canonical_anew
from nursery.donors.models import GenetMerge
from nursery.lineage import descent
from nursery.lineage.actions.merge import follow
from nursery.lineage.late import InTheWay
from nursery.lineage.models import Ramet, Step, Tag
from nursery.lineage.occupancy import busy_anew, stays_in
from nursery.lineage.tags import save_changed, tag_clash
from nursery.lineage.timeline import Overlap, refuse_overlaps
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


def require_own(actor: Actor, event: Event, act: str) -> None:
    """Refuse (`not_yours`) those who are no leads and did not enter it themselves."""
    if actor.leads:
        return
    if event.recorded_by_id != actor.user_id or event.kind == EventKind.GENET_MERGE:
        raise NotAllowed(
            Problem(
                "not_yours",
                f"{actor.name} may not {act}: the {event.get_kind_display()} {dated(event.when)} "
                "was entered by somebody else. Ask a programme lead.",
            )
        )


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

    Raises InTheWay (`tag_taken`) where two of one text would be on at once.
    """
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


def descent_follows(event: Event, ramet_ids: Sequence[int]) -> None:
    """Work out again what descends from an event: genets, donors, generations, merged genets."""
    if event.kind in (EventKind.COLLECTION, EventKind.FRAGMENTATION):
        descent.work_out(Ramet.everything.filter(born=event).values_list("pk", flat=True))
    elif event.kind == EventKind.RELABELLING:
        descent.work_out(ramet_ids)
    elif event.kind == EventKind.GENET_MERGE:
        merge = GenetMerge.objects.get(event=event)
        follow(canonical_anew([merge.kept_id, merge.merged_id]))
