"""Collecting, taking in, cutting, moving, and stock that was there before the records."""

from __future__ import annotations

import uuid
from typing import Annotated, Literal

from pydantic import AfterValidator, Field, StringConstraints, model_validator
from pydantic_core import PydanticCustomError

from nursery.core.inputs import (
    Centimetres,
    CodeText,
    Depth,
    EventIn,
    Given,
    Label,
    Line,
    Percent,
    printable,
)

MOST_ROWS = 1000
"""The most ramets one entry may make, move or plant."""

RametText = Annotated[
    str,
    StringConstraints(strip_whitespace=True, min_length=1, max_length=60),
    AfterValidator(printable),
]
CellText = Annotated[
    str,
    StringConstraints(strip_whitespace=True, min_length=1, max_length=8),
    AfterValidator(printable),
]
TagText = Annotated[
    str,
    StringConstraints(strip_whitespace=True, to_upper=True, min_length=1, max_length=40),
    AfterValidator(printable),
]
PurposeWord = Literal["production", "broodstock", "reserve"]
OriginWord = Literal["legacy", "found", "settled", "received"]
ProgrammeName = Annotated[
    str, StringConstraints(strip_whitespace=True, max_length=120), AfterValidator(printable)
]
CauseWord = Literal[
    "unknown",
    "bleaching",
    "disease",
    "predation",
    "overgrowth",
    "sediment",
    "detached",
    "storm",
    "handling",
    "water_quality",
    "cold",
]


class PieceIn(Given):
    """One piece of a collection. The code is given only where it was written aboard already."""

    code: RametText | None = None
    tag: TagText | None = None
    note: Line = ""


class CollectionIn(EventIn):
    """Pieces taken from a donor colony, or loose ones (then reef and taxon are named)."""

    colony: CodeText | None = None
    reef: CodeText | None = None
    taxon: CodeText | None = None
    genet: CodeText | None = None
    latitude: Line = ""
    longitude: Line = ""
    uncertainty_m: Annotated[int, Field(ge=1, le=10_000_000)] | None = None
    depth: Depth | None = None
    piece_size: Centimetres | None = None
    share_taken: Percent | None = None
    count: Annotated[int, Field(ge=1, le=MOST_ROWS)] | None = None
    pieces: Annotated[tuple[PieceIn, ...], Field(max_length=MOST_ROWS)] = ()
    series: CodeText | None = None

    @model_validator(mode="after")
    def _complete(self) -> CollectionIn:
        if self.colony is None and (self.reef is None or self.taxon is None):
            raise PydanticCustomError(
                "colony_or_reef",
                "name the donor colony, or the reef and the taxon of loose pieces",
            )
        if self.colony is not None and (self.reef or self.taxon or self.genet):
            raise PydanticCustomError(
                "colony_or_reef", "reef, taxon and genet follow from the donor colony"
            )
        _count_and_rows(self.count, len(self.pieces), "pieces")
        return self

    @property
    def number_of_pieces(self) -> int:
        return self.count or len(self.pieces)


class ArrivalIn(Given):
    """What became of one piece on the way, and where it goes."""

    ramet: RametText
    outcome: Literal["arrived", "lost", "dead"] = "arrived"
    cause: CauseWord | None = None
    structure: CodeText | None = None
    cell: CellText | None = None
    tag: TagText | None = None

    @model_validator(mode="after")
    def _fits(self) -> ArrivalIn:
        if self.outcome != "arrived" and (self.structure or self.cell):
            raise PydanticCustomError(
                "place_without_piece", "only a piece that arrived is given a place"
            )
        _cause_of(self.outcome == "dead", self.cause)
        return self


class IntakeIn(EventIn):
    """Pieces of one collection reach a nursery. `structure` is where arrivals go by default."""

    collection: uuid.UUID
    nursery: CodeText
    structure: CodeText | None = None
    pieces: Annotated[tuple[ArrivalIn, ...], Field(min_length=1, max_length=MOST_ROWS)]


class SourceIn(Given):
    """A ramet that is cut; used up where nothing of it is left to grow on."""

    ramet: RametText
    used_up: bool = False


