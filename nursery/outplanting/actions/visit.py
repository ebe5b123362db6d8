"""Monitoring: what was seen of outplants and of donor colonies, and what was counted in plots.

Observations are never refused for disagreeing with the record; the latest one decides.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import TypeVar

from django.db import transaction

from nursery.core import bulk
from nursery.core.actor import Actor, Role, require
from nursery.core.dates import dated
from nursery.core.errors import Problem, ProblemList, Refused
from nursery.core.models import Event, EventKind, Register
from nursery.core.recording import Recorded, begin
from nursery.donors.models import DonorColony, Genet, Taxon
from nursery.donors.permits import attach
from nursery.lineage.ledger import Entry, lock, record
from nursery.lineage.models import Ramet
from nursery.lineage.replay import Change
from nursery.lineage.resolve import all_of
from nursery.lineage.rows import key_of
from nursery.lineage.words import Cause, Life, What
from nursery.outplanting.inputs import ObservationIn, VisitIn
from nursery.outplanting.models import Condition, Observation, Outplanting, PlotCount, Visit
from nursery.outplanting.standing import last_before, plantings_of
from nursery.places.models import Plot, Reef, Site
from nursery.places.queries import plots_by_code

R = TypeVar("R", bound=Register)

_SEEN = {
    Condition.ALIVE: (What.SEEN_ALIVE, Life.LIVING),
    Condition.DEAD: (What.SEEN_DEAD, Life.DEAD),
    Condition.MISSING: (What.SEEN_MISSING, Life.LOST),
}


@transaction.atomic
def visit(actor: Actor, given: VisitIn) -> Recorded:
    """Record a monitoring visit to a site (outplants, counts of plots) or a reef (donor colonies).

    Raises NotAllowed; Refused (`unknown_site`, `unknown_reef`, `unknown_ramet`,
    `not_planted_here`, `before_outplanting`, `unknown_donorcolony`, `other_reef`, `seen_twice`,
    `unknown_plot`, `other_site`, `unknown_genet`, `unknown_taxon`, `counted_twice`).
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
    _of_plots(row, given)
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
    ramets = [locked[pk] for pk in ids]
    plantings = plantings_of(ids)
    _refuse_never_planted(event, visit_row.site, ramets, [n for n, _ in rows], plantings)
    entries = []
    conditions = []
    for (n, row), ramet in zip(rows, ramets, strict=True):
        condition, cause = _seen(row)
        what, life = _SEEN[condition]
        entries.append(
            Entry(ramet, Change(what, life=life, cause=cause), ("observations", n, "ramet"))
        )
        conditions.append((condition, cause))
    # Which planting was the last before the visit is known once the visit has its moment.
    record(event, entries)
    plots = _plots(event, visit_row.site, ramets, [n for n, _ in rows], plantings)
    bulk.insert(
        Observation,
        [
            _observation(visit_row, row, condition, cause, ramet=ramet, plot=plots[ramet.pk])
            for (_, row), ramet, (condition, cause) in zip(rows, ramets, conditions, strict=True)
        ],
    )


def _seen(row: ObservationIn) -> tuple[Condition, Cause | None]:
    condition = Condition.of(row.condition)
    return condition, Cause.of(row.cause or "unknown") if condition is Condition.DEAD else None


def _refuse_never_planted(
    event: Event,
    site: Site | None,
    ramets: Sequence[Ramet],
    numbers: Sequence[int],
    plantings: Mapping[int, Sequence[Outplanting]],
) -> None:
    """Refuse ramets that on every reading had not been planted by the day of the visit, and all of
    them on a visit to a reef."""
    problems = ProblemList()
    for ramet, number in zip(ramets, numbers, strict=True):
        path = ("observations", number, "ramet")
        known = plantings.get(ramet.pk, ())
        first = min((row.event for row in known), key=lambda one: one.when.lower, default=None)
        if first is not None and event.when.upper < first.when.lower:
            problems.add(
                "before_outplanting",
                f"{ramet.code} was planted {dated(first.when)}; a visit {dated(event.when)} is "
                "before that. Check both dates.",
                *path,
            )
        elif first is None or site is None:
            where = f"at {site.code}" if site is not None else "on this visit: it is to a reef"
            problems.add("not_planted_here", f"{ramet.code} was not planted {where}.", *path)
    problems.raise_if_any()


def _plots(
    event: Event,
    site: Site | None,
    ramets: Sequence[Ramet],
    numbers: Sequence[int],
    plantings: Mapping[int, Sequence[Outplanting]],
) -> dict[int, Plot]:
    """The plot in which each ramet had been planted last before the visit, which is at its site."""
    problems = ProblemList()
    found: dict[int, Plot] = {}
    for ramet, number in zip(ramets, numbers, strict=True):
        last = last_before(plantings[ramet.pk], key_of(event))
        if last is None or site is None or last.plot.site_id != site.pk:
            where = (
                f": by then it stood in {last.plot.code}, planted {dated(last.event.when)}"
                if last is not None
                else ""
            )
            problems.add(
                "not_planted_here",
                f"{ramet.code} was not planted at {site.code if site else 'a reef'} "
                f"{dated(event.when)}{where}. Check the site and both dates.",
                "observations",
                number,
                "ramet",
            )
        else:
            found[ramet.pk] = last.plot
    problems.raise_if_any()
    return found


def _of_plots(visit_row: Visit, given: VisitIn) -> None:
    """Keep the counts. They change no ramet: nobody invents which were counted."""
    if not given.counts:
        return
    counts = given.counts
    plots = plots_by_code(row.plot for row in counts)
    genets = _by_code(Genet.objects.filter(code__in={row.genet for row in counts if row.genet}))
    taxa = _by_code(Taxon.objects.filter(code__in={row.taxon for row in counts if row.taxon}))
    problems = ProblemList()
    seen: set[tuple[str, str | None, str | None]] = set()
    for n, row in enumerate(counts):
        path = ("counts", n)
        plot = plots.get(row.plot)
        if plot is None:
            problems.add("unknown_plot", f"There is no plot {row.plot}.", *path, "plot")
        elif plot.site_id != visit_row.site_id:
            problems.add(
                "other_site",
                f"{plot.code} is a plot of {plot.site.code}, which was not visited. Count it on a "
                "visit to that site.",
                *path,
                "plot",
            )
        if row.genet is not None and row.genet not in genets:
            problems.add("unknown_genet", f"There is no genet {row.genet}.", *path, "genet")
        if row.taxon is not None and row.taxon not in taxa:
            problems.add("unknown_taxon", f"There is no taxon {row.taxon}.", *path, "taxon")
        if (row.plot, row.genet, row.taxon) in seen:
            problems.add(
                "counted_twice",
                f"{row.genet or row.taxon or 'All together'} in {row.plot} was counted twice on "
                "this visit. Give one count.",
                *path,
                "plot",
            )
        seen.add((row.plot, row.genet, row.taxon))
    problems.raise_if_any()
    bulk.insert(
        PlotCount,
        [
            PlotCount(
                visit=visit_row,
                plot=plots[row.plot],
                genet=genets.get(row.genet or ""),
                taxon=taxa.get(row.taxon or ""),
                alive=row.alive,
                dead=row.dead,
                missing=row.missing,
                note=row.note,
            )
            for row in counts
        ],
    )


def _by_code(rows: Iterable[R]) -> dict[str, R]:
    return {row.code: row for row in rows}


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
        condition, cause = _seen(row)
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
