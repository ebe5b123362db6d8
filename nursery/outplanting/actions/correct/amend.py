"""Amending: an event happened otherwise. It keeps its identity; what was said before is kept."""

from __future__ import annotations

import uuid
from collections.abc import Sequence
from typing import Any

from django.db.models import Q

from nursery.core.actor import Actor
from nursery.core.dates import dated
from nursery.core.errors import Problem, Refused
from nursery.core.inputs import read
from nursery.core.models import Event, EventKind, Mend
from nursery.donors.models import Collection, DonorColony, EventPermit, Genet
from nursery.donors.permits import attach
from nursery.genotyping.models import Sample
from nursery.lineage.actions.collect import refuse_when
from nursery.lineage.actions.cut import cut_change
from nursery.lineage.entries import Entry
from nursery.lineage.late import settle
from nursery.lineage.models import Fragmentation, Ramet, Relabelling, Source, Step
from nursery.lineage.permission import require_stock
from nursery.lineage.replay import Change
from nursery.lineage.resolve import all_of
from nursery.lineage.rows import change_of, lock_all
from nursery.lineage.tags import live_tags
from nursery.lineage.words import Place, What
from nursery.outplanting.actions.correct.common import (
    all_follows,
    event_to_correct,
    keep,
    last_correction,
    locked_tags,
    require_amended,
    require_live,
    structures_follow,
    tag_not_on,
    tags_follow,
    touched,
)
from nursery.outplanting.actions.correct.outcome import Outcome, Watch
from nursery.outplanting.actions.correct.void import carried_out
from nursery.outplanting.actions.plant import plot_of_code, refuse_closed
from nursery.outplanting.corrections import AmendIn, SwapIn
from nursery.outplanting.models import Outplanting
from nursery.places.models import StructureStep

ACT = "amend entries"
OF_KIND = {
    "colony": EventKind.COLLECTION,
    "sources": EventKind.FRAGMENTATION,
    "plot": EventKind.OUTPLANTING,
    "genet": EventKind.RELABELLING,
}
"""The kind of event that each field belongs to which not all have."""


def amend(
    actor: Actor, given: AmendIn, preview: bool = False, together: uuid.UUID | None = None
) -> Outcome:
    """Amend an event: its date, people, permits, note; a collection's colony, a cutting's mothers,
    an outplanting's plot, a relabelling's genet. Later events stand if they still can.

    With `preview` nothing is kept; `together` is what the correction is to be known by, if the
    caller chooses that. Raises NotAllowed; Unknown; Refused (`voided_already`, `not_of_this_kind`,
    `nothing_amended` and those of the values); InTheWay with the first event that could not stand
    any more and both dates.
    """

    def act(watch: Watch) -> None:
        event = event_to_correct(actor, given.event, ACT)
        _amend(actor, event, given, watch, together)

    return carried_out(act, preview)


def undo_amendment(
    actor: Actor, event_uid: uuid.UUID, reason: str, preview: bool = False
) -> Outcome:
    """Amend an event back to what it was before its last amendment.

    Raises as `amend`; Refused (`not_amended`) where the last correction was no amendment.
    """

    def act(watch: Watch) -> None:
        event = event_to_correct(actor, event_uid, ACT)
        last = require_amended(last_correction(event))
        before: dict[str, Any] = {name: pair[0] for name, pair in last.changes.items()}
        before["event"], before["reason"] = str(event_uid), reason
        _amend(actor, event, read(AmendIn, before), watch)

    return carried_out(act, preview)


def _amend(
    actor: Actor, event: Event, given: AmendIn, watch: Watch, together: uuid.UUID | None = None
) -> None:
    _refuse_misfit(event, given)
    watch.look(event)
    changes: dict[str, Any] = {}
    _amend_header(event, given, changes)
    own = _Own(event)
    if given.when is not None and given.when != event.when:
        changes["when"] = [str(event.when), str(given.when)]
        event.earliest, event.latest, event.time = (
            given.when.earliest,
            given.when.latest,
            given.when.time,
        )
        event.save(update_fields=["earliest", "latest", "time"])
    if given.colony is not None:
        _amend_colony(event, given.colony, changes)
    if given.sources:
        _amend_sources(actor, event, given.sources, own, changes)
    if given.plot is not None:
        _amend_plot(event, given.plot, own, changes)
    if given.genet is not None or "genet" in given.model_fields_set:
        _amend_genet(event, given.genet, changes)
    if not changes:
        raise Refused(Problem("nothing_amended", "That is what the entry says already."))
    _refuse_dates(event, changes)
    since = event.moment
    if changes.keys() - {"done_by", "permits", "note"}:
        settle(event, own.entries(), stay="when" not in changes)
        structures_follow(event)
        if "when" in changes:
            _tags_on_the_day(event)
        ramets = touched(event)
        watch.look_at(ramets)
        all_follows(event, ramets, since)
    keep(actor, event, Mend.AMENDED, given.reason, together or uuid.uuid4(), changes=changes)
    watch.events.append(event)


