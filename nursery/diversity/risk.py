"""Where each genet is kept, and which could be lost by one mishap.

A genet lives as long as one of its ramets does. Few ramets, or all of them in one water, are one
spoilt tank away from none. Reads only, in a number of queries that does not grow.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum

from django.db.models import Count

from nursery.core.actor import Actor, require_read
from nursery.donors.models import Genet, Taxon
from nursery.lineage.living import INDIVIDUAL, living
from nursery.lineage.words import Place
from nursery.places.models import Nursery, Structure

FEW = 5
"""A genet with fewer living ramets than this is at risk: common practice, no source. The
programme's own policy may ask for more."""


class Risk(StrEnum):
    """Why a genet may be lost."""

    FEW = "few"
    ONE_WATER = "one_water"
    ONE_NURSERY = "one_nursery"


@dataclass(frozen=True, slots=True)
class Kept:
    """Where the living ramets of one genet are.

    `by_nursery` counts them by the nursery's code and `by_water` by that of the system, where they
    stand in one; `on_reef` those that are planted, `elsewhere` those that are packed or have no
    place. `water` is the one system that holds them all, if one does, and `nursery` the one
    nursery. Fewer living ramets than `enough` are few.
    """

    genet: Genet
    living: int
    enough: int
    by_nursery: Mapping[str, int]
    by_water: Mapping[str, int]
    on_reef: int
    elsewhere: int
    water: str | None
    nursery: str | None

    @property
    def risks(self) -> tuple[Risk, ...]:
        """Few comes first; all in one water says more than all in one nursery."""
        found = []
        if self.living < self.enough:
            found.append(Risk.FEW)
        if self.water is not None:
            found.append(Risk.ONE_WATER)
        elif self.nursery is not None:
            found.append(Risk.ONE_NURSERY)
        return tuple(found)


@dataclass(frozen=True, slots=True)
class Keeping:
    """All genets of which a ramet lives, by code, and the nurseries and the codes of the systems
    that keep any. Fewer living ramets than `enough` are few."""

    rows: Sequence[Kept]
    nurseries: Sequence[Nursery]
    waters: Sequence[str]
    enough: int

    @property
    def at_risk(self) -> list[Kept]:
        return [row for row in self.rows if row.risks]

    def with_risk(self, risk: Risk) -> int:
        return sum(risk in row.risks for row in self.rows)


def keeping(actor: Actor, taxon: Taxon | None = None, enough: int = FEW) -> Keeping:
    """Where every living genet is kept; of one taxon where one is given. Four queries.

    Merged genets are counted as the one they turned out to be.
    """
    require_read(actor)
    ramets = living().filter(genet__isnull=False)
    if taxon is not None:
        ramets = ramets.filter(taxon=taxon)
    counted = (
        ramets.annotate(individual=INDIVIDUAL)
        .values_list("individual", "place", "structure")
        .annotate(n=Count("pk"))
    )
    found: dict[int, list[tuple[int, int | None, int]]] = defaultdict(list)
    for genet, place, structure, n in counted:
        found[genet].append((place, structure, n))
    homes = homes_of_structures()
    genets = Genet.objects.filter(pk__in=found).select_related("taxon").order_by("code")
    rows = [_kept(genet, found[genet.pk], homes, enough) for genet in genets]
    used = {code for row in rows for code in row.by_nursery}
    nurseries = Nursery.objects.filter(code__in=used).order_by("code")
    waters = sorted({code for row in rows for code in row.by_water})
    return Keeping(rows, list(nurseries), waters, enough)


@dataclass(frozen=True, slots=True)
class Home:
    """The nursery and the water that a structure stands in; None where it stands in none."""

    nursery: str | None
    water: str | None


def homes_of_structures() -> dict[int, Home]:
    """The home of each structure; one that is held by another is where that one is. One query."""
    rows = Structure.objects.order_by().values_list(
        "pk", "parent_id", "nursery__code", "bay__system__code"
    )
    own = {pk: (parent, Home(nursery, water)) for pk, parent, nursery, water in rows}
    return {pk: _home(pk, own) for pk in own}


def _home(pk: int, own: Mapping[int, tuple[int | None, Home]]) -> Home:
    nursery, seen = own[pk][1].nursery, set()
    at: int | None = pk
    while at is not None and at not in seen:
        seen.add(at)
        at, home = own[at]
        nursery = nursery or home.nursery
        if home.water is not None:
            return Home(nursery, home.water)
    return Home(nursery, None)


def _kept(
    genet: Genet,
    places: Iterable[tuple[int, int | None, int]],
    homes: Mapping[int, Home],
    enough: int,
) -> Kept:
    by_nursery: Counter[str] = Counter()
    by_water: Counter[str] = Counter()
    waters: set[str | None] = set()
    on_reef = elsewhere = 0
    for place, structure, n in places:
        home = homes.get(structure) if structure is not None else None
        if place == Place.PLOT:
            on_reef += n
        elif home is not None and home.nursery is not None:
            by_nursery[home.nursery] += n
            waters.add(home.water)
            if home.water is not None:
                by_water[home.water] += n
        else:
            elsewhere += n
    together = not on_reef and not elsewhere
    only_water = next(iter(waters)) if together and len(waters) == 1 else None
    only_nursery = next(iter(by_nursery)) if together and len(by_nursery) == 1 else None
    return Kept(
        genet=genet,
        living=on_reef + elsewhere + by_nursery.total(),
        enough=enough,
        by_nursery=dict(by_nursery),
        by_water=dict(by_water),
        on_reef=on_reef,
        elsewhere=elsewhere,
        water=only_water,
        nursery=only_nursery,
    )
