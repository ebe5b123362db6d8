"""Counting: how many were alive, dead and missing in a structure, of all or of one lot."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, replace
from uuid import UUID

from django.db import transaction
from django.db.models import Q

from nursery.core import bulk
from nursery.core.actor import Actor, Role, require
from nursery.core.dates import certainly_before, dated
from nursery.core.errors import Path, ProblemList
from nursery.core.models import Event, EventKind
from nursery.core.recording import Recorded, begin
from nursery.donors.permits import attach
from nursery.lineage.inputs import CountedIn, CountIn
from nursery.lineage.ledger import Entry, lock, record
from nursery.lineage.members import require_structures, states_at
from nursery.lineage.models import Fragmentation, Ramet, StructureCount, Tag
from nursery.lineage.replay import Change
from nursery.lineage.rows import plain_moment, stamp
from nursery.lineage.words import Cause, Life, Place, What
from nursery.places.models import Structure
from nursery.places.queries import structures_by_code

ACT = "count what structures hold"


@dataclass(frozen=True, slots=True)
class _Counted:
    """One row of a count, with what its names stand for."""

    number: int
    row: CountedIn
    structure: Structure
    lot: Fragmentation | None

    @property
    def lot_id(self) -> int | None:
        return self.lot.pk if self.lot is not None else None


@dataclass(frozen=True, slots=True)
class _Member:
    """One of a lot, living in a structure at the time of the count; `late`: it has later steps."""

    ramet: Ramet
    in_cell: bool
    late: bool


@transaction.atomic
def count_structures(actor: Actor, given: CountIn) -> Recorded:
    """Record counts of structures.

    Of a `lot`, the untagged ramets of one cutting that live in one structure without cells, as many
    as were counted dead or missing end, marked as ended by count. They are interchangeable, so it
    is the same whichever are taken: those without later entries first, then the lowest ids, so that
    the same entries always make the same records. Who lives there is judged at the end of the date.
    A count of `alive` that differs from the record is kept as it is.

    A count without a lot changes no ramet: nobody invents which. Raises NotAllowed; Refused
    (`unknown_structure`, `unknown_lot`, `named_twice`, `before_fragmentation`, `lot_in_cells`,
    `more_than_there`, `behind_later_entry`).
    """
    require(actor, Role.NURSERY, Role.FIELD, act=ACT)
    recorded = begin(actor, EventKind.COUNT, given)
    if not recorded.fresh:
        return recorded
    event = recorded.event
    attach(event, given.permits)
    rows = _resolved(event, given)
    require_structures(actor, [row.structure for row in rows], act=ACT)
    entries = _of_lots(event, [row for row in rows if row.lot is not None])
    if entries:
        record(event, entries)
    bulk.insert(
        StructureCount,
        [
            StructureCount(
                event=event,
                structure=row.structure,
                lot=row.lot,
                alive=row.row.alive,
                dead=row.row.dead,
                missing=row.row.missing,
                note=row.row.note,
            )
            for row in rows
        ],
    )
    return recorded


def _resolved(event: Event, given: CountIn) -> list[_Counted]:
    structures = structures_by_code(row.structure for row in given.counts)
    lots = {
        lot.event.uid: lot
        for lot in Fragmentation.objects.select_related("event").filter(
            event__uid__in={row.lot for row in given.counts if row.lot}, event__live=True
        )
    }
    problems = ProblemList()
    seen: set[tuple[str, UUID | None]] = set()
    found = []
    for number, row in enumerate(given.counts):
        path = ("counts", number)
        structure = structures.get(row.structure)
        lot = lots.get(row.lot) if row.lot is not None else None
        if structure is None:
            problems.add(
                "unknown_structure", f"There is no structure {row.structure}.", *path, "structure"
            )
        if row.lot is not None and lot is None:
            problems.add(
                "unknown_lot",
                f"There is no cutting {row.lot}. A lot is named by the uid of the cutting that "
                "made it.",
                *path,
                "lot",
            )
        if lot is not None and certainly_before(event.when, lot.event.when):
            problems.add(
                "before_fragmentation",
                f"This lot was cut {dated(lot.event.when)}; a count {dated(event.when)} is before "
                "that. Check both dates.",
                *path,
                "lot",
            )
        if (row.structure, row.lot) in seen:
            of_it = "This lot" if row.lot is not None else "All"
            problems.add(
                "named_twice",
                f"{of_it} in {row.structure} is counted twice in this entry. Give one count.",
                *path,
                "structure",
            )
        seen.add((row.structure, row.lot))
        if structure is not None:
            found.append(_Counted(number, row, structure, lot))
    problems.raise_if_any()
    return found


def _of_lots(event: Event, rows: Sequence[_Counted]) -> list[Entry]:
    """The ramets that end by these counts, each once."""
    ending = [row for row in rows if row.row.dead or row.row.missing]
    if not ending:
        return []
    there = _who_lives(event, ending)
    problems = ProblemList()
    entries = []
    for row in ending:
        group = there.get((row.lot_id, row.structure.pk), [])
        if _refused(event, row, group, problems):
            continue
        group.sort(key=lambda member: (member.late, member.ramet.pk))
        entries += [
            Entry(member.ramet, change, path)
            for member, (change, path) in zip(group, _endings(row), strict=False)
        ]
    problems.raise_if_any()
    return entries


def _who_lives(
    event: Event, rows: Sequence[_Counted]
) -> dict[tuple[int | None, int | None], list[_Member]]:
    """The untagged ramets of these lots by lot and by the structure they live in, locked."""
    at = event.when.upper
    perhaps = Ramet.objects.filter(fragmentation__in={row.lot_id for row in rows}).filter(
        Q(structure__in={row.structure.pk for row in rows}, life=Life.LIVING)
        | Q(not_before__gt=stamp(at))
    )
    ramets = lock(perhaps.values_list("pk", flat=True))
    tags = Tag.objects.filter(ramet__in=ramets, live=True, since__lte=event.latest)
    in_force = tags.filter(Q(until__isnull=True) | Q(until__gte=event.latest))
    tagged = set(in_force.values_list("ramet_id", flat=True))
    found: dict[tuple[int | None, int | None], list[_Member]] = defaultdict(list)
    for pk, state in states_at(ramets, at).items():
        ramet = ramets[pk]
        if pk not in tagged and state.life is Life.LIVING and state.place is Place.STRUCTURE:
            late = plain_moment(ramet.not_before) > at
            member = _Member(ramet, state.row is not None, late)
            found[ramet.fragmentation_id, state.structure].append(member)
    return found


def _refused(event: Event, row: _Counted, group: Sequence[_Member], problems: ProblemList) -> bool:
    """Whether a count of a lot cannot be true of who lives there; says why."""
    counted = row.row.dead + row.row.missing
    code = row.structure.code
    if any(member.in_cell for member in group):
        problems.add(
            "lot_in_cells",
            f"The pieces of this lot in {code} have cells, so they are not interchangeable. Name "
            "those that ended by their cells, or count the structure without a lot.",
            "counts",
            row.number,
            "lot",
        )
        return True
    if counted > len(group):
        cutting = f"the cutting {dated(row.lot.event.when)}" if row.lot else "this lot"
        problems.add(
            "more_than_there",
            f"{counted} were counted dead or missing {dated(event.when)}, but only {len(group)} "
            f"untagged ramets of {cutting} live in {code} then. Check the structure, the lot and "
            "the date.",
            "counts",
            row.number,
            "dead" if row.row.dead else "missing",
        )
        return True
    return False


def _endings(row: _Counted) -> list[tuple[Change, Path]]:
    """What happens to one after another of a lot: first those that died, then the missing."""
    here = Change(What.COUNTED_MISSING, place=Place.STRUCTURE, structure=row.structure.pk)
    cause = Cause.of(row.row.cause or "unknown")
    died = replace(here, what=What.COUNTED_DEAD, life=Life.DEAD, cause=cause)
    gone = replace(here, life=Life.LOST)
    at: Path = ("counts", row.number)
    return [(died, (*at, "dead"))] * row.row.dead + [(gone, (*at, "missing"))] * row.row.missing
