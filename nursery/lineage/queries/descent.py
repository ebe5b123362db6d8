"""Where did it go? Everything that descends from a donor colony, a genet or a ramet."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from typing import Any

from django.db.models import Count, Q, QuerySet

from nursery.donors.models import DonorColony, DonorSetMember, Genet
from nursery.lineage import walk
from nursery.lineage.models import Ramet
from nursery.lineage.words import Life, Place
from nursery.places.models import Plot, Structure

_MANY = 1000
"""From how many names on it costs less to read them all."""


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
    """Count ramets by state and by place: one query over their rows alone, and one each for the
    names of the structures and of the plots that they are in, where there are any."""
    rows = list(
        ramets.order_by()
        .values_list("place", "structure_id", "plot_id", "life")
        .annotate(n=Count("*"))
    )
    structures = _named(
        Structure.objects.values_list("pk", "nursery__code", "code"), {row[1] for row in rows}
    )
    plots = _named(Plot.objects.values_list("pk", "site__code", "code"), {row[2] for row in rows})
    places: dict[tuple[int, str | None, str | None, str | None, str | None], list[int]] = {}
    lives: Counter[int] = Counter()
    for place, structure, plot, life, n in rows:
        where = (place, *structures[structure], *plots[plot])
        counts = places.setdefault(where, [0, 0])
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


_Names = tuple[str | None, str | None]


def _named(
    rows: QuerySet[Any, tuple[int, str | None, str]], ids: set[int | None]
) -> dict[int | None, _Names]:
    """The names of these ids, where None is nothing. Where they are many, all rows are read."""
    wanted = ids - {None}
    if not wanted:
        return {None: (None, None)}
    if len(wanted) <= _MANY:
        rows = rows.filter(pk__in=wanted)
    return {None: (None, None), **{pk: (inside, code) for pk, inside, code in rows.order_by()}}
