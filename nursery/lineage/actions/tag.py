"""Tags: taken off, lost, put on."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from django.db import transaction

from nursery.core.actor import Actor, Role, require
from nursery.core.dates import dated
from nursery.core.errors import ProblemList
from nursery.core.models import Event, EventKind
from nursery.core.recording import Recorded, begin
from nursery.donors.permits import attach
from nursery.lineage.births import give_tags
from nursery.lineage.inputs import TaggedIn, TaggingIn
from nursery.lineage.ledger import Entry, lock, record
from nursery.lineage.models import Ramet, Tag
from nursery.lineage.permission import require_stock
from nursery.lineage.replay import Change
from nursery.lineage.resolve import all_of
from nursery.lineage.tags import held, may_end, take_off
from nursery.lineage.words import What

ACT = "change tags"


@transaction.atomic
def retag(actor: Actor, given: TaggingIn) -> Recorded:
    """Record that tags of up to 1,000 ramets, living or not, came off, were lost or were put on.

    All come off before any is put on, so that ramets may change tags with one another. A tag that
    came off may be put on another ramet from that day on. Raises NotAllowed; Refused
    (`unknown_ramet`, `tag_not_on`, `tag_taken`, `tag_twice`, `before_…`).
    """
    require(actor, Role.NURSERY, Role.FIELD, act=ACT)
    recorded = begin(actor, EventKind.TAGGING, given)
    if not recorded.fresh:
        return recorded
    event = recorded.event
    attach(event, given.permits)
    ids = all_of(
        [(row.ramet, ("ramets", number, "ramet")) for number, row in enumerate(given.ramets)],
        on=given.when.latest,
    )
    locked = lock(ids)
    ramets = [locked[pk] for pk in ids]
    require_stock(actor, ramets, [], act=ACT)
    record(
        event,
        [
            Entry(ramet, Change(What.TAGGED), ("ramets", row, "ramet"))
            for row, ramet in enumerate(ramets)
        ],
    )
    take_off(event, _coming_off(event, ramets, given.ramets))
    give_tags(
        event,
        [
            (ramet, row.on, ("ramets", number, "on"))
            for number, (ramet, row) in enumerate(zip(ramets, given.ramets, strict=True))
        ],
    )
    return recorded


def _coming_off(
    event: Event, ramets: Sequence[Ramet], rows: Sequence[TaggedIn]
) -> list[tuple[Tag, bool]]:
    """The tags that come off, each with whether it was lost."""
    on: Mapping[tuple[int, str], list[Tag]] = _tags_of(ramets, rows)
    problems = ProblemList()
    found = []
    for number, (ramet, row) in enumerate(zip(ramets, rows, strict=True)):
        if row.off is None:
            continue
        tags = on.get((ramet.pk, row.off), [])
        tag = next((tag for tag in tags if may_end(tag, event.when)), None)
        if tag is not None:
            found.append((tag, row.lost))
            continue
        problems.add(
            "tag_not_on",
            _why_not(ramet, row.off, tags, event),
            *("ramets", number, "off"),
        )
    problems.raise_if_any()
    return found


def _tags_of(ramets: Sequence[Ramet], rows: Sequence[TaggedIn]) -> dict[tuple[int, str], list[Tag]]:
    texts = {row.off for row in rows if row.off is not None}
    tags = Tag.objects.select_for_update(of=("self",), no_key=True).select_related(
        "ramet", "ended_by"
    )
    found: dict[tuple[int, str], list[Tag]] = {}
    for tag in tags.filter(ramet__in=ramets, text__in=texts, live=True).order_by("pk"):
        found.setdefault((tag.ramet_id, tag.text), []).append(tag)
    return found


def _why_not(ramet: Ramet, text: str, tags: Sequence[Tag], event: Event) -> str:
    this = f"it cannot come off {dated(event.when)}"
    if not tags:
        return f"Tag {text} was never on {ramet.code}, so {this}."
    last = max(tags, key=lambda tag: (tag.since, tag.pk))
    by = f" ({last.ended_by})" if last.ended_by is not None else ""
    verb = "is" if last.until is None else "was"
    return f"Tag {text} {verb} {held(last)}{by}, so {this}. Check both dates."
