"""A dive: what of the ramets taken along was planted, brought back, lost, or died."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Annotated

from django.db.models import Prefetch, Q, QuerySet
from pydantic import Field, model_validator
from pydantic_core import PydanticCustomError

from nursery.core.inputs import CodeText, EventIn, Given
from nursery.lineage.inputs import MOST_ROWS, EndedIn, RametText
from nursery.lineage.models import Ramet, Step, Tag
from nursery.lineage.resolve import ramet_ids
from nursery.lineage.words import Life, Place
from nursery.outplanting.inputs import (
    MOST_STRUCTURES,
    FixingWord,
    OutplantIn,
    PlantedStructureIn,
)
from nursery.places.cells import Cell
from nursery.places.models import Structure

MOST_LOADED = 500
"""The most ramets that one dive's page shows; more take a second page."""


class BroughtIn(Given):
    """One ramet that came back."""

    ramet: RametText


class DiveIn(EventIn):
    """One dive at one plot. What came back goes to the cell that it was in last, or to
    `return_to`."""

    plot: CodeText
    manifest: CodeText | None = None
    fixing: FixingWord | None = None
    other_purposes: bool = False
    planted: Annotated[tuple[OutplantIn, ...], Field(max_length=MOST_ROWS)] = ()
    structures: Annotated[tuple[PlantedStructureIn, ...], Field(max_length=MOST_STRUCTURES)] = ()
    returned: Annotated[tuple[BroughtIn, ...], Field(max_length=MOST_ROWS)] = ()
    return_to: CodeText | None = None
    ended: Annotated[tuple[EndedIn, ...], Field(max_length=MOST_ROWS)] = ()

    @model_validator(mode="after")
    def _something(self) -> DiveIn:
        if not (self.planted or self.structures or self.returned or self.ended):
            raise PydanticCustomError(
                "nothing_done", "say of at least one what became of it on this dive"
            )
        return self


@dataclass(frozen=True, slots=True)
class Home:
    """Where a ramet was in a nursery last."""

    structure: Structure
    cell: Cell | None


def homes(ramets: Iterable[Ramet]) -> dict[int, Home]:
    """The structure and cell that each ramet was in last, by its id. One query."""
    steps = Step.objects.filter(
        ramet__in=[ramet.pk for ramet in ramets], live=True, structure__isnull=False
    )
    found = {}
    for step in steps.select_related("structure").order_by("ramet_id", "order"):
        cell = Cell(step.row, step.column) if step.row and step.column else None
        if step.structure is not None:
            found[step.ramet_id] = Home(step.structure, cell)
    return found


def loaded(structures: Sequence[str], packed: bool, named: Sequence[str]) -> QuerySet[Ramet]:
    """Living ramets that may be aboard: in these structures, packed, or named by code or tag."""
    asked = Q(pk__in=list(ramet_ids(named).values())) if named else Q(pk__in=[])
    if structures:
        asked |= Q(place=Place.STRUCTURE, structure__code__in=structures)
    if packed:
        # A piece of a collection that no nursery has received yet is on its way there.
        asked |= Q(place=Place.PACKED) & ~Q(pk__in=_never_received())
    worn = Tag.objects.filter(until=None, live=True).order_by("-since", "-pk")
    return (
        Ramet.objects.filter(asked, life=Life.LIVING)
        .exclude(place=Place.PLOT)
        .select_related("genet", "taxon", "structure")
        .prefetch_related(Prefetch("tags", queryset=worn, to_attr="worn"))
        .order_by("structure__code", "row", "column", "code")
    )


def _never_received() -> QuerySet[Ramet, int]:
    """Packed ramets that were never in a structure."""
    placed = Step.objects.filter(live=True, structure__isnull=False)
    return (
        Ramet.objects.filter(place=Place.PACKED, life=Life.LIVING)
        .exclude(pk__in=placed.filter(ramet__place=Place.PACKED).values("ramet"))
        .values_list("pk", flat=True)
    )
