"""Counts of structures and plots beside what the record says lived there then.

Counts are compared many together, so that the number of queries does not follow theirs.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Generic, TypeVar

from django.db.models import QuerySet
from django.db.models.functions import Coalesce

from nursery.lineage.models import Step, StructureCount
from nursery.lineage.rows import histories, key_of
from nursery.lineage.timeline import Clash, Key, Line, states
from nursery.lineage.words import Life, What
from nursery.outplanting.models import PlotCount

_AT_ONCE = 200
"""The most counts that are compared together: their ramets' histories are in memory meanwhile."""
_ASKED_AT_ONCE = 10_000
"""The most ramets of which the histories are asked for by one statement: no database takes any
number of ids."""

_Row = TypeVar("_Row", StructureCount, PlotCount)


@dataclass(frozen=True, slots=True)
class Differing(Generic[_Row]):
    """A count that the record differs from: by it, `lived` were there then."""

    row: _Row
    lived: int


def of_structures() -> Iterator[Differing[StructureCount]]:
    """Counts of structures, or of a lot in one, that are not what the record says."""
    rows = StructureCount.objects.filter(event__live=True, alive__isnull=False)
    for some in _parts(rows.select_related("event", "structure", "lot").order_by("pk")):
        there = Step.objects.filter(structure__in={row.structure_id for row in some}, live=True)
        inside: dict[int, dict[int, int | None]] = defaultdict(dict)
        for structure, ramet, lot in there.values_list(
            "structure_id", "ramet_id", "ramet__fragmentation_id"
        ):
            inside[structure][ramet] = lot
        lines = _histories(inside)
        for row in some:
            lived = sum(
                _lived_at(lines[ramet], key_of(row.event), structure=row.structure_id)
                for ramet, lot in inside[row.structure_id].items()
                if row.lot_id in (None, lot)
            )
            if lived != row.alive:
                yield Differing(row, lived)


def of_plots() -> Iterator[Differing[PlotCount]]:
    """Counts of plots, or of a genet or taxon in one, that found more than can have lived there."""
    rows = PlotCount.objects.filter(visit__event__live=True)
    for some in _parts(
        rows.select_related("visit__event", "plot", "genet", "taxon").order_by("pk")
    ):
        planted = Step.objects.filter(
            plot__in={row.plot_id for row in some}, what=What.PLANTED, live=True
        )
        inside: dict[int, dict[int, tuple[int | None, int]]] = defaultdict(dict)
        for plot, ramet, genet, taxon in planted.values_list(
            "plot_id",
            "ramet_id",
            Coalesce("ramet__genet__canonical_id", "ramet__genet_id"),
            "ramet__taxon_id",
        ):
            inside[plot][ramet] = genet, taxon
        lines = _histories(inside)
        for row in some:
            one = row.genet and (row.genet.canonical_id or row.genet_id)
            lived = sum(
                _lived_at(lines[ramet], key_of(row.visit.event), plot=row.plot_id)
                for ramet, (genet, taxon) in inside[row.plot_id].items()
                if one in (None, genet) and row.taxon_id in (None, taxon)
            )
            if lived < row.alive:
                yield Differing(row, lived)


def _parts(rows: QuerySet[Any]) -> Iterator[Sequence[Any]]:
    """The rows, by their keys, as many as are compared together."""
    last = 0
    while some := list(rows.filter(pk__gt=last)[:_AT_ONCE]):
        yield some
        if len(some) < _AT_ONCE:
            return
        last = some[-1].pk


def _histories(inside: Mapping[int, Iterable[int]]) -> dict[int, list[Line]]:
    """The histories of the ramets that were in each place."""
    ids = sorted({ramet for ramets in inside.values() for ramet in ramets})
    found: dict[int, list[Line]] = {}
    for start in range(0, len(ids), _ASKED_AT_ONCE):
        found |= histories(ids[start : start + _ASKED_AT_ONCE])
    return found


def _lived_at(
    lines: Sequence[Line], at: Key, structure: int | None = None, plot: int | None = None
) -> bool:
    """Whether a ramet lived in the structure or plot right after a moment."""
    try:
        after = states([line for line in lines if line.key <= at])
    except Clash:
        return False
    if not after or after[-1].life is not Life.LIVING:
        return False
    last = after[-1]
    return (structure is not None and last.structure == structure) or (
        plot is not None and last.plot == plot
    )
