"""What can happen to places: registers of nurseries and structures; the ledger of structures."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from django.db import transaction

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


def lock_structures(ids: Iterable[int]) -> dict[int, Structure]:
    """Lock structures in the order of their ids and read them again."""
    rows = Structure.objects.select_for_update().filter(pk__in=set(ids)).order_by("pk")
    return {row.pk: row for row in rows}


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


def stand(event: Event, standings: Sequence[Standing]) -> None:
    """Write where structures stand from this event on, with all that follows from it.

    The caller has locked the structures and holds the transaction. Raises Refused
    (`structure_in_itself`, `behind_later_entry`).
    """
    problems = ProblemList()
    last = _last_events(standing.structure.pk for standing in standings)
    parents = {standing.structure.pk: standing.parent for standing in standings}
    for number, standing in enumerate(standings):
        row = standing.structure
        if standing.parent is not None and _holds(row, standing.parent, parents):
            problems.add(
                "structure_in_itself",
                f"{row.code} cannot stand in {standing.parent.code}, which stands in it.",
                "structures",
                number,
                "parent",
            )
        before = last.get(row.pk)
        if before is not None and event.when.upper < before.when.lower:
            problems.add(
                "behind_later_entry",
                f"{row.code} was last moved on {before.when}; this entry of {event.when} would "
                "come before that. Check both dates.",
                "when",
            )
    problems.raise_if_any()
    counts = _step_counts(standing.structure.pk for standing in standings)
    steps = []
    for standing in standings:
        row = standing.structure
        row.bay, row.parent, row.plot = standing.bay, standing.parent, standing.plot
        row.parent_row = standing.cell.row if standing.cell else None
        row.parent_column = standing.cell.column if standing.cell else None
        row.nursery_id = _nursery_of(standing)
        steps.append(
            StructureStep(
                event=event,
                structure=row,
                order=counts.get(row.pk, 0) + 1,
                bay=row.bay,
                parent=row.parent,
                parent_row=row.parent_row,
                parent_column=row.parent_column,
                plot=row.plot,
            )
        )
    bulk.insert(StructureStep, steps)
    rows = [standing.structure for standing in standings]
    # Cells are emptied first, so that two structures may change places in one event.
    Structure.objects.filter(pk__in=[row.pk for row in rows]).update(
        parent_row=None, parent_column=None
    )
    bulk.update(
        Structure, rows, ["bay", "parent", "parent_row", "parent_column", "plot", "nursery"]
    )
    for row in rows:
        # What stands in another row of this event gets its nursery from there.
        if row.parent_id not in parents:
            _hand_down_nursery(row)


def _nursery_of(standing: Standing) -> int | None:
    if standing.bay is not None:
        return standing.bay.system.nursery_id
    if standing.parent is not None:
        return standing.parent.nursery_id
    return None


def _hand_down_nursery(row: Structure) -> None:
    """Structures held by this one, and those held by them, are at its nursery too."""
    held = _kin({row.pk}, set()) - {row.pk}
    Structure.objects.filter(pk__in=held).update(nursery_id=row.nursery_id)


def _holds(row: Structure, other: Structure, parents: Mapping[int, Structure | None]) -> bool:
    """Whether `other` stands in `row`, once those of `parents` stand where they say."""
    seen: set[int] = set()
    at: Structure | None = other
    while at is not None and at.pk not in seen:
        if at.pk == row.pk:
            return True
        seen.add(at.pk)
        at = parents.get(at.pk, at.parent)
    return False


def _step_counts(ids: Iterable[int]) -> dict[int, int]:
    orders: dict[int, int] = {}
    for pk, order in StructureStep.objects.filter(structure_id__in=set(ids), live=True).values_list(
        "structure_id", "order"
    ):
        orders[pk] = max(order, orders.get(pk, 0))
    return orders


def _last_events(ids: Iterable[int]) -> dict[int, Event]:
    """For each structure the event of its steps that began last, on its earliest reading."""
    latest: dict[int, Event] = {}
    steps = StructureStep.objects.filter(structure_id__in=set(ids), live=True)
    for step in steps.select_related("event"):
        known = latest.get(step.structure_id)
        if known is None or step.event.when.lower >= known.when.lower:
            latest[step.structure_id] = step.event
    return latest