class NewRametIn(Given):
    """What may be said of any new ramet. Without a cell it takes the next free one."""

    code: RametText | None = None
    structure: CodeText | None = None
    cell: CellText | None = None
    pieces: Annotated[int, Field(ge=1, le=200)] = 1
    base: Label = ""
    purpose: PurposeWord = "production"
    tag: TagText | None = None
    note: Line = ""


class ChildIn(NewRametIn):
    """One new ramet that is cut."""


class FragmentationIn(EventIn):
    """Cutting: `count` like children, or `children` row by row; `structure` is their place."""

    sources: Annotated[tuple[SourceIn, ...], Field(min_length=1, max_length=200)]
    count: Annotated[int, Field(ge=1, le=MOST_ROWS)] | None = None
    children: Annotated[tuple[ChildIn, ...], Field(max_length=MOST_ROWS)] = ()
    structure: CodeText | None = None
    series: CodeText | None = None

    @model_validator(mode="after")
    def _complete(self) -> FragmentationIn:
        _count_and_rows(self.count, len(self.children), "children")
        return self

    @property
    def rows(self) -> tuple[ChildIn, ...]:
        return self.children or (ChildIn(),) * (self.count or 0)


class MovedIn(Given):
    """One ramet and where it goes, or the base that it is given (`base` alone: where it is)."""

    ramet: RametText
    structure: CodeText | None = None
    cell: CellText | None = None
    base: Label | None = None


class MoveIn(EventIn):
    """Ramets are placed or moved, or packed for a journey; or given another base."""

    structure: CodeText | None = None
    packed: bool = False
    ramets: Annotated[tuple[MovedIn, ...], Field(min_length=1, max_length=MOST_ROWS)]

    @model_validator(mode="after")
    def _one_way(self) -> MoveIn:
        if self.packed and (self.structure or any(r.structure or r.cell for r in self.ramets)):
            raise PydanticCustomError("packed_or_placed", "packed ramets have no cell")
        return self


class StandingIn(Given):
    """One structure and where it goes: a bay, another structure (and its cell), or a plot."""

    structure: CodeText
    bay: CodeText | None = None
    parent: CodeText | None = None
    cell: CellText | None = None
    plot: CodeText | None = None

    @model_validator(mode="after")
    def _one_place(self) -> StandingIn:
        if sum(place is not None for place in (self.bay, self.parent, self.plot)) != 1:
            raise PydanticCustomError(
                "one_place", "name one place: a bay, another structure, or a plot"
            )
        if self.cell and not self.parent:
            raise PydanticCustomError("one_place", "a cell belongs to a parent structure")
        return self


class StructureMoveIn(EventIn):
    """Whole structures are set up or moved, with all they hold."""

    structures: Annotated[tuple[StandingIn, ...], Field(min_length=1, max_length=200)]


class LegacyIn(NewRametIn):
    """A ramet that came into the record without a collection or a cutting, and what is known of it.

    `origin` is what the entry says where a row says nothing. A found one is not identified, so that
    only its taxon is named. `parents` are the genets that a settled one may descend from.
    """

    taxon: CodeText
    origin: OriginWord | None = None
    genet: CodeText | None = None
    donors: Annotated[tuple[CodeText, ...], Field(max_length=50)] = ()
    parents: Annotated[tuple[CodeText, ...], Field(max_length=50)] = ()
    generation: Annotated[int, Field(ge=0, le=1000)] | None = None


class StockEntryIn(EventIn):
    """Stock whose cuttings were not recorded: from before the records, found loose, settled, or
    received from another programme."""

    nursery: CodeText
    origin: OriginWord = "legacy"
    programme: ProgrammeName = ""
    structure: CodeText | None = None
    series: CodeText | None = None
    ramets: Annotated[tuple[LegacyIn, ...], Field(min_length=1, max_length=MOST_ROWS)]


def _count_and_rows(count: int | None, rows: int, name: str) -> None:
    if count is None and not rows:
        raise PydanticCustomError("required", "say how many: give count or {name}", {"name": name})
    if count is not None and rows and count != rows:
        raise PydanticCustomError(
            "count_differs",
            "count says {count}, but {rows} {name} are listed",
            {"count": count, "rows": rows, "name": name},
        )


def _cause_of(dead: bool, cause: str | None) -> None:
    if cause and not dead:
        raise PydanticCustomError("cause_without_death", "only a dead one has a cause of death")
