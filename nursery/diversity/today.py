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
from nursery.donors.flagged import flags_of_collections
from nursery.donors.models import Collection, Genet, Permit
from nursery.donors.permits import Flag
from nursery.lineage.living import INDIVIDUAL, living, living_by_genet
from nursery.lineage.words import Place
from nursery.places.models import Site

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
class Today:
    """The page Today. The lists name at most MOST_NAMED; the numbers beside them count all."""

    day: date
    standing: Standing
    lapsing: Sequence[Lapsing]
    flagged: Sequence[Flagged]
    flagged_count: int
    dominated: Sequence[Dominated]
    single: Sequence[Genet]
    single_count: int
    latest: Sequence[Event]

    @property
    def quiet(self) -> bool:
        """Whether nothing needs a hand."""
        counts = (self.standing.placeless, self.flagged_count, self.single_count)
        return not (any(counts) or self.lapsing or self.dominated)


def today(actor: Actor) -> Today:
    """What stands, and what needs a hand. Raises NotAllowed (`no_role`)."""
    require_read(actor)
    day = latest_today()
    by_genet = living_by_genet()
    flagged = list(_flagged())
    alone = sorted(pk for pk, n in by_genet.items() if n == 1)
    single = Genet.objects.filter(pk__in=alone).select_related("canonical", "taxon")
    events = Event.objects.select_related("recorded_by").order_by("-recorded_at", "-pk")
    return Today(
        day=day,
        standing=_standing(len(by_genet), sum(by_genet.values())),
        lapsing=list(_lapsing(day)),
        flagged=flagged[:MOST_NAMED],
        flagged_count=len(flagged),
        dominated=list(_dominated()),
        single=list(single.order_by("code")[:MOST_NAMED]),
        single_count=len(alone),
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
