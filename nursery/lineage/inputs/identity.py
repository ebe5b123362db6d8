"""Which individual a ramet is, and by what it is known: relabelling, merging, identifying, tags."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field, model_validator
from pydantic_core import PydanticCustomError

from nursery.core.inputs import CodeText, EventIn, Given
from nursery.lineage.inputs.growing import MOST_ROWS, CellText, RametText, TagText


class RelabelledIn(Given):
    """One ramet that is of another genet than its label says."""

    ramet: RametText


class RelabellingIn(EventIn):
    """Ramets turn out to be of `genet`, or of one that is not known (`unknown`)."""

    genet: CodeText | None = None
    unknown: bool = False
    ramets: Annotated[tuple[RelabelledIn, ...], Field(min_length=1, max_length=MOST_ROWS)]

    @model_validator(mode="after")
    def _one_answer(self) -> RelabellingIn:
        if (self.genet is not None) == self.unknown:
            raise PydanticCustomError(
                "genet_or_unknown",
                "name the genet that they turned out to be of, or say that it is unknown",
            )
        return self


class GenetMergeIn(EventIn):
    """Two genets turn out to be one individual, which is known as `kept` from now on."""

    kept: CodeText
    merged: CodeText


class IdentifiedIn(Given):
    """A known ramet, found again: as the loose piece `found`, or as seen in a structure.

    With both, the piece stands in that structure now, not where it was found.
    """

    ramet: RametText
    found: RametText | None = None
    structure: CodeText | None = None
    cell: CellText | None = None

    @model_validator(mode="after")
    def _somewhere(self) -> IdentifiedIn:
        if self.found is None and self.structure is None:
            raise PydanticCustomError(
                "found_where",
                "name the loose piece that it turned out to be, or the structure it was found in",
            )
        return self


class IdentificationIn(EventIn):
    """Known ramets are found again."""

    ramets: Annotated[tuple[IdentifiedIn, ...], Field(min_length=1, max_length=MOST_ROWS)]


class TaggedIn(Given):
    """The tag that a ramet bears no more (taken off, or `lost`), and the one that is put on."""

    ramet: RametText
    off: TagText | None = None
    lost: bool = False
    on: TagText | None = None

    @model_validator(mode="after")
    def _something(self) -> TaggedIn:
        if self.off is None and self.on is None:
            raise PydanticCustomError("off_or_on", "name a tag that comes off or one that goes on")
        if self.lost and self.off is None:
            raise PydanticCustomError("off_or_on", "name the tag that was lost")
        return self


class TaggingIn(EventIn):
    """Tags are taken off, lost or put on."""

    ramets: Annotated[tuple[TaggedIn, ...], Field(min_length=1, max_length=MOST_ROWS)]
