"""What stands in the record today, and what in it needs a hand.

Facts, not verdicts: the programme's own policy says what is too much. Reads only, in a number of
queries that does not grow.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from django.db.models import Count

from nursery.core.actor import Actor, require_read
from nursery.core.dates import latest_today
from nursery.core.models import Event
from nursery.diversity.risk import Keeping, keeping
from nursery.diversity.waiting import Below, manifests_waiting, sites_below
from nursery.donors.flagged import flags_of_collections
from nursery.donors.models import Collection, Genet, Permit
from nursery.donors.permits import Flag
from nursery.husbandry.queries import is_due, last_checks
from nursery.lineage.living import INDIVIDUAL, living
from nursery.lineage.words import Origin, Place, Purpose
from nursery.outplanting.models import Manifest
from nursery.places.models import Nursery, Site, Structure

READY_DAYS = 180
"""How many days after its cutting a ramet is taken to be large enough to plant: common practice, no
source. Whether one is, is seen on the bench."""
LAPSING_DAYS = 60
"""How far ahead permits are looked at that are about to lapse."""
HALF = 0.5
MOST_NAMED = 8
"""The most things of one kind that are named one by one."""


@dataclass(frozen=True, slots=True)
class Standing:
    """The whole stock: living ramets by where they are, and the genets they are of."""

    living: int
    without_genet: int
    genets: int
    nurseries: int
    in_nurseries: int
    sites: int
    on_sites: int
    packed: int
    placeless: int


@dataclass(frozen=True, slots=True)
class Lapsing:
    """A permit that is open in the register and has lapsed, or will in `days` days."""

    permit: Permit
    days: int

    @property
    def lapsed(self) -> bool:
        return self.days < 0


@dataclass(frozen=True, slots=True)
class Flagged:
    """A collection that something is irregular about."""

    collection: Collection
    flags: Sequence[Flag]


@dataclass(frozen=True, slots=True)
class Dominated:
    """A site of whose living ramets with a genet one genet holds more than half."""

    site: Site
    genet: Genet
    ramets: int
    of: int

    @property
    def share(self) -> float:
        return self.ramets / self.of


@dataclass(frozen=True, slots=True)
class Ready:
    """So many living cuttings for production in a nursery were cut READY_DAYS ago or more."""

    nursery: Nursery
    ramets: int


@dataclass(frozen=True, slots=True)
class Due:
    """A structure that nobody has looked at since it was filled, and how many days ago that was."""

    structure: Structure
    days: int


@dataclass(frozen=True, slots=True)
class Today:
    """The page Today. The lists name at most MOST_NAMED; the numbers beside them count all."""

    day: date
    standing: Standing
    lapsing: Sequence[Lapsing]
    flagged: Sequence[Flagged]
    flagged_count: int
    dominated: Sequence[Dominated]
    keeping: Keeping
    single: Sequence[Genet]
    single_count: int
    due: Sequence[Due]
    due_count: int
    below: Sequence[Below]
    waiting: Sequence[Manifest]
    ready: Sequence[Ready]
    latest: Sequence[Event]

    @property
    def quiet(self) -> bool:
        """Whether nothing needs a hand."""
        counts = (self.standing.placeless, self.flagged_count, self.due_count)
        lists = (self.lapsing, self.dominated, self.keeping.at_risk, self.below, self.waiting)
        return not (any(counts) or any(lists))


def today(actor: Actor) -> Today:
    """What stands, and what needs a hand. Raises NotAllowed (`no_role`)."""
    require_read(actor)
    day = latest_today()
    kept = keeping(actor)
    flagged = list(_flagged())
    single = [row.genet for row in kept.rows if row.living == 1]
    due = _due(day)
    events = Event.objects.select_related("recorded_by").order_by("-recorded_at", "-pk")
    return Today(
        day=day,
        standing=_standing(len(kept.rows), sum(row.living for row in kept.rows)),
        lapsing=list(_lapsing(day)),
        flagged=flagged[:MOST_NAMED],
        flagged_count=len(flagged),
        dominated=list(_dominated()),
        keeping=kept,
        single=single[:MOST_NAMED],
        single_count=len(single),
        due=due[:MOST_NAMED],
        due_count=len(due),
        below=sites_below(day),
        waiting=manifests_waiting(),
        ready=_ready(day),
        latest=list(events[:MOST_NAMED]),
    )


def _standing(genets: int, with_genet: int) -> Standing:
    rows = living().values_list("place", "structure__nursery", "plot__site").annotate(n=Count("pk"))
    places = dict.fromkeys(Place, 0)
    nurseries, sites = set(), set()
    for place, nursery, site, n in rows:
        places[Place(place)] += n
        if nursery is not None:
            nurseries.add(nursery)
        if site is not None:
            sites.add(site)
    total = sum(places.values())
    return Standing(
        living=total,
        without_genet=total - with_genet,
        genets=genets,
        nurseries=len(nurseries),
        in_nurseries=places[Place.STRUCTURE],
        sites=len(sites),
        on_sites=places[Place.PLOT],
        packed=places[Place.PACKED],
        placeless=places[Place.NOWHERE],
    )


def _lapsing(day: date) -> Iterator[Lapsing]:
    """Open permits that have lapsed or are about to, the most urgent first."""
    rows = Permit.objects.filter(
        closed_on__isnull=True, valid_until__lte=day + timedelta(days=LAPSING_DAYS)
    ).order_by("valid_until", "code")
    for permit in rows:
        if permit.valid_until is not None:
            yield Lapsing(permit, (permit.valid_until - day).days)


def _flagged() -> Iterator[Flagged]:
    """Collections with flags, the newest first."""
    rows = list(
        Collection.objects.filter(event__live=True)
        .select_related("event", "colony", "reef")
        .order_by("-event__earliest", "-event_id")
    )
    flags = flags_of_collections(rows)
    for row in rows:
        if row.pk in flags:
            yield Flagged(row, flags[row.pk])


def _due(day: date) -> list[Due]:
    """Structures with something living that are due for a check, the longest wait first."""
    held = living().filter(place=Place.STRUCTURE).values("structure")
    structures = Structure.objects.filter(pk__in=held).order_by("code")
    rows = {row.pk: row for row in structures}
    last = last_checks(rows)
    found = [
        Due(rows[pk], (day - each.filled.when.latest).days)
        for pk, each in last.items()
        if each.filled is not None and is_due(each, day)
    ]
    return sorted(found, key=lambda row: (-row.days, row.structure.code))


def _ready(day: date) -> list[Ready]:
    """Cuttings that are old enough to plant, by nursery."""
    rows = (
        living()
        .filter(
            place=Place.STRUCTURE,
            origin=Origin.CUT,
            purpose=Purpose.PRODUCTION,
            born__latest__lte=day - timedelta(days=READY_DAYS),
            structure__nursery__isnull=False,
        )
        .values_list("structure__nursery")
        .annotate(n=Count("pk"))
    )
    counts = dict(rows)
    nurseries = Nursery.objects.filter(pk__in=counts).order_by("code")
    return [Ready(row, counts[row.pk]) for row in nurseries]


def _dominated() -> Iterator[Dominated]:
    rows = (
        living()
        .filter(place=Place.PLOT, genet__isnull=False)
        .annotate(individual=INDIVIDUAL)
        .values_list("plot__site", "individual")
        .annotate(n=Count("pk"))
    )
    counts: dict[int, dict[int, int]] = {}
    for site, genet, n in rows:
        counts.setdefault(site, {})[genet] = n
    largest = {site: max(found, key=lambda pk: (found[pk], -pk)) for site, found in counts.items()}
    over = {
        site: genet
        for site, genet in largest.items()
        if 1 < sum(counts[site].values()) < counts[site][genet] / HALF
    }
    sites = {row.pk: row for row in Site.objects.filter(pk__in=over)}
    genets = Genet.objects.select_related("canonical").in_bulk(over.values())
    for pk in sorted(over, key=lambda pk: sites[pk].code):
        genet = over[pk]
        yield Dominated(sites[pk], genets[genet], counts[pk][genet], sum(counts[pk].values()))
