"""What can happen to places: registers of nurseries and structures; the ledger of structures."""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import groupby
from typing import Any

from django.db import transaction
from django.db.models import Q

from nursery.core import bulk
from nursery.core.actor import Actor, require, require_at
from nursery.core.codes import SERIES_PATTERN
from nursery.core.errors import Problem, ProblemList, Refused
from nursery.core.models import CodeSeries, Event
from nursery.core.registers import keep_history, write
from nursery.places.cells import Cell
from nursery.places.models import Bay, Nursery, Plot, Structure, StructureStep


@transaction.atomic
def enter_nursery(
    actor: Actor,
    given: Mapping[str, Any],
    row: Nursery | None = None,
    seen_version: int | None = None,
) -> Nursery:
    """Enter or edit a nursery. `series` names the letters its ramet codes begin with; the series
    is made if there is none. Raises Refused (`series_malformed` and the register's own)."""
    require(actor, act=Nursery.ACT)
    values = dict(given)
    prefix = str(values.pop("series", "") or "").strip().upper()
    nursery = write(actor, row or Nursery(), values, seen_version)
    before = nursery.series.prefix if nursery.series else None
    if prefix and prefix != before:
        nursery.series = open_series(prefix, f"cut at {nursery.code}")
        nursery.save(update_fields=["series"])
        keep_history(actor, nursery, {"series": before}, {"series": prefix})
    return nursery


def open_series(prefix: str, label: str) -> CodeSeries:
    """The code series of these letters, made if it is new; raises Refused (`series_malformed`)."""
    if not re.fullmatch(SERIES_PATTERN, prefix):
        raise Refused(
            Problem(
                "series_malformed", f"{prefix!r} is no series: one to four letters.", ("series",)
            )
        )
    series, _ = CodeSeries.objects.get_or_create(prefix=prefix, defaults={"label": label[:120]})
    return series


def enter_structure(actor: Actor, given: Mapping[str, Any], nursery: Nursery | None) -> Structure:
    """Enter a structure in the register; it stands nowhere until it is moved somewhere.

    `nursery` is where it is going to stand, which decides who may enter it.
    """
    if nursery is None:
        require(actor, *Structure.WRITERS, act=Structure.ACT)
    else:
        require_at(actor, [(nursery.pk, str(nursery))], act=Structure.ACT)
    return write(actor, Structure(), given)


@dataclass(frozen=True, slots=True)
class Standing:
    """Where a structure is put: one of a bay, a parent (with a cell where it has cells), a plot."""

    structure: Structure
    bay: Bay | None = None
    parent: Structure | None = None
    cell: Cell | None = None
    plot: Plot | None = None

    @property
    def parent_id(self) -> int | None:
        return self.parent.pk if self.parent is not None else None


def lock_structures(ids: Iterable[int], codes: Iterable[str] = ()) -> dict[int, Structure]:
    """Lock structures, by id or by code, in the order of their ids and read them again, each with
    its nursery and the series of that."""
    rows = Structure.objects.select_for_update(of=("self",), no_key=True).select_related(
        "nursery__series"
    )
    wanted = Q(pk__in=set(ids)) | Q(code__in=set(codes))
    return {row.pk: row for row in rows.filter(wanted).order_by("pk")}


def lock_with_kin(moved: Iterable[int], parents: Iterable[int]) -> dict[int, Structure]:
    """Lock structures that move with all they hold, and those they move into with all these stand
    in: so no two moves close a ring together, or wait for each other."""
    moved, parents = set(moved), set(parents)
    while True:
        rows = lock_structures(_kin(moved, parents))
        # Once more, for another move may have changed it while this one waited.
        if _kin(moved, parents) <= rows.keys():
            return rows


def _kin(moved: set[int], parents: set[int]) -> set[int]:
    held, stems = set(moved), set(parents)
    below, above = moved, parents
    while below:
        below = set(Structure.objects.filter(parent__in=below).values_list("pk", flat=True)) - held
        held |= below
    while above:
        above = set(Structure.objects.filter(held__in=above).values_list("pk", flat=True)) - stems
        stems |= above
    return held | stems


def busy(structures: Iterable[Structure], moment: datetime) -> None:
    """Keep that cells of these (locked) structures were filled or emptied at a moment."""
    rows = [row for row in structures if row.busy_until is None or row.busy_until < moment]
    for row in rows:
        row.busy_until = moment
    Structure.objects.filter(pk__in=[row.pk for row in rows]).update(busy_until=moment)


def put(event: Event, standings: Sequence[Standing], lost: bool = False) -> None:
    """Write where structures stand from this event's moment on, with all that follows from it.

    The caller has locked the structures and holds the transaction. `lost`: they are nowhere from
    then on. Raises Refused (`structure_in_itself`).
    """
    problems = ProblemList()
    above = _above(standing.parent_id for standing in standings)
    above |= {standing.structure.pk: standing.parent_id for standing in standings}
    for number, standing in enumerate(standings):
        row = standing.structure
        if standing.parent is not None and _stands_in(standing.parent.pk, row.pk, above):
            problems.add(
                "structure_in_itself",
                f"{row.code} cannot stand in {standing.parent.code}, which stands in it.",
                "structures",
                number,
                "parent",
            )
    problems.raise_if_any()
    bulk.insert(
        StructureStep,
        [
            StructureStep(
                event=event,
                structure=standing.structure,
                order=1,
                live=False,
                bay=standing.bay,
                parent=standing.parent,
                parent_row=standing.cell.row if standing.cell else None,
                parent_column=standing.cell.column if standing.cell else None,
                plot=standing.plot,
                lost=lost,
            )
            for standing in standings
        ],
    )
    coming = StructureStep.objects.filter(event=event, live=False)
    stand_anew(
        {standing.structure.pk: standing.structure for standing in standings},
        coming.values_list("pk", flat=True),
    )


