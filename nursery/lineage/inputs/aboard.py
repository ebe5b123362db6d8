"""What comes in aboard and at the quay: a colony with its first collection, and what arrived."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field, model_validator
from pydantic_core import PydanticCustomError

from nursery.core.inputs import Centimetres, CodeText, Depth, EventIn, Line, Percent
from nursery.lineage.inputs.growing import (
    MOST_ROWS,
    ArrivalIn,
    CollectionIn,
    IntakeIn,
    PieceIn,
)


class FirstCollectionIn(EventIn):
    """A donor colony that is not on record yet, and the pieces taken from it.

    Without a `code` it gets the next one of its reef. The position is kept with both.
    """

    code: CodeText | None = None
    name: Annotated[Line, Field(max_length=120)] = ""
    taxon: CodeText
    reef: CodeText
    genet: CodeText | None = None
    latitude: Line = ""
    longitude: Line = ""
    uncertainty_m: Annotated[int, Field(ge=1, le=10_000_000)] | None = None
    depth: Depth | None = None
    size: Centimetres | None = None
    piece_size: Centimetres | None = None
    share_taken: Percent | None = None
    count: Annotated[int, Field(ge=1, le=MOST_ROWS)] | None = None
    pieces: Annotated[tuple[PieceIn, ...], Field(max_length=MOST_ROWS)] = ()
    series: CodeText | None = None

    @model_validator(mode="after")
    def _complete(self) -> FirstCollectionIn:
        # The same rules as of any collection, before a colony is registered for it.
        if self.count is None and not self.pieces:
            raise PydanticCustomError("required", "say how many pieces were taken: count")
        return self

    def collection_from(self, colony: str) -> CollectionIn:
        """The collection alone, from the colony of that code."""
        names = CollectionIn.model_fields.keys() - {"colony", "reef", "taxon", "genet"}
        return CollectionIn(colony=colony, **{name: getattr(self, name) for name in names})


class ArrivalsIn(IntakeIn):
    """An intake with what was cut aboard from its pieces: `cut_aboard` are placed, or ended, as
    the pieces are."""

    pieces: Annotated[tuple[ArrivalIn, ...], Field(max_length=MOST_ROWS)] = ()
    cut_aboard: Annotated[tuple[ArrivalIn, ...], Field(max_length=MOST_ROWS)] = ()

    @model_validator(mode="after")
    def _something(self) -> ArrivalsIn:
        if not self.pieces and not self.cut_aboard:
            raise PydanticCustomError("too_few", "say of at least one piece what became of it")
        return self
