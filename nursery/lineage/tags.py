"""Physical tags as dated aliases: what is free from when on, and what comes off.

A text is on one ramet at a time. A tag that came off on a day may be put on another that same day.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable, Sequence
from datetime import date
from itertools import pairwise

from nursery.core import bulk
from nursery.core.dates import When, words
from nursery.core.models import Event
from nursery.lineage.models import Tag


def live_tags(texts: Collection[str], changed: Sequence[Tag] = ()) -> dict[str, list[Tag]]:
    """The tags of each text that were really given, in the order in which they were on; those of
    `changed` as they are in memory."""
    rows = Tag.objects.filter(text__in=set(texts), live=True).select_related("ramet", "event")
    rows = rows.exclude(pk__in=[tag.pk for tag in changed])
    found: dict[str, list[Tag]] = defaultdict(list)
    for tag in sorted([*rows, *(tag for tag in changed if tag.live)], key=_order):
        found[tag.text].append(tag)
    return found


def tag_clash(changed: Sequence[Tag]) -> tuple[Tag, Tag] | None:
    """Two tags of one text that would be on at once if these stood as they are in memory, the
    earlier first; or None."""
    for _, tags in sorted(live_tags({tag.text for tag in changed}, changed).items()):
        for first, second in pairwise(tags):
            if first.until is None or second.since < first.until:
                return first, second
    return None


def save_changed(tags: Sequence[Tag]) -> None:
    """Save tags of which no two clash: those that come off first, for one of a text is in force."""
    for in_force in (False, True):
        rows = [tag for tag in tags if (tag.live and tag.until is None) == in_force]
        bulk.update(Tag, rows, ["since", "until", "ended_by", "lost", "live"])


def free_from(tags: Iterable[Tag], when: When) -> date | None:
    """The first day of a date from which on nobody has a text that has been on as `tags` say; None
    where somebody has it then or later."""
    since = when.earliest
    for tag in tags:
        if tag.until is None or tag.until > when.latest:
            return None
        since = max(since, tag.until)
    return since


def take_off(event: Event, tags: Iterable[tuple[Tag, bool]]) -> None:
    """End tags that are on, each with whether it was lost, by an event that their beginnings allow
    (see `may_end`)."""
    ended = []
    for tag, lost in tags:
        tag.until = max(event.earliest, tag.since)
        tag.ended_by = event
        tag.lost = lost
        ended.append(tag)
    bulk.update(Tag, ended, ["until", "ended_by", "lost"])


def may_end(tag: Tag, when: When) -> bool:
    """Whether a tag was on at some day of a date, and is still."""
    return tag.live and tag.until is None and tag.since <= when.latest


def held(tag: Tag) -> str:
    """From when to when a tag was on which ramet, in words."""
    since = words(When(tag.since, tag.since))
    if tag.until is None:
        return f"on {tag.ramet.code} since {since}"
    return f"on {tag.ramet.code} from {since} to {words(When(tag.until, tag.until))}"


def _order(tag: Tag) -> tuple[date, date, int]:
    return tag.since, tag.until or date.max, tag.pk