class _Own:
    """The steps that an event has, to be given to it again, perhaps otherwise."""

    def __init__(self, event: Event) -> None:
        steps = Step.objects.filter(event=event, live=True).order_by("pk")
        self.changes: dict[int, Change] = {step.ramet_id: change_of(step) for step in steps}

    def entries(self) -> list[Entry]:
        rows = lock_all(self.changes, {})
        return [Entry(rows[pk], change) for pk, change in self.changes.items()]


def _refuse_misfit(event: Event, given: AmendIn) -> None:
    require_live(event)
    for name, kind in OF_KIND.items():
        if name in given.model_fields_set and getattr(given, name) != () and event.kind != kind:
            raise Refused(
                Problem(
                    "not_of_this_kind",
                    f"A {event.get_kind_display()} has no {name}; a {kind.label} has.",
                    (name,),
                )
            )


def _amend_header(event: Event, given: AmendIn, changes: dict[str, Any]) -> None:
    if given.done_by is not None and list(given.done_by) != event.people:
        changes["done_by"] = [event.people, list(given.done_by)]
        event.done_by = "; ".join(name.replace(";", ",") for name in given.done_by)[:500]
    if given.note is not None and given.note != event.note:
        changes["note"] = [event.note, given.note]
        event.note = given.note
    event.save(update_fields=["done_by", "note"])
    if given.permits is not None:
        links = EventPermit.objects.filter(event=event)
        before = sorted(links.values_list("permit__code", flat=True))
        if before != sorted(set(given.permits)):
            links.delete()
            attach(event, given.permits)
            changes["permits"] = [before, sorted(set(given.permits))]


def _amend_colony(event: Event, code: str, changes: dict[str, Any]) -> None:
    collection = Collection.objects.select_related("colony").get(event=event)
    colony = DonorColony.objects.select_related("taxon", "genet", "reef").filter(code=code).first()
    if colony is None:
        raise Refused(
            Problem("unknown_donorcolony", f"There is no donor colony {code}.", ("colony",))
        )
    if collection.colony_id == colony.pk:
        return
    if collection.colony is None:
        raise Refused(
            Problem(
                "loose_collection",
                "These were loose pieces, of no colony. Relabel them with the genet instead.",
                ("colony",),
            )
        )
    changes["colony"] = [collection.colony.code, colony.code]
    collection.colony, collection.reef = colony, colony.reef
    collection.taxon, collection.genet = colony.taxon, colony.genet
    collection.save(update_fields=["colony", "reef", "taxon", "genet"])


def _amend_sources(
    actor: Actor, event: Event, swaps: Sequence[SwapIn], own: _Own, changes: dict[str, Any]
) -> None:
    """Give a cutting another mother, or say that one was used up or was not."""
    fragmentation = Fragmentation.objects.get(event=event)
    named = [(swap.instead_of, ("sources", n, "instead_of")) for n, swap in enumerate(swaps)]
    old = all_of(named, on=event.latest)
    new = all_of(
        [(swap.ramet or swap.instead_of, ("sources", n, "ramet")) for n, swap in enumerate(swaps)],
        on=event.latest,
    )
    sources = {row.ramet_id: row for row in Source.objects.filter(fragmentation=fragmentation)}
    ramets = Ramet.objects.in_bulk([*old, *new])
    codes = {pk: ramet.code for pk, ramet in ramets.items()}
    require_stock(actor, [ramets[pk] for pk in set(new) - sources.keys()], [], act=ACT)
    before, after = [], []
    for n, (swap, mother, other) in enumerate(zip(swaps, old, new, strict=True)):
        row = sources.get(mother)
        if row is None:
            raise Refused(
                Problem(
                    "not_a_source",
                    f"{codes[mother]} is no source of this cutting.",
                    ("sources", n, "instead_of"),
                )
            )
        if other != mother and other in sources and other not in old:
            raise Refused(
                Problem(
                    "named_twice",
                    f"{codes[other]} is a source of this cutting already.",
                    ("sources", n, "ramet"),
                )
            )
        used_up = row.used_up if swap.used_up is None else swap.used_up
        if other == mother and used_up == row.used_up:
            continue
        before.append({"instead_of": codes[other], "ramet": codes[mother], "used_up": row.used_up})
        after.append({"instead_of": codes[mother], "ramet": codes[other], "used_up": used_up})
        own.changes.pop(mother, None)
        row.ramet_id, row.used_up = other, used_up
    if not after:
        return
    for row in sources.values():
        own.changes[row.ramet_id] = cut_change(row.used_up)
    _save_sources(list(sources.values()))
    changes["sources"] = [before, after]


