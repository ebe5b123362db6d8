"""Where outplants stood when somebody looked: the plot of the last planting before a visit; and
where they had lived when they were planted with a structure."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from datetime import datetime

from nursery.core import bulk
from nursery.core.dates import dated
from nursery.core.errors import Problem
from nursery.core.models import Event
from nursery.lineage.late import InTheWay
from nursery.lineage.replay import State
from nursery.lineage.rows import histories, key_of
from nursery.lineage.timeline import Key, Line, states
from nursery.outplanting.models import Observation, Outplant, Outplanting
from nursery.places.models import Plot


def plantings_of(ramet_ids: Iterable[int]) -> dict[int, list[Outplanting]]:
    """The live outplantings of each ramet, in the order in which they stand. One query."""
    rows = Outplant.objects.filter(ramet__in=list(ramet_ids), outplanting__event__live=True)
    found: dict[int, list[Outplanting]] = defaultdict(list)
    for row in rows.select_related("outplanting__plot__site", "outplanting__event").order_by(
        "outplanting__event__moment", "outplanting_id"
    ):
        found[row.ramet_id].append(row.outplanting)
    return dict(found)


def last_before(plantings: Sequence[Outplanting], key: Key) -> Outplanting | None:
    """The last of these (in order) that stands before a moment."""
    before = [row for row in plantings if key_of(row.event) < key]
    return before[-1] if before else None


def plots_then(ramet_ids: Iterable[int], event: Event) -> dict[int, Plot]:
    """The plot in which each ramet had been planted last when the event stands; a ramet that had
    not been planted by then is left out. One query."""
    key = key_of(event)
    last = {pk: last_before(rows, key) for pk, rows in plantings_of(ramet_ids).items()}
    return {pk: row.plot for pk, row in last.items() if row is not None}


def sightings_follow(event: Event, ramet_ids: Iterable[int], since: datetime | None = None) -> None:
    """Give what was seen of these ramets after an event the plot again that they had been planted
    in by then; `since` is where the event stood before, if that was earlier. Two queries where
    nothing changes.

    Raises InTheWay (`not_planted_here`, naming the visit and the event with their dates) where that
    is not at the site that was visited.
    """
    seen = list(
        Observation.objects.filter(
            ramet__in=list(ramet_ids),
            visit__event__live=True,
            visit__event__moment__gte=min(event.moment, since or event.moment),
        )
        .select_related("visit__event", "visit__site", "ramet")
        .order_by("visit__event__moment", "visit_id", "pk")
    )
    if not seen:
        return
    plantings = plantings_of({row.ramet_id for row in seen if row.ramet_id is not None})
    problems: list[Problem] = []
    first: Event | None = None
    moved: dict[int, list[int]] = defaultdict(list)
    for row in seen:
        visit = row.visit
        planting = last_before(plantings.get(row.ramet_id or 0, ()), key_of(visit.event))
        if planting is None or planting.plot.site_id != visit.site_id:
            problems.append(_elsewhere(event, row, planting))
            first = first or visit.event
        elif row.plot_id != planting.plot_id:
            moved[planting.plot_id].append(row.pk)
    if problems:
        raise InTheWay(problems, first if first is not None and first.pk != event.pk else None)
    for plot, rows in moved.items():
        Observation.objects.filter(pk__in=rows).update(plot=plot)


def _elsewhere(event: Event, row: Observation, planting: Outplanting | None) -> Problem:
    code = row.ramet.code if row.ramet is not None else ""
    visit = row.visit
    where = (
        f"it had been planted in {planting.plot.code} by then"
        if planting is not None
        else "it had not been planted by then"
    )
    return Problem(
        "not_planted_here",
        f"{code} was seen at {visit.site} {dated(visit.event.when)}, but with this "
        f"{event.get_kind_display()} {dated(event.when)} {where}. Check both dates.",
    )


def sockets_follow(event: Event, ramet_ids: Iterable[int]) -> None:
    """Give those of these ramets that were planted with a structure the cell of it again that they
    had lived in by then. One query where none was.

    Raises InTheWay (`not_there`, naming the outplanting and the event with their dates) where one
    would have lived elsewhere, for then it was not planted with that structure.
    """
    rows = list(
        Outplant.objects.filter(
            ramet__in=list(ramet_ids), structure__isnull=False, outplanting__event__live=True
        )
        .select_related("outplanting__event", "ramet", "structure")
        .order_by("outplanting__event__moment", "outplanting_id", "pk")
    )
    lines = histories({row.ramet_id for row in rows})
    problems: list[Problem] = []
    first: Event | None = None
    moved: list[Outplant] = []
    for row in rows:
        planting = row.outplanting.event
        state = _state_before(lines[row.ramet_id], key_of(planting))
        if state.structure != row.structure_id:
            problems.append(_not_there(event, row))
            first = first or planting
        elif (state.row, state.column) != (row.row, row.column):
            row.row, row.column = state.row, state.column
            moved.append(row)
    if problems:
        raise InTheWay(problems, first if first is not None and first.pk != event.pk else None)
    bulk.update(Outplant, moved, ["row", "column"])


def _state_before(lines: Sequence[Line], key: Key) -> State:
    """What a ramet of this history was when an event came to it."""
    before = [line for line in lines if line.key < key]
    return states(before)[-1] if before else State()


def _not_there(event: Event, row: Outplant) -> Problem:
    code = row.structure.code if row.structure is not None else ""
    planting = row.outplanting.event
    return Problem(
        "not_there",
        f"{row.ramet.code} was planted with {code} {dated(planting.when)}, but as this "
        f"{event.get_kind_display()} {dated(event.when)} would be, it had not lived there by then. "
        "Void or amend that outplanting first, or check both dates.",
    )
