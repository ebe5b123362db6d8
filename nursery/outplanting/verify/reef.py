"""The reef: outplants and what was seen of them, beside the steps that say the same."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence
from datetime import datetime
from typing import Any

from django.db.models import F, Q

from nursery.lineage.models import Identification, Step
from nursery.lineage.replay import ENDS_THERE
from nursery.lineage.words import Life, Place, What
from nursery.outplanting.models import (
    Condition,
    Observation,
    Outplant,
    Outplanting,
    PlotCount,
    Visit,
)
from nursery.outplanting.verify.difference import Difference, Tell, breaks, differs
from nursery.outplanting.verify.reading import (
    EVENT,
    Row,
    by_id,
    codes,
    each,
    event_name,
    event_names,
    ramet_codes,
)
from nursery.places.models import Plot, Structure, StructureStep

_NAMED = tuple(f"event__{name}" for name in EVENT)
_SEEN = {
    What.SEEN_ALIVE: Condition.ALIVE,
    What.SEEN_DEAD: Condition.DEAD,
    What.SEEN_MISSING: Condition.MISSING,
}


def find(tell: Tell) -> Iterator[Difference]:
    """Every outplanting and visit that is live, and every identification."""
    yield from _outplants(tell)
    yield from _structures(tell)
    yield from _sightings(tell)
    yield from _plots(tell)
    yield from _reefs()
    yield from _plot_counts()
    yield from _identifications(tell)


def _outplants(tell: Tell) -> Iterator[Difference]:
    rows = Outplanting.objects.filter(event__live=True)
    for batch in by_id(rows, "plot_id", *_NAMED, tell=tell, things="outplantings"):
        first, last = batch[0][0], batch[-1][0]
        written: dict[int, set[int]] = defaultdict(set)
        outplants = Outplant.objects.filter(outplanting__gte=first, outplanting__lte=last)
        for event, ramet in outplants.values_list("outplanting_id", "ramet_id"):
            written[event].add(ramet)
        planted: dict[int, dict[int, int]] = defaultdict(dict)
        steps = Step.objects.filter(event__gte=first, event__lte=last, what=What.PLANTED, live=True)
        for event, ramet, plot in steps.values_list("event_id", "ramet_id", "plot_id"):
            planted[event][ramet] = plot or 0
        for pk, plot, *named in batch:
            steps_of = planted[pk]
            if written[pk] != steps_of.keys():
                known = ramet_codes(written[pk] ^ steps_of.keys())
                yield differs(
                    "outplants",
                    event_name(named),
                    "what it planted (where the two differ)",
                    {known[one] for one in written[pk] - steps_of.keys()},
                    {known[one] for one in steps_of.keys() - written[pk]},
                )
            for other in sorted(set(steps_of.values()) - {plot}):
                plots = codes(Plot, [plot, other])
                yield differs(
                    "outplanting_plot", event_name(named), "its plot", plots[plot], plots.get(other)
                )


def _structures(tell: Tell) -> Iterator[Difference]:
    """Structures that were planted stand in the plot of the outplanting; what was planted with one
    had been in the cell of it that its outplant says."""
    moved = StructureStep.objects.filter(live=True, event__outplanting__isnull=False)
    elsewhere = moved.exclude(plot=F("event__outplanting__plot"))
    for _, code, found, right, *named in each(
        elsewhere, "structure__code", "plot__code", "event__outplanting__plot__code", *_NAMED
    ):
        yield differs("outplanting_plot", event_name(named), f"the plot of {code}", found, right)
    rows = Outplant.objects.filter(structure__isnull=False, outplanting__event__live=True)
    fields = ("ramet_id", "ramet__code", "structure_id", "row", "column")
    of_event = [f"outplanting__event__{name}" for name in ("moment", "id", *EVENT)]
    for batch in by_id(rows, *fields, *of_event, tell=tell, things="planted with structures"):
        places = _places(sorted({row[1] for row in batch}))
        for _, ramet, code, *where, moment, event, kind, earliest, latest, time, uid in batch:
            before = [at for m, e, *at in places.get(ramet, ()) if (m, e) < (moment, event)]
            right = before[-1] if before else [None, None, None]
            if where != right:
                known = codes(Structure, [where[0], right[0]])
                yield differs(
                    "outplant_structure",
                    event_name((kind, earliest, latest, time, uid)),
                    f"where {code} had been (structure, row, column)",
                    [known[where[0]], *where[1:]],
                    [known[right[0]], *right[1:]],
                )


def _places(ramets: Sequence[int]) -> dict[int, list[Row]]:
    """When each was put where, in order: moment, event, structure, row, column. An end there says
    where it was, not that it was put there."""
    found: dict[int, list[Row]] = defaultdict(list)
    steps = Step.objects.filter(ramet__in=ramets, live=True, place__isnull=False)
    put = steps.exclude(what__in=ENDS_THERE, place=Place.STRUCTURE)
    rows = put.order_by("ramet_id", "event__moment", "event_id").values_list(
        "ramet_id", "event__moment", "event_id", "structure_id", "row", "column"
    )
    for ramet, *row in rows:
        found[ramet].append(tuple(row))
    return found


def _sightings(tell: Tell) -> Iterator[Difference]:
    """Each observation of a ramet is a step of the visit, and the other way round."""
    rows = Visit.objects.filter(event__live=True)
    for batch in by_id(rows, *_NAMED, tell=tell, things="visits"):
        first, last = batch[0][0], batch[-1][0]
        written: dict[int, dict[int, tuple[int, int | None]]] = defaultdict(dict)
        seen = Observation.objects.filter(visit__gte=first, visit__lte=last, ramet__isnull=False)
        for visit, ramet, condition, cause in seen.values_list(
            "visit_id", "ramet_id", "condition", "cause"
        ):
            written[visit][ramet or 0] = condition, cause
        said: dict[int, dict[int, tuple[int, int | None]]] = defaultdict(dict)
        steps = Step.objects.filter(
            event__gte=first, event__lte=last, what__in=list(_SEEN), live=True
        )
        for event, ramet, what, cause in steps.values_list("event_id", "ramet_id", "what", "cause"):
            said[event][ramet] = _SEEN[What(what)], cause
        for pk, *named in batch:
            if written[pk] != said[pk]:
                yield from _seen_otherwise(event_name(named), written[pk], said[pk])


def _seen_otherwise(
    name: str, written: dict[int, Any], said: dict[int, Any]
) -> Iterator[Difference]:
    ids = sorted(written.keys() | said.keys())
    known = ramet_codes(ids)
    for pk in ids:
        if written.get(pk) != said.get(pk):
            yield differs(
                "observation",
                name,
                f"what was seen of {known[pk]}",
                _words(written.get(pk)),
                _words(said.get(pk)),
            )


def _words(seen: tuple[int, int | None] | None) -> str | None:
    if seen is None:
        return None
    condition, cause = seen
    return Condition(condition).label + (f" (cause {cause})" if cause is not None else "")


def _plots(tell: Tell) -> Iterator[Difference]:
    """An observation's plot is that of the last planting before the visit, at the site visited."""
    rows = Observation.objects.filter(ramet__isnull=False, visit__event__live=True)
    fields = ("ramet_id", "ramet__code", "plot_id", "visit__site_id")
    of_visit = ("visit__event__moment", "visit_id", *(f"visit__event__{name}" for name in EVENT))
    sites = dict(Plot.objects.values_list("pk", "site_id"))
    for batch in by_id(rows, *fields, *of_visit, tell=tell, things="observations"):
        plantings = _plantings(sorted({row[1] for row in batch}))
        for _, ramet, code, plot, site, moment, visit, *named in batch:
            before = [p for m, e, p in plantings.get(ramet, ()) if (m, e) < (moment, visit)]
            right = before[-1] if before else None
            if plot != right:
                known = codes(Plot, [plot, right])
                yield differs(
                    "observation_plot",
                    event_name(named),
                    f"the plot of {code}",
                    known[plot],
                    known[right],
                )
            elif right is not None and sites[right] != site:
                yield breaks(
                    "observation_other_site", event_name(named), f"{code} was not at that site."
                )