def _save_sources(rows: Sequence[Source]) -> None:
    """Two may change places: no ramet may be a source twice at any time."""
    Source.objects.filter(pk__in=[row.pk for row in rows]).delete()
    for row in rows:
        row.save(force_insert=True)


def _amend_plot(event: Event, code: str, own: _Own, changes: dict[str, Any]) -> None:
    outplanting = Outplanting.objects.select_related("plot").get(event=event)
    plot = plot_of_code(code)
    if plot.pk == outplanting.plot_id:
        return
    changes["plot"] = [outplanting.plot.code, plot.code]
    outplanting.plot = plot
    outplanting.save(update_fields=["plot"])
    StructureStep.objects.filter(event=event, plot__isnull=False).update(plot=plot)
    for pk in own.changes:
        own.changes[pk] = Change(What.PLANTED, place=Place.PLOT, plot=plot.pk)


def _amend_genet(event: Event, code: str | None, changes: dict[str, Any]) -> None:
    row = Relabelling.objects.select_related("genet").get(event=event)
    genet = Genet.objects.filter(code=code).first() if code is not None else None
    if code is not None and genet is None:
        raise Refused(Problem("unknown_genet", f"There is no genet {code}.", ("genet",)))
    before = row.genet.code if row.genet is not None else None
    if before == code:
        return
    changes["genet"] = [before, code]
    row.genet = genet
    row.save(update_fields=["genet"])


def _refuse_dates(event: Event, changes: dict[str, Any]) -> None:
    """A date or a colony that do not go together, a plot that was closed by then."""
    if event.kind == EventKind.COLLECTION and changes.keys() & {"when", "colony"}:
        colony = Collection.objects.select_related("colony").get(event=event).colony
        if colony is not None:
            refuse_when(colony, event.when)
    if event.kind == EventKind.SAMPLING and "when" in changes:
        for sample in Sample.objects.select_related("colony").filter(
            event=event, colony__isnull=False
        ):
            if sample.colony is not None:
                refuse_when(sample.colony, event.when)
    if event.kind == EventKind.OUTPLANTING and changes.keys() & {"when", "plot"}:
        plot = Outplanting.objects.select_related("plot__site").get(event=event).plot
        refuse_closed(plot, event.when)


def _tags_on_the_day(event: Event) -> None:
    """Tags are given and taken off on the day of their event."""
    tags = locked_tags(Q(event=event, live=True) | Q(ended_by=event, live=True))
    known = live_tags({tag.text for tag in tags})
    for tag in tags:
        if tag.event_id == event.pk:
            others = [row for row in known[tag.text] if row.since < tag.since]
            free = [row.until for row in others if row.until and row.until <= event.latest]
            tag.since = max([event.earliest, *free])
        if tag.ended_by_id == event.pk:
            if event.latest < tag.since:
                raise tag_not_on(
                    f"Tag {tag.text} was put on {tag.ramet.code} on {tag.since}; it cannot "
                    f"have come off {dated(event.when)}.",
                    tag.event,
                )
            tag.until = max(event.earliest, tag.since)
        if tag.until is not None and tag.until < tag.since and tag.ended_by is not None:
            raise tag_not_on(
                f"Tag {tag.text} came off {tag.ramet.code} on {tag.until}; it cannot have "
                f"been put on {dated(event.when)}.",
                tag.ended_by,
            )
    tags_follow(event, tags)
