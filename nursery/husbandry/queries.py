"""What can be asked about what was found in nurseries.

For the page of one plate: `findings_of(structure)` gives the `Found` of each ramet by its id. For
Today: `last_checks(structures)` gives a `LastCheck` of each structure by its id, and
`is_due(last, day)` whether its ramets are to be looked at on that day.
"""

from __future__ import annotations

import datetime
import uuid
from collections.abc import Collection, Iterable
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Any

from django.conf import settings
from django.db.models import F, OuterRef, QuerySet, Subquery

from nursery.core.dates import When
from nursery.husbandry.models import FindingState
from nursery.lineage.models import Step, StructureCount
from nursery.lineage.replay import CHECKED, ENDS_THERE
from nursery.lineage.rows import plain_moment
from nursery.lineage.timeline import Key
from nursery.lineage.words import Cause, Life, Place, What
from nursery.places.models import Structure


@dataclass(frozen=True, slots=True)
class Happened:
    """One event: which, when, and where it stands among all others."""

    uid: uuid.UUID
    when: When
    key: Key = field(repr=False)


@dataclass(frozen=True, slots=True)
class LastCheck:
    """What happened last in one structure.

    `filled`: something that still lives in it was cut, placed, taken in or lifted into it.
    `checked`: a check looked at something in it. `counted`: it was counted.
    """

    structure: int
    filled: Happened | None = None
    checked: Happened | None = None
    counted: Happened | None = None


@dataclass(frozen=True, slots=True)
class Found:
    """How a ramet was found by the last check since it has been where it is."""

    ramet: int
    state: FindingState
    uid: uuid.UUID
    """Of the check."""
    when: When
    size_cm: Decimal | None
    note: str


def is_due(last: LastCheck, day: datetime.date, days: int | None = None) -> bool:
    """Whether nothing has looked at a structure since it was filled, `days` (else the setting
    CHECK_DUE_DAYS) or more before this day. No query."""
    if last.filled is None:
        return False
    looks = [look for look in (last.checked, last.counted) if look is not None]
    if any(look.key > last.filled.key for look in looks):
        return False
    wait = settings.CHECK_DUE_DAYS if days is None else days
    return last.filled.when.latest + datetime.timedelta(days=wait) <= day


def last_checks(structures: Iterable[Structure | int]) -> dict[int, LastCheck]:
    """What happened last in each of these structures, by its id. Three queries for all."""
    ids = {row if isinstance(row, int) else row.pk for row in structures}
    steps = Step.objects.filter(live=True, ramet__structure__in=ids)
    filled = steps.filter(
        ramet__life=Life.LIVING, place=Place.STRUCTURE, structure=F("ramet__structure")
    ).exclude(what__in=ENDS_THERE)
    checked = _since_it_is_there(steps.filter(what__in=CHECKED))
    counted = StructureCount.objects.filter(structure__in=ids, event__live=True)
    last = [
        _last(filled, "ramet__structure_id"),
        _last(checked, "ramet__structure_id"),
        _last(counted, "structure_id"),
    ]
    return {pk: LastCheck(pk, *(found.get(pk) for found in last)) for pk in ids}


def findings_of(
    structure: Structure | int, ramets: Iterable[int] | None = None
) -> dict[int, Found]:
    """How each ramet that is in a structure (of these, where some are named by their ids), or ended
    in it, was found last since it came there; those never looked at are left out. One query."""
    pk = structure if isinstance(structure, int) else structure.pk
    steps = Step.objects.filter(live=True, ramet__structure=pk, what__in=CHECKED)
    if ramets is not None:
        steps = steps.filter(ramet__in=list(ramets))
    # Each step with the finding of its own ramet in its own check.
    rows = _since_it_is_there(steps).filter(event__nursery_check__findings__ramet=F("ramet"))
    found = rows.order_by("event__moment", "event").values_list(
        "ramet",
        "event__nursery_check__findings__state",
        "event__nursery_check__findings__size_cm",
        "event__nursery_check__findings__note",
        "event__uid",
        "event__earliest",
        "event__latest",
        "event__time",
    )
    return {
        ramet: Found(ramet, FindingState(state), uid, When(earliest, latest, time), size_cm, note)
        for ramet, state, size_cm, note, uid, earliest, latest, time in found
    }


def causes_of(
    checks: Iterable[int], ramets: Collection[int] | None = None
) -> dict[tuple[int, int], Cause]:
    """Why those died that checks (by their ids) found dead, void ones too: by check and ramet. One
    query."""
    steps = Step.objects.filter(event__in=list(checks), what=What.CHECKED_DEAD)
    if ramets is not None:
        steps = steps.filter(ramet__in=ramets)
    rows = steps.order_by("pk").values_list("event_id", "ramet_id", "cause")
    return {(event, ramet): Cause(cause) for event, ramet, cause in rows if cause is not None}


def _since_it_is_there(steps: QuerySet[Step]) -> QuerySet[Step]:
    """Steps after which their ramet was put nowhere else.

    The last placing is asked of each step by its index. As an EXISTS of its own inside another, a
    planner without statistics once compared all steps with all.
    """
    placings = Step.objects.filter(ramet=OuterRef("ramet"), live=True, place__isnull=False)
    last = placings.exclude(what__in=ENDS_THERE).order_by("-order").values("order")[:1]
    return steps.filter(order__gte=Subquery(last))


def _last(rows: QuerySet[Any], structure: str) -> dict[int, Happened]:
    """The last event of the rows of each structure."""
    names = ("uid", "earliest", "latest", "time", "moment", "pk")
    found: dict[int, Happened] = {}
    events = rows.order_by().values_list(structure, *(f"event__{name}" for name in names))
    for pk, uid, earliest, latest, time, moment, event in events.distinct():
        key = plain_moment(moment), event
        if pk not in found or key > found[pk].key:
            found[pk] = Happened(uid, When(earliest, latest, time), key)
    return found
