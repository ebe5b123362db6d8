"""Where did it go? Everything that descends from a donor colony, a genet or a ramet."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass

from django.db.models import Count, Q, QuerySet

from nursery.donors.models import DonorColony, DonorSetMember, Genet
from nursery.lineage import walk
from nursery.lineage.models import Ramet
from nursery.lineage.words import Life, Place


@dataclass(frozen=True, slots=True)
class PlaceCount:
    """How many descendants are in one place, or were when they ended."""

    place: Place
    nursery: str | None
    structure: str | None
    site: str | None
    plot: str | None
    living: int
    ended: int


@dataclass(frozen=True, slots=True)
class Descent:
    """Descendants counted by state and by place. `by_life` has the words of life as keys."""

    total: int
    living: int
    by_life: dict[str, int]
    by_place: tuple[PlaceCount, ...]


def of_donor(colony: DonorColony) -> QuerySet[Ramet]:
    """All ramets that came from a donor colony, through every cutting, pooled ones included."""
    sets = DonorSetMember.objects.filter(colony=colony).values("donor_set")
    return Ramet.objects.filter(donor_set__in=sets)


def of_genet(genet: Genet) -> QuerySet[Ramet]:
    """All ramets of a genet, and of the genets that turned out to be the same."""
    canonical = genet.canonical_id or genet.pk
    return Ramet.objects.filter(Q(genet_id=canonical) | Q(genet__canonical_id=canonical))


def of_ramet(ramet: Ramet) -> QuerySet[Ramet]:
    """All ramets cut from a ramet, directly or not; without itself."""
    return Ramet.objects.filter(pk__in=walk.descendants(ramet.pk)).exclude(pk=ramet.pk)


def summary(ramets: QuerySet[Ramet]) -> Descent:
    """Count ramets by state and by place, in one query."""
    places: dict[tuple[int, str | None, str | None, str | None, str | None], list[int]] = {}
    lives: Counter[int] = Counter()
    rows = (
        ramets.order_by()
        .values_list(
            "place",
            "structure__nursery__code",
            "structure__code",
            "plot__site__code",
            "plot__code",
            "life",
        )
        .annotate(n=Count("pk"))
    )
    for place, nursery, structure, site, plot, life, n in rows:
        counts = places.setdefault((place, nursery, structure, site, plot), [0, 0])
        counts[0 if life == Life.LIVING else 1] += n
        lives[life] += n
    by_place = tuple(
        PlaceCount(Place(key[0]), *key[1:], living=living, ended=ended)
        for key, (living, ended) in sorted(places.items(), key=lambda item: str(item[0]))
    )
    return Descent(
        total=sum(lives.values()),
        living=lives[Life.LIVING],
        by_life={Life(life).word: n for life, n in sorted(lives.items())},
        by_place=by_place,
    )
