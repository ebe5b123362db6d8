"""Codes and tags: each code once and right, each tag on one ramet at a time."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from itertools import pairwise

from django.db.models import Count

from nursery.core.codes import CodeError, parse_code
from nursery.core.models import CodeSeries
from nursery.lineage.models import Ramet, Tag
from nursery.outplanting.verify.difference import Difference, Tell, breaks, differs
from nursery.outplanting.verify.reading import by_id, chunks, each


def find_codes(tell: Tell) -> Iterator[Difference]:
    """Every code that was ever given, those of ramets that have never been too."""
    highest: dict[str, int] = {}
    for batch in by_id(Ramet.everything.all(), "code", tell=tell, things="codes"):
        for _, code in batch:
            try:
                parsed = parse_code(code)
            except CodeError as error:
                yield breaks("code", f"ramet {code}", f"its code is none: {error}", error.code)
                continue
            if str(parsed) != code:
                yield differs("code", f"ramet {code}", "its code", code, str(parsed))
            if parsed.number > highest.get(parsed.series, 0):
                highest[parsed.series] = parsed.number
    following = dict(CodeSeries.objects.values_list("prefix", "next_number"))
    for prefix, number in sorted(highest.items()):
        if prefix not in following:
            yield breaks(
                "code_series", f"series {prefix}", "codes of it were given; it is not there."
            )
        elif following[prefix] <= number:
            yield differs(
                "next_number", f"series {prefix}", "the next number", following[prefix], number + 1
            )


def find_tags(tell: Tell) -> Iterator[Difference]:
    """Every tag; the liveness of the events that gave them is looked at with the events."""
    yield from _ends(tell)
    yield from _on_two()


def _ends(tell: Tell) -> Iterator[Difference]:
    """A tag was on from a day of the event that gave it to one of the event that ended it."""
    of_event = ("event__live", "event__earliest", "event__latest")
    of_end = ("ended_by__live", "ended_by__earliest", "ended_by__latest")
    fields = ("text", "live", "since", "until", "lost", *of_event, *of_end)
    for batch in by_id(Tag.objects.all(), *fields, tell=tell, things="tags"):
        for _, text, live, since, until, lost, given, first, last, ended, begin, end in batch:
            what = f"tag {text}"
            if not live:
                if given:
                    yield breaks("tag_of_live_event", what, "it is not live, and its event is.")
                continue
            if given is not None and not first <= since <= last:
                yield differs(
                    "tag_since", what, "since when it was on", since, f"{first} to {last}"
                )
            if (until is None) != (ended is None):
                yield breaks("tag_end", what, "a day and an event end it, or neither.", until)
            elif ended is False:
                yield breaks("tag_ended_by_void_event", what, "what ended it is void.", until)
            elif ended and not begin <= until <= end:
                yield differs("tag_until", what, "until when it was on", until, f"{begin} to {end}")
            if lost and until is None:
                yield breaks("tag_end", what, "it was lost, and is still on.")


def _on_two() -> Iterator[Difference]:
    """No text is on two ramets at once. On the day that one comes off, another may get it."""
    counts = Tag.objects.filter(live=True).order_by().values_list("text")
    again = counts.annotate(number=Count("pk")).filter(number__gt=1).values_list("text", flat=True)
    for part in chunks(again.order_by("text"), 500):
        rows = Tag.objects.filter(live=True, text__in=part)
        tags = sorted(
            (text, since, until or date.max, pk, code)
            for pk, text, since, until, code in each(rows, "text", "since", "until", "ramet__code")
        )
        for first, second in pairwise(tags):
            if first[0] == second[0] and second[1] < first[2]:
                yield breaks(
                    "tag_on_two",
                    f"tag {first[0]}",
                    f"it was on {first[4]} and on {second[4]} at once, from {second[1]} on.",
                    [first[4], second[4]],
                )
