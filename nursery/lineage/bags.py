"""What is under way from the reef: a bag for each collection, with its pieces and what was cut
from them aboard."""

from __future__ import annotations

import datetime
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

from django.db.models import Exists, OuterRef, Prefetch, Q, QuerySet

from nursery.core.models import Event
from nursery.donors.models import Collection
from nursery.lineage.models import Ramet, Source, Step, Tag
from nursery.lineage.words import Life, Place, What
from nursery.places.cells import Cell
from nursery.places.models import Structure

_DEEPEST = 20
"""How often pieces may have been cut in turn before they reach a nursery."""


@dataclass(slots=True)
class Bag:
    """One collection of a trip. `number` is written on the bag: its place among the day's."""

    number: int
    collection: Collection
    pieces: list[Ramet] = field(default_factory=list)
    cut_aboard: list[Ramet] = field(default_factory=list)

    @property
    def inside(self) -> list[Ramet]:
        """What is in the bag still, the pieces first."""
        return [row for row in (*self.pieces, *self.cut_aboard) if under_way(row)]


def under_way(ramet: Ramet) -> bool:
    """Whether a piece (of a bag) lives and no nursery has received it yet."""
    received: bool = getattr(ramet, "received", False)
    return ramet.life == Life.LIVING and ramet.place == Place.PACKED and not received


def _received() -> Exists:
    """Whether a nursery has received or placed a ramet before."""
    steps = Step.objects.filter(ramet=OuterRef("pk"), live=True)
    return Exists(
        steps.filter(Q(what__in=[What.RECEIVED, What.PLACED]) | Q(structure__isnull=False))
    )


def _born_packed() -> Exists:
    """Whether a ramet was packed from the first: a piece, or what was cut from packed ones."""
    return Exists(
        Step.objects.filter(ramet=OuterRef("pk"), live=True, what=What.BORN, place=Place.PACKED)
    )


def days() -> list[datetime.date]:
    """The days on which something was collected that is under way still, the newest first."""
    waiting = Ramet.objects.filter(
        _born_packed(), ~_received(), place=Place.PACKED, life=Life.LIVING
    )
    pieces = waiting.filter(collection__event__live=True)
    cut = Source.objects.filter(
        fragmentation__children__in=waiting.values("pk"), ramet__collection__event__live=True
    )
    dates = {
        *pieces.values_list("collection__event__earliest", flat=True),
        *cut.values_list("ramet__collection__event__earliest", flat=True),
    }
    return sorted(dates, reverse=True)


def bags_of(day: datetime.date) -> list[Bag]:
    """The bags of a day, in the order in which they were entered."""
    rows = Collection.objects.filter(event__earliest=day, event__live=True)
    return _filled(rows)


def bag_of(event: Event) -> Bag:
    """The bag of one collection, with its number among those of its day."""
    return next(bag for bag in bags_of(event.earliest) if bag.collection.pk == event.pk)


def _filled(rows: QuerySet[Collection]) -> list[Bag]:
    """Bags with all that is in them. The number of queries follows from how often pieces were cut
    in turn, not from how many there are."""
    collections = rows.select_related("event", "colony", "reef", "taxon", "genet").order_by("pk")
    bags = {row.pk: Bag(number, row) for number, row in enumerate(collections, start=1)}
    of: dict[int, int] = {}
    for ramet in _with_tags(Ramet.objects.filter(collection__in=list(bags))).order_by("number"):
        bags[ramet.collection_id or 0].pieces.append(ramet)
        of[ramet.pk] = ramet.collection_id or 0
    last = list(of)
    for _ in range(_DEEPEST):
        children = _children(last, of)
        last = [child.pk for child in children if child.pk not in of]
        for child in children:
            if child.pk in last:
                key = _first_source(child, of)
                of[child.pk] = key
                bags[key].cut_aboard.append(child)
        if not last:
            break
    return list(bags.values())


def _children(sources: Sequence[int], of: dict[int, int]) -> list[Ramet]:
    """What was cut from these while they were packed."""
    if not sources:
        return []
    rows = Ramet.objects.filter(_born_packed(), fragmentation__sources__ramet__in=sources)
    cuttings = Prefetch("fragmentation__sources", queryset=Source.objects.order_by("pk"))
    found = _with_tags(rows.select_related("fragmentation")).prefetch_related(cuttings)
    return list(found.distinct().order_by("pk"))


def _first_source(child: Ramet, of: dict[int, int]) -> int:
    sources = child.fragmentation.sources.all() if child.fragmentation is not None else ()
    return next(of[row.ramet_id] for row in sources if row.ramet_id in of)


def _with_tags(rows: QuerySet[Ramet]) -> QuerySet[Ramet]:
    worn = Tag.objects.filter(until=None, live=True).order_by("-since", "-pk")
    return (
        rows.annotate(received=_received())
        .select_related("genet")
        .prefetch_related(Prefetch("tags", queryset=worn, to_attr="worn"))
    )


def descends(codes: Iterable[str], collection: Collection) -> set[str]:
    """Those of the codes that were cut from pieces of the collection, however often in turn."""
    wanted = set(codes)
    found: set[str] = set()
    last = list(collection.ramets.values_list("pk", flat=True))
    seen = set(last)
    for _ in range(_DEEPEST):
        rows = dict(
            Ramet.objects.filter(fragmentation__sources__ramet__in=last).values_list("pk", "code")
        )
        last = [pk for pk in rows if pk not in seen]
        seen.update(last)
        found |= wanted & set(rows.values())
        if not last or found == wanted:
            break
    return found


def free_cells(structure: Structure) -> list[Cell]:
    """The free cells of a structure now, in the order in which they are filled. Two queries."""
    grid = structure.grid
    if grid is None:
        return []
    living = Ramet.objects.filter(structure=structure, life=Life.LIVING, row__isnull=False)
    taken = {
        Cell(row, column)
        for row, column in living.values_list("row", "column")
        if row is not None and column is not None
    }
    held = structure.held.filter(parent_row__isnull=False)
    taken |= {cell for inner in held if (cell := inner.parent_cell) is not None}
    return [cell for cell in grid.cells() if cell not in taken]
