"""Planting in a plot: ramets one by one, and structures with every ramet that lives in them."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from django.db import transaction

from nursery.core import bulk
from nursery.core.actor import Actor, Role, require
from nursery.core.dates import When, dated
from nursery.core.errors import Path, Problem, ProblemList, Refused
from nursery.core.models import Event, EventKind
from nursery.core.recording import Recorded, begin
from nursery.donors.permits import attach
from nursery.lineage.inputs import MOST_ROWS
from nursery.lineage.ledger import Entry, record
from nursery.lineage.models import Ramet
from nursery.lineage.replay import Change
from nursery.lineage.resolve import all_of
from nursery.lineage.words import Place, Purpose, What
from nursery.outplanting import carried, gate
from nursery.outplanting.inputs import OutplantIn, OutplantingIn, PlantedStructureIn
from nursery.outplanting.models import Fixing, Outplant, Outplanting
from nursery.outplanting.standing import sightings_follow
from nursery.places.models import Plot


@dataclass(frozen=True, slots=True)
class _Planted:
    """One ramet to plant, what was said of it, and the structure that it lives in, if that is
    planted."""

    ramet: Ramet
    path: Path
    said: OutplantIn | PlantedStructureIn
    member: carried.Member | None = None


@transaction.atomic
def plant(actor: Actor, given: OutplantingIn) -> Recorded:
    """Record an outplanting of up to 1,000 ramets in one plot.

    Of a structure that is named, every living ramet in it and in the structures that stand in it is
    planted, and traced one by one; the structure itself stands in the plot from then on.

    Raises NotAllowed; Refused (`unknown_plot`, `plot_closed`, `unknown_ramet`, `named_twice`,
    `unknown_structure`, `structure_lost`, `nothing_to_plant`, `too_many`, `not_living`,
    `already_planted`, `not_for_planting`, `not_planted_here`, `before_…`, `behind_later_entry`),
    and what `nursery.outplanting.gate` refuses with.
    """
    require(actor, Role.FIELD, act="plant on the reef")
    recorded = begin(actor, EventKind.OUTPLANTING, given)
    if not recorded.fresh:
        return recorded
    event = recorded.event
    plot = plot_of_code(given.plot)
    refuse_closed(plot, given.when)
    attach(event, given.permits)
    manifest = gate.manifest_to_plant(given.manifest, plot)
    ids = all_of(
        [(row.ramet, ("outplants", number, "ramet")) for number, row in enumerate(given.outplants)],
        on=given.when.latest,
    )
    numbers = carried.named([row.structure for row in given.structures])
    taken = carried.take(ids, numbers, given.when.upper)
    carried.refuse_impossible(event, taken)
    planted = [*_listed(ids, taken, given), *_members(taken, given)]
    _refuse_twice(planted, taken)
    if len(planted) > MOST_ROWS:
        raise Refused(
            Problem(
                "too_many",
                f"These are {len(planted)} ramets; at most {MOST_ROWS} in one entry.",
                ("structures",),
            )
        )
    if not given.other_purposes:
        _refuse_other_purposes(planted, taken)
    day = given.when.earliest
    gate.refuse_unlisted(manifest, plot, [(row.ramet, row.path) for row in planted], day)
    entries = [
        Entry(row.ramet, Change(What.PLANTED, place=Place.PLOT, plot=plot.pk), row.path)
        for row in planted
    ]
    record(event, entries, taken.structures)
    if numbers:
        carried.stand(event, entries, taken, plot)
    Outplanting.objects.create(event=event, plot=plot, manifest=manifest)
    bulk.insert_values(Outplant, _OUTPLANT, [_outplant(event, row, given) for row in planted])
    sightings_follow(event, [row.ramet.pk for row in planted])
    return recorded


def plot_of_code(code: str) -> Plot:
    """The plot that an entry names, with its site; raises Refused (`unknown_plot`)."""
    plot = Plot.objects.select_related("site").filter(code=code).first()
    if plot is None:
        raise Refused(Problem("unknown_plot", f"There is no plot {code}.", ("plot",)))
    return plot


def refuse_closed(plot: Plot, when: When) -> None:
    """Refuse (`plot_closed`) a plot that was closed by then, or whose site was."""
    for place in (plot, plot.site):
        if place.closed_on is not None and when.earliest > place.closed_on:
            raise Refused(
                Problem(
                    "plot_closed",
                    f"{place.code} was closed on {place.closed_on}, so nothing is planted there "
                    f"{dated(when)}. Choose another plot or check both dates.",
                    ("plot",),
                )
            )


def _listed(ids: Sequence[int], taken: carried.Taken, given: OutplantingIn) -> Iterator[_Planted]:
    for number, (pk, row) in enumerate(zip(ids, given.outplants, strict=True)):
        yield _Planted(taken.listed[pk], ("outplants", number, "ramet"), row)


def _members(taken: carried.Taken, given: OutplantingIn) -> Iterator[_Planted]:
    for member in taken.members:
        path = ("structures", member.number, "structure")
        yield _Planted(member.ramet, path, given.structures[member.number], member)


_OUTPLANT = (
    *("outplanting_id", "ramet_id", "position", "cluster", "fixing"),
    *("structure_id", "row", "column"),
)


def _outplant(event: Event, row: _Planted, given: OutplantingIn) -> tuple[object, ...]:
    fixing = row.said.fixing or given.fixing
    member = row.member
    return (
        *(event.pk, row.ramet.pk, row.said.position, row.said.cluster),
        Fixing.of(fixing) if fixing else None,
        *((member.structure, member.row, member.column) if member else (None, None, None)),
    )


def _refuse_twice(planted: Sequence[_Planted], taken: carried.Taken) -> None:
    """A ramet that is listed and lives in a structure that is planted too."""
    inside = {member.ramet.pk: member for member in taken.members}
    problems = ProblemList()
    for row in planted:
        member = inside.get(row.ramet.pk)
        if row.member is None and member is not None:
            problems.add(
                "named_twice",
                f"{row.ramet.code} lives in {taken.structures[member.structure].code}, which is "
                "planted by this entry with all that lives in it. Name it once.",
                *row.path,
            )
    problems.raise_if_any()


def _refuse_other_purposes(planted: Sequence[_Planted], taken: carried.Taken) -> None:
    problems = ProblemList()
    for row in planted:
        if row.ramet.purpose != Purpose.PRODUCTION:
            member = row.member
            where = f" (in {taken.structures[member.structure].code})" if member else ""
            problems.add(
                "not_for_planting",
                f"{row.ramet.code}{where} is kept as {Purpose(row.ramet.purpose).label}. Only "
                "production is planted, unless you say that other purposes may be.",
                *row.path,
            )
    problems.raise_if_any()
