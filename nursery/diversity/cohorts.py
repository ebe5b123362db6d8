"""What became of what was planted in one year, or by one outplanting."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from enum import StrEnum

from nursery.core.actor import Actor, require_read
from nursery.diversity.summary import Indices, summary
from nursery.donors.models import Taxon
from nursery.outplanting.counts import CohortCount, Stand, cohorts_standing
from nursery.outplanting.models import Outplanting
from nursery.places.models import Site


class By(StrEnum):
    """What makes ramets a cohort."""

    YEAR = "year"
    PLANTING = "planting"


@dataclass(frozen=True, slots=True)
class Tally:
    """How many ramets, how many of them without a genet, and how diverse the others are."""

    ramets: int
    without_genet: int
    indices: Indices


@dataclass(frozen=True, slots=True)
class Cohort:
    """Ramets planted in one year (`name`: the year, or the years that a vague date may be of) or by
    one outplanting (`name`: its uid, with its `plot`), and those of them that are alive.

    `first` and `last` are the days between which they were planted. All three are empty for ramets
    that live on the site though no planting of them is on record.
    """

    name: str
    plot: str
    first: date | None
    last: date | None
    planted: Tally
    alive: Tally


def cohorts(
    actor: Actor,
    site: Site,
    as_of: date | None = None,
    taxon: Taxon | None = None,
    by: By = By.YEAR,
) -> tuple[Cohort, ...]:
    """The cohorts of a site on a day (None: now), the oldest first; a ramet planted twice is of its
    last planting. The number of queries does not grow. Raises NotAllowed (`no_role`)."""
    require_read(actor)
    rows = {
        state: cohorts_standing(site, state, as_of, taxon) for state in (Stand.PLANTED, Stand.ALIVE)
    }
    ids = {row.outplanting for found in rows.values() for row in found}
    known = Outplanting.objects.filter(pk__in=[pk for pk in ids if pk is not None])
    plantings = known.select_related("event", "plot").in_bulk()
    members: dict[tuple[str, str], set[int | None]] = defaultdict(set)
    for pk in ids:
        members[_name(plantings.get(pk) if pk is not None else None, by)].add(pk)
    found = [
        _cohort(name, plot, [plantings[pk] for pk in of if pk is not None], of, rows)
        for (name, plot), of in members.items()
    ]
    return tuple(sorted(found, key=lambda row: (row.first or date.max, row.name, row.plot)))


def _name(planting: Outplanting | None, by: By) -> tuple[str, str]:
    if planting is None:
        return "", ""
    if by is By.PLANTING:
        return str(planting.event.uid), planting.plot.code
    first, last = planting.event.earliest.year, planting.event.latest.year
    return (str(first) if first == last else f"{first}–{last}"), ""


def _cohort(
    name: str,
    plot: str,
    plantings: Iterable[Outplanting],
    of: set[int | None],
    rows: Mapping[Stand, list[CohortCount]],
) -> Cohort:
    events = [planting.event for planting in plantings]
    return Cohort(
        name=name,
        plot=plot,
        first=min((event.earliest for event in events), default=None),
        last=max((event.latest for event in events), default=None),
        planted=_tally(row for row in rows[Stand.PLANTED] if row.outplanting in of),
        alive=_tally(row for row in rows[Stand.ALIVE] if row.outplanting in of),
    )


def _tally(rows: Iterable[CohortCount]) -> Tally:
    counts: Counter[int | None] = Counter()
    for row in rows:
        counts[row.genet] += row.ramets
    without = counts.pop(None, 0)
    return Tally(counts.total() + without, without, summary(counts.values()))