def stand_anew(rows: Mapping[int, Structure], coming: Iterable[int] = ()) -> None:
    """Put the steps of (locked) structures in order and write what follows from the last of each.

    The steps `coming` (their ids) become live. Where a structure stands now, whether it is lost,
    and the nursery that it and all it holds is at, are worked out again.
    """
    steps = StructureStep.objects.filter(structure__in=rows).select_related(
        "event", "bay__system", "parent"
    )
    wanted = steps.filter(Q(live=True) | Q(pk__in=list(coming)))
    ordered = sorted(wanted, key=lambda step: (step.event.moment, step.event_id))
    counts: dict[int, int] = {}
    last: dict[int, StructureStep] = {}
    changed = []
    for step in ordered:
        order = counts[step.structure_id] = counts.get(step.structure_id, 0) + 1
        last[step.structure_id] = step
        if step.order != order or not step.live:
            step.order, step.live = order, True
            changed.append(step)
    # Out of the sequence first: no two may have the same place in it at any time.
    StructureStep.objects.filter(pk__in=[step.pk for step in changed]).update(live=False)
    bulk.update(StructureStep, changed, ["order", "live"])
    for pk, row in rows.items():
        step = last.get(pk) or StructureStep()
        row.bay, row.parent, row.plot = step.bay, step.parent, step.plot
        row.parent_row, row.parent_column = step.parent_row, step.parent_column
        row.lost = step.lost
    held = _hand_down_nurseries(rows)
    # Cells are emptied first, so that two structures may change places in one event.
    Structure.objects.filter(pk__in=list(rows)).update(parent_row=None, parent_column=None)
    bulk.update(
        Structure,
        list(rows.values()),
        ["bay", "parent", "parent_row", "parent_column", "plot", "nursery", "lost"],
    )
    bulk.update(Structure, held, ["nursery"])


def _hand_down_nurseries(rows: Mapping[int, Structure]) -> list[Structure]:
    """Give these structures, and all that they hold, the nursery of where they stand (not saved).
    Returns those that they hold. One query a level of nesting."""
    known = dict(rows)
    level = set(rows)
    while level:
        held = Structure.objects.filter(parent__in=level).exclude(pk__in=rows)
        level = {row.pk for row in held} - known.keys()
        known |= {row.pk: row for row in held if row.pk in level}
    inside: dict[int, list[Structure]] = defaultdict(list)
    for row in known.values():
        if row.parent_id in known:
            inside[row.parent_id].append(row)
    # What would stand in itself is not reached from a top: it is refused elsewhere.
    ready = [row for row in known.values() if row.parent_id not in known]
    for row in ready:
        if row.bay is not None:
            row.nursery_id = row.bay.system.nursery_id
        elif row.parent_id in known:
            row.nursery_id = known[row.parent_id].nursery_id
        else:
            row.nursery_id = row.parent.nursery_id if row.parent is not None else None
        ready += inside[row.pk]
    return [row for pk, row in known.items() if pk not in rows]


def _above(ids: Iterable[int | None]) -> dict[int, int | None]:
    """What each of these structures stands in, and what that does, one query a level."""
    found: dict[int, int | None] = {}
    level = {pk for pk in ids if pk is not None}
    while level:
        found |= Structure.objects.filter(pk__in=level).values_list("pk", "parent_id")
        level = {pk for at in level if (pk := found[at]) is not None} - found.keys()
    return found


def _stands_in(pk: int, other: int, above: Mapping[int, int | None]) -> bool:
    """Whether a structure is another one or stands in it, however deep."""
    seen: set[int] = set()
    at: int | None = pk
    while at is not None and at not in seen:
        if at == other:
            return True
        seen.add(at)
        at = above[at]
    return False


def ring_in_past(ids: Iterable[int]) -> StructureStep | None:
    """The first live step after which one of these structures, or what it ever stood in or held,
    stood in itself; None where that never was."""
    known = set(ids)
    while True:
        steps = StructureStep.objects.filter(live=True, parent__isnull=False)
        near = steps.filter(Q(structure__in=known) | Q(parent__in=known))
        more = {pk for pair in near.values_list("structure_id", "parent_id") for pk in pair if pk}
        if more <= known:
            break
        known |= more
    rows = StructureStep.objects.filter(structure__in=known, live=True)
    ordered = sorted(
        rows.select_related("event", "structure"),
        key=lambda step: (step.event.moment, step.event_id, step.pk),
    )
    parents: dict[int, int | None] = {}
    for _, group in groupby(ordered, key=lambda step: step.event_id):
        together = list(group)
        parents |= {step.structure_id: step.parent_id for step in together}
        for step in together:
            at, seen = parents.get(step.structure_id), {step.structure_id}
            while at is not None and at not in seen:
                seen.add(at)
                at = parents.get(at)
            if at is not None:
                return step
    return None
