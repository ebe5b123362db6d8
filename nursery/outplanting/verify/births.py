"""Cuttings and collections: how many they made, from what, and what an intake took in."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from typing import Any

from django.db.models import Count, F, Max, Min, QuerySet

from nursery.core.dates import When
from nursery.donors.models import Collection
from nursery.lineage.models import (
    Ending,
    Fragmentation,
    Parent,
    Ramet,
    Source,
    Step,
    StructureCount,
)
from nursery.lineage.words import Origin, What
from nursery.outplanting.verify.difference import Difference, Tell, breaks, differs
from nursery.outplanting.verify.reading import (
    EVENT,
    by_id,
    each,
    event_name,
    event_names,
    ramet_codes,
)

_CUT = (What.CUT_FROM, What.USED_UP)
_COUNTED = {"dead": What.COUNTED_DEAD, "missing": What.COUNTED_MISSING}


def find(tell: Tell) -> Iterator[Difference]:
    """Every cutting, void ones too, and every collection, intake and count."""
    cuttings = Fragmentation.objects.all()
    yield from _numbers(cuttings, "children_count", "fragmentation", tell)
    yield from _numbers(Collection.objects.all(), "pieces", "collection", tell)
    yield from _sources(tell)
    yield from _intakes()
    yield from _counts()
    yield from _named()
    yield from _parents()


def _numbers(rows: QuerySet[Any, Any], column: str, link: str, tell: Tell) -> Iterator[Difference]:
    """As many ramets as it says, numbered from 1 without a gap."""
    fields = (column, *(f"event__{name}" for name in EVENT))
    for batch in by_id(rows, *fields, tell=tell, things=f"{link}s"):
        here = {f"{link}__gte": batch[0][0], f"{link}__lte": batch[-1][0]}
        made = (
            Ramet.everything.filter(**here)
            .order_by()
            .values_list(f"{link}_id")
            .annotate(
                each=Count("pk"),
                numbers=Count("number", distinct=True),
                first=Min("number"),
                last=Max("number"),
            )
        )
        found = {pk: numbers for pk, *numbers in made}
        for pk, written, *event in batch:
            count, numbers, first, last = found.get(pk, [0, 0, None, None])
            if written != count:
                yield differs(
                    f"{link}_{column}", event_name(event), "how many it made", written, count
                )
            if count and (numbers, first, last) != (count, 1, count):
                yield breaks(
                    "piece_numbers",
                    event_name(event),
                    f"what it made is not numbered 1 to {count}, each once.",
                )


def _sources(tell: Tell) -> Iterator[Difference]:
    """The ramets that a cutting names are those that its steps say were cut or used up."""
    rows = Fragmentation.objects.filter(event__live=True)
    for batch in by_id(rows, *(f"event__{name}" for name in EVENT), tell=tell, things="sources"):
        first, last = batch[0][0], batch[-1][0]
        named: dict[int, set[tuple[int, bool]]] = defaultdict(set)
        links = Source.objects.filter(fragmentation__gte=first, fragmentation__lte=last)
        for cutting, ramet, used in links.values_list("fragmentation_id", "ramet_id", "used_up"):
            named[cutting].add((ramet, used))
        cut: dict[int, set[tuple[int, bool]]] = defaultdict(set)
        steps = Step.objects.filter(event__gte=first, event__lte=last, what__in=_CUT, live=True)
        for event, ramet, what in steps.values_list("event_id", "ramet_id", "what"):
            cut[event].add((ramet, what == What.USED_UP))
        for pk, *header in batch:
            if named[pk] != cut[pk]:
                yield _other_sources(event_name(header), named[pk], cut[pk])


def _other_sources(
    name: str, named: set[tuple[int, bool]], cut: set[tuple[int, bool]]
) -> Difference:
    known = ramet_codes(pk for pk, _ in named | cut)

    def words(those: set[tuple[int, bool]]) -> set[str]:
        return {f"{known[pk]} {'used up' if used else 'kept'}" for pk, used in those}

    return differs("sources", name, "what it was cut from", words(named), words(cut))


def _intakes() -> Iterator[Difference]:
    """An intake takes in pieces of its collection."""
    steps = Step.objects.filter(event__intake__isnull=False, live=True)
    strangers = steps.exclude(ramet__collection=F("event__intake__collection"))
    for _, code, *event in each(strangers, "ramet__code", *(f"event__{name}" for name in EVENT)):
        yield breaks(
            "intake_of_other_pieces", event_name(event), f"{code} is no piece of its collection."
        )


def _counts() -> Iterator[Difference]:
    """As many of a lot ended as were counted dead or missing in all structures of one entry."""
    rows = StructureCount.objects.filter(event__live=True, lot__isnull=False)
    counted: dict[tuple[int, int], list[int]] = defaultdict(lambda: [0, 0])
    for _, event, lot, dead, missing in each(rows, "event_id", "lot_id", "dead", "missing"):
        counted[event, lot][0] += dead
        counted[event, lot][1] += missing
    ended: dict[tuple[int, int | None], list[int]] = defaultdict(lambda: [0, 0])
    steps = Step.objects.filter(what__in=_COUNTED.values(), live=True, event__live=True)
    grouped = steps.order_by().values_list("event_id", "ramet__fragmentation_id", "what")
    for event, lot, what, number in grouped.annotate(number=Count("pk")):
        ended[event, lot][what == What.COUNTED_MISSING] = number
    for key in sorted(counted.keys() | ended.keys(), key=str):
        found, right = ended.get(key, [0, 0]), counted.get((key[0], key[1] or 0), [0, 0])
        if found != right:
            what = event_names([key[0]])[key[0]]
            for name, one, other in zip(_COUNTED, found, right, strict=True):
                if one != other:
                    yield differs("lot_count", what, f"how many ended {name}", one, other)


def _named() -> Iterator[Difference]:
    """Ramets and lots that are named without a step of their own had been born by then, on some
    reading of both dates."""
    dates = ("live", "earliest", "latest", "time")
    for rows, birth in (
        (Ending.objects.filter(into__isnull=False), "into__born"),
        (StructureCount.objects.filter(lot__isnull=False), "lot__event"),
    ):
        of_birth = (f"{birth}__{name}" for name in dates)
        named = (f"event__{name}" for name in EVENT)
        live = rows.filter(event__live=True)
        for _, born_live, *born, kind, earliest, latest, time, uid in each(live, *of_birth, *named):
            name = event_name((kind, earliest, latest, time, uid))
            if not born_live:
                yield breaks("named_before_born", name, "it names what has never been.")
            elif When(earliest, latest, time).upper < When(*born).lower:
                yield breaks("named_before_born", name, f"it names what was born {When(*born)}.")


def _parents() -> Iterator[Difference]:
    """Only what settled has possible parents."""
    rows = Parent.objects.exclude(ramet__origin=Origin.SETTLED)
    for _, code in each(rows, "ramet__code"):
        yield breaks("parents_of_unsettled", f"ramet {code}", "it has parents, and did not settle.")
