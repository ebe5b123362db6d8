"""What a relabelling or a merge changes: how many ramets count as which individual, and where."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass

from django.db.models import Q
from django.db.models.functions import Coalesce

from nursery.lineage.models import Ramet
from nursery.lineage.words import Life, Place

UNKNOWN = ""
"""Stands for the genet of those of which it is not known."""


@dataclass(frozen=True, slots=True)
class Where:
    """A site or a nursery by its code; neither: `elsewhere`, on the way or nowhere."""

    kind: str
    code: str = ""


@dataclass(frozen=True, slots=True)
class Turn:
    """So many ramets that count as one genet now, in one place, count as another afterwards.

    Genets by their codes, merged ones as one; an empty code: not known.
    """

    before: str
    after: str
    where: Where
    ramets: int
    living: int


@dataclass(frozen=True, slots=True)
class Tally:
    """Living ramets of one genet in one place, before and after."""

    where: Where
    genet: str
    before: int
    after: int


@dataclass(frozen=True, slots=True)
class Effect:
    """How many ramets change their genet, how many of these live, which, and what that leaves:
    tallies of each place and genet whose number of living ramets changes."""

    ramets: int
    living: int
    turns: tuple[Turn, ...]
    tallies: tuple[Tally, ...]


@dataclass(frozen=True, slots=True)
class Look:
    """What counts of one ramet at one time."""

    genet: str
    living: bool
    where: Where


def looked(which: Q) -> dict[int, Look]:
    """These ramets as they are now, in one query."""
    rows = (
        Ramet.objects.filter(which)
        .order_by()
        .annotate(individual=Coalesce("genet__canonical__code", "genet__code"))
        .values_list(
            "pk",
            "individual",
            "life",
            "place",
            "plot__site__code",
            "structure__nursery__code",
            "structure__plot__site__code",
        )
    )
    return {
        pk: Look(genet or UNKNOWN, life == Life.LIVING, _where(place, site, nursery, moored))
        for pk, genet, life, place, site, nursery, moored in rows
    }


def effect(before: Mapping[int, Look], after: Mapping[int, Look]) -> Effect:
    """What is otherwise afterwards; both have the same ramets. Pure."""
    turned: Counter[tuple[str, str, Where]] = Counter()
    living: Counter[tuple[str, str, Where]] = Counter()
    first: Counter[tuple[Where, str]] = Counter()
    then: Counter[tuple[Where, str]] = Counter()
    for pk, was in before.items():
        now = after[pk]
        if was.living:
            first[was.where, was.genet] += 1
        if now.living:
            then[now.where, now.genet] += 1
        if was.genet != now.genet:
            turn = was.genet, now.genet, now.where
            turned[turn] += 1
            living[turn] += now.living
    return Effect(
        ramets=turned.total(),
        living=living.total(),
        turns=tuple(
            Turn(*turn, turned[turn], living[turn])
            for turn in sorted(turned, key=lambda turn: (_place_key(turn[2]), turn[:2]))
        ),
        tallies=tuple(
            Tally(where, genet, first[where, genet], then[where, genet])
            for where, genet in sorted(
                first.keys() | then.keys(), key=lambda key: (_place_key(key[0]), key[1])
            )
            if first[where, genet] != then[where, genet]
        ),
    )


def _where(place: int, site: str | None, nursery: str | None, moored: str | None) -> Where:
    if place == Place.PLOT and site is not None:
        return Where("site", site)
    if place == Place.STRUCTURE and nursery is not None:
        return Where("nursery", nursery)
    if place == Place.STRUCTURE and moored is not None:
        return Where("site", moored)
    return Where("elsewhere")


def _place_key(where: Where) -> tuple[str, str]:
    return where.kind, where.code
