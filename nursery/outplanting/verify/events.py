"""Events: where they stand within their dates, their particulars, and what voiding leaves live."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

from django.db.models import Model

from nursery.core.dates import When
from nursery.core.models import Correction, Event, EventKind, Mend
from nursery.donors.models import Collection, GenetMerge
from nursery.genotyping.models import Sample
from nursery.husbandry.models import Check
from nursery.lineage.models import (
    Ending,
    Fragmentation,
    Identification,
    Intake,
    Relabelling,
    Step,
    StockEntry,
    StructureCount,
    Tag,
)
from nursery.lineage.rows import plain_moment
from nursery.lineage.words import What
from nursery.outplanting.models import Outplanting, Visit
from nursery.outplanting.verify.difference import Difference, Tell, breaks, differs
from nursery.outplanting.verify.reading import by_id, event_name
from nursery.places.models import StructureStep

PARTICULARS: dict[EventKind, type[Model]] = {
    EventKind.COLLECTION: Collection,
    EventKind.INTAKE: Intake,
    EventKind.FRAGMENTATION: Fragmentation,
    EventKind.OUTPLANTING: Outplanting,
    EventKind.VISIT: Visit,
    EventKind.STOCK_ENTRY: StockEntry,
    EventKind.ENDING: Ending,
    EventKind.COUNT: StructureCount,
    EventKind.RELABELLING: Relabelling,
    EventKind.GENET_MERGE: GenetMerge,
    EventKind.IDENTIFICATION: Identification,
    EventKind.CHECK: Check,
    EventKind.SAMPLING: Sample,
}
"""Where the particulars of each kind of event are; of one that is not here they are its steps."""

STEPS = {
    EventKind.COLLECTION: {What.BORN},
    EventKind.INTAKE: {What.RECEIVED, What.ENDED},
    EventKind.FRAGMENTATION: {What.BORN, What.CUT_FROM, What.USED_UP},
    EventKind.MOVE: {What.PLACED, What.PACKED, What.REBASED},
    EventKind.STRUCTURE_MOVE: set[What](),
    EventKind.OUTPLANTING: {What.PLANTED},
    EventKind.VISIT: {What.SEEN_ALIVE, What.SEEN_DEAD, What.SEEN_MISSING},
    EventKind.STOCK_ENTRY: {What.BORN},
    EventKind.LIFT: {What.LIFTED},
    EventKind.ENDING: {What.ENDED},
    EventKind.COUNT: {What.COUNTED_DEAD, What.COUNTED_MISSING},
    EventKind.STRUCTURE_LOSS: {What.ENDED},
    EventKind.TAGGING: {What.TAGGED},
    EventKind.RELABELLING: {What.RELABELLED},
    EventKind.GENET_MERGE: set[What](),
    EventKind.IDENTIFICATION: {What.FOUND, What.ENDED},
    EventKind.CHECK: {What.CHECKED_ALIVE, What.CHECKED_DEAD, What.CHECKED_MISSING},
    EventKind.SAMPLING: {What.SAMPLED, What.ENDED},
}
"""What an event of each kind does to the ramets that it touches."""

TOUCH_RAMETS = {kind for kind, whats in STEPS.items() if whats} - {
    EventKind.VISIT,
    EventKind.COUNT,
    EventKind.STRUCTURE_LOSS,
    EventKind.SAMPLING,
}
"""The kinds of which every event touches a ramet."""

TOUCH_STRUCTURES = {EventKind.STRUCTURE_MOVE, EventKind.STRUCTURE_LOSS}
"""The kinds of which every event says where structures stand."""

MOVE_STRUCTURES = TOUCH_STRUCTURES | {EventKind.OUTPLANTING}
"""The kinds of which an event may say where structures stand."""


@dataclass
class _Around:
    """What hangs on a batch of events, by their ids."""

    whats: dict[int, set[What]] = field(default_factory=lambda: defaultdict(set))
    standing: set[int] = field(default_factory=set)
    tags: set[int] = field(default_factory=set)
    tagged: set[int] = field(default_factory=set)
    particulars: dict[int, set[EventKind]] = field(default_factory=lambda: defaultdict(set))
    mends: dict[int, Mend] = field(default_factory=dict)


def find(tell: Tell) -> Iterator[Difference]:
    """Every event, void ones too."""
    fields = ("kind", "earliest", "latest", "time", "uid", "moment", "live")
    for batch in by_id(Event.objects.all(), *fields, tell=tell, things="events"):
        around = _around(batch[0][0], batch[-1][0])
        for pk, *named, moment, live in batch:
            name = event_name(named)
            kind = EventKind(named[0])
            yield from _moment(name, When(*named[1:4]), moment)
            yield from _particulars(name, kind, live, around, pk)
            yield from _liveness(name, live, around, pk)
            yield from _steps(name, kind, live, around, pk)


def _around(first: int, last: int) -> _Around:
    found = _Around()
    here: Any = {"event__gte": first, "event__lte": last}
    steps = Step.objects.filter(live=True, **here).order_by()
    for event, what in steps.values_list("event_id", "what").distinct():
        found.whats[event].add(What(what))
    standing = StructureStep.objects.filter(live=True, **here)
    found.standing = set(standing.values_list("event_id", flat=True))
    tags = Tag.objects.filter(**here)
    found.tags = {pk for pk in tags.filter(live=True).values_list("event_id", flat=True) if pk}
    ended = Tag.objects.filter(ended_by__gte=first, ended_by__lte=last)
    found.tagged = {pk for pk in tags.values_list("event_id", flat=True) if pk}
    found.tagged |= {pk for pk in ended.values_list("ended_by_id", flat=True) if pk}
    for kind, model in PARTICULARS.items():
        # A visit's particulars hang on the event alike; each model names it `event`.
        for event in model._base_manager.filter(**here).values_list("event_id", flat=True):
            found.particulars[event].add(kind)
    mends = Correction.objects.filter(mend__in=[Mend.VOIDED, Mend.RESTORED], **here)
    found.mends = {
        event: Mend(mend) for event, mend in mends.order_by("pk").values_list("event_id", "mend")
    }
    return found


def _moment(name: str, when: When, moment: Any) -> Iterator[Difference]:
    """A moment lies within its date, and is the time where one is given."""
    at = plain_moment(moment)
    if not when.lower <= at <= when.upper:
        yield differs("event_moment", name, "its moment", at, f"{when.lower} to {when.upper}")


def _particulars(
    name: str, kind: EventKind, live: bool, around: _Around, pk: int
) -> Iterator[Difference]:
    found = around.particulars[pk]
    if kind in PARTICULARS and kind not in found:
        yield breaks("particulars_missing", name, f"it has no particulars of a {kind.label}.")
    for other in sorted(found - {kind}):
        yield breaks("particulars_of_other_kind", name, f"it has particulars of a {other.label}.")
    if pk in around.standing and kind not in MOVE_STRUCTURES:
        yield breaks("step_of_other_kind", name, "it says where structures stand.")
    if kind is EventKind.TAGGING and live and pk not in around.tagged:
        yield breaks("particulars_missing", name, "it neither gives a tag nor ends one.")


def _liveness(name: str, live: bool, around: _Around, pk: int) -> Iterator[Difference]:
    """Nothing of a void event is live, and it is void because it was voided."""
    if not live:
        if pk in around.standing:
            yield breaks("live_standing_of_void_event", name, "a structure's step of it is live.")
        if pk in around.tags:
            yield breaks("live_tag_of_void_event", name, "a tag that it gave is live.")
    right = around.mends.get(pk) is not Mend.VOIDED
    if live != right:
        said = {True: "live", False: "void"}
        yield differs("event_live", name, "by its header it", said[live], said[right])


def _steps(
    name: str, kind: EventKind, live: bool, around: _Around, pk: int
) -> Iterator[Difference]:
    whats = around.whats[pk]
    if live and kind in TOUCH_RAMETS and not whats:
        yield breaks("event_without_steps", name, "it touches no ramet.")
    if live and kind in TOUCH_STRUCTURES and pk not in around.standing:
        yield breaks("event_without_steps", name, "it says of no structure where it stands.")
    for what in sorted(whats - STEPS[kind]):
        yield breaks("step_of_other_kind", name, f"one of its steps is {what.label}.", what.label)