def _plantings(ramets: Sequence[int]) -> dict[int, list[tuple[datetime, int, int]]]:
    """When each was planted, by which event and in which plot, in order."""
    found: dict[int, list[tuple[datetime, int, int]]] = defaultdict(list)
    rows = Outplant.objects.filter(ramet__in=ramets, outplanting__event__live=True)
    for ramet, moment, event, plot in rows.values_list(
        "ramet_id", "outplanting__event__moment", "outplanting_id", "outplanting__plot_id"
    ):
        found[ramet].append((moment, event, plot))
    for each_one in found.values():
        each_one.sort()
    return found


def _reefs() -> Iterator[Difference]:
    """A colony that was seen on a visit to a reef stands on it."""
    rows = Observation.objects.filter(colony__isnull=False, visit__reef__isnull=False)
    strangers = rows.filter(visit__event__live=True).exclude(colony__reef=F("visit__reef"))
    named = (f"visit__event__{name}" for name in EVENT)
    for _, code, *event in each(strangers, "colony__code", *named):
        yield breaks("observation_other_reef", event_name(event), f"{code} stands on another reef.")


def _plot_counts() -> Iterator[Difference]:
    """Plots were counted on a visit to their site."""
    strangers = PlotCount.objects.exclude(plot__site=F("visit__site"))
    named = (f"visit__event__{name}" for name in EVENT)
    for _, code, *event in each(strangers.filter(visit__event__live=True), "plot__code", *named):
        yield breaks("plot_count_other_site", event_name(event), f"{code} is at another site.")


def _identifications(tell: Tell) -> Iterator[Difference]:
    """Known ramets were found by it, and the loose pieces that they were ended by it."""
    rows = Identification.objects.filter(event__live=True)
    written: dict[int, set[tuple[int, What]]] = defaultdict(set)
    for batch in by_id(rows, "event_id", "ramet_id", "found_id", tell=tell, things="identified"):
        for _, event, ramet, found in batch:
            written[event].add((ramet, What.FOUND))
            if found is not None:
                written[event].add((found, What.ENDED))
    said: dict[int, set[tuple[int, What]]] = defaultdict(set)
    ends = Q(what=What.ENDED, life=Life.IDENTIFIED)
    steps = Step.objects.filter(ends | Q(what=What.FOUND), live=True, event__live=True)
    for batch in by_id(steps, "event_id", "ramet_id", "what"):
        for _, event, ramet, what in batch:
            said[event].add((ramet, What(what)))
    for event in sorted(written.keys() | said.keys()):
        if written[event] == said[event]:
            continue
        known = ramet_codes(pk for pk, _ in written[event] | said[event])
        yield differs(
            "identification",
            event_names([event])[event],
            "who was found, and what ended as identified",
            {f"{known[pk]} {what.label}" for pk, what in written[event]},
            {f"{known[pk]} {what.label}" for pk, what in said[event]},
        )
