"""Monitoring: what was seen of outplants and of donor colonies.

Observations are never refused for disagreeing with the record; the latest one decides.
"""

from __future__ import annotations

from collections.abc import Sequence

from django.db import transaction

from nursery.core import bulk
from nursery.core.actor import Actor, Role, require
from nursery.core.dates import dated
from nursery.core.errors import Problem, ProblemList, Refused
from nursery.core.models import Event, EventKind
from nursery.core.recording import Recorded, begin
from nursery.donors.models import DonorColony
from nursery.donors.permits import attach
from nursery.lineage.ledger import Entry, lock, record
from nursery.lineage.models import Ramet
from nursery.lineage.replay import Change
from nursery.lineage.resolve import all_of
from nursery.lineage.words import Cause, Life, What
from nursery.outplanting.inputs import ObservationIn, VisitIn
from nursery.outplanting.models import Condition, Observation, Outplant, Visit
from nursery.places.models import Plot, Reef, Site

_SEEN = {
    Condition.ALIVE: (What.SEEN_ALIVE, Life.LIVING),
    Condition.DEAD: (What.SEEN_DEAD, Life.DEAD),
    Condition.MISSING: (What.SEEN_MISSING, Life.LOST),
}


@transaction.atomic
def visit(actor: Actor, given: VisitIn) -> Recorded:
    """Record a monitoring visit to a site (outplants) or a reef (donor colonies).

    Raises NotAllowed; Refused (`unknown_site`, `unknown_reef`, `unknown_ramet`,
    `not_planted_here`, `before_outplanting`, `unknown_donorcolony`, `other_reef`, `seen_twice`).
    """
    require(actor, Role.FIELD, act="enter monitoring visits")
    recorded = begin(actor, EventKind.VISIT, given)
    if not recorded.fresh:
        return recorded
    event = recorded.event
    site, reef = _where(given)
    attach(event, given.permits)
    row = Visit.objects.create(event=event, site=site, reef=reef)
    _of_ramets(event, row, given)
    _of_colonies(row, given)
    return recorded


def _where(given: VisitIn) -> tuple[Site | None, Reef | None]:
    if given.site is not None:
        site = Site.objects.filter(code=given.site).first()
        if site is None:
            raise Refused(Problem("unknown_site", f"There is no site {given.site}.", ("site",)))
        return site, None
    reef = Reef.objects.filter(code=given.reef).first()
    if reef is None:
        raise Refused(Problem("unknown_reef", f"There is no reef {given.reef}.", ("reef",)))
    return None, reef


def _of_ramets(event: Event, visit_row: Visit, given: VisitIn) -> None:
    rows = [(n, row) for n, row in enumerate(given.observations) if row.ramet is not None]
    if not rows:
        return
    ids = all_of(
        [(row.ramet or "", ("observations", n, "ramet")) for n, row in rows], on=given.when.latest
    )
    locked = lock(ids)
    plots = _plots(event, visit_row.site, [locked[pk] for pk in ids], [n for n, _ in rows])
    entries = []
    seen = []
    for (n, row), pk in zip(rows, ids, strict=True):
        ramet = locked[pk]
        condition = Condition.of(row.condition)
        what, life = _SEEN[condition]
        cause = Cause.of(row.cause or "unknown") if condition is Condition.DEAD else None
        entries.append(
            Entry(ramet, Change(what, life=life, cause=cause), ("observations", n, "ramet"))
        )
        seen.append(_observation(visit_row, row, condition, cause, ramet=ramet, plot=plots[pk]))
    record(event, entries)
    bulk.insert(Observation, seen)


def _plots(
    event: Event, site: Site | None, ramets: Sequence[Ramet], numbers: Sequence[int]
) -> dict[int, Plot]:
    """The plot in which each ramet had been planted last, by the day of the visit."""
    outplants = (
        Outplant.objects.filter(ramet__in=ramets, outplanting__event__live=True)
        .select_related("outplanting__plot", "outplanting__event")
        .order_by("outplanting__event__moment", "pk")
    )
    first: dict[int, Outplant] = {}
    planted: dict[int, Outplant] = {}
    for outplant in outplants:
        first.setdefault(outplant.ramet_id, outplant)
        if outplant.outplanting.event.when.lower <= event.when.upper:
            planted[outplant.ramet_id] = outplant
    problems = ProblemList()
    for ramet, number in zip(ramets, numbers, strict=True):
        last = planted.get(ramet.pk)
        path = ("observations", number, "ramet")
        if last is None and ramet.pk in first:
            planting = first[ramet.pk].outplanting.event
            problems.add(
                "before_outplanting",
                f"{ramet.code} was planted {dated(planting.when)}; a visit {dated(event.when)} is "
                "before that. Check both dates.",
                *path,
            )
        elif last is None or site is None or last.outplanting.plot.site_id != site.pk:
            where = f"at {site.code}" if site is not None else "on this visit: it is to a reef"
            problems.add("not_planted_here", f"{ramet.code} was not planted {where}.", *path)
    problems.raise_if_any()
    return {pk: outplant.outplanting.plot for pk, outplant in planted.items()}


def _of_colonies(visit_row: Visit, given: VisitIn) -> None:
    rows = [(n, row) for n, row in enumerate(given.observations) if row.colony is not None]
    if not rows:
        return
    known = {
        colony.code: colony
        for colony in DonorColony.objects.filter(code__in=[row.colony for _, row in rows])
    }
    problems = ProblemList()
    seen: set[str] = set()
    observations = []
    for n, row in rows:
        path = ("observations", n, "colony")
        code = row.colony or ""
        colony = known.get(code)
        if colony is None:
            problems.add("unknown_donorcolony", f"There is no donor colony {code}.", *path)
            continue
        if code in seen:
            problems.add("seen_twice", f"{code} is named twice on this visit.", *path)
        seen.add(code)
        reef_id = visit_row.reef_id or (visit_row.site.reef_id if visit_row.site else None)
        if colony.reef_id != reef_id:
            problems.add("other_reef", f"{code} does not stand on the reef visited.", *path)
        condition = Condition.of(row.condition)
        cause = Cause.of(row.cause or "unknown") if condition is Condition.DEAD else None
        observations.append(_observation(visit_row, row, condition, cause, colony=colony))
    problems.raise_if_any()
    bulk.insert(Observation, observations)


def _observation(
    visit_row: Visit,
    row: ObservationIn,
    condition: Condition,
    cause: Cause | None,
    ramet: Ramet | None = None,
    plot: Plot | None = None,
    colony: DonorColony | None = None,
) -> Observation:
    return Observation(
        visit=visit_row,
        ramet=ramet,
        plot=plot,
        colony=colony,
        condition=condition,
        cause=cause,
        tissue_lost=row.tissue_lost,
        size_cm=row.size,
        note=row.note,
    )
