"""What comes in for planting and for monitoring."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, model_validator
from pydantic_core import PydanticCustomError

from nursery.core.inputs import Centimetres, CodeText, EventIn, Given, Label, Line, Percent
from nursery.lineage.inputs import MOST_ROWS, CauseWord, RametText

FixingWord = Literal["friction", "epoxy", "cement", "nail", "tie"]


class OutplantIn(Given):
    """One ramet to plant; position and cluster are the plot's own labels."""

    ramet: RametText
    position: Label = ""
    cluster: Label = ""
    fixing: FixingWord | None = None


class OutplantingIn(EventIn):
    """Ramets planted in one plot. `other_purposes` also lets broodstock and reserve be planted."""

    plot: CodeText
    fixing: FixingWord | None = None
    other_purposes: bool = False
    outplants: Annotated[tuple[OutplantIn, ...], Field(min_length=1, max_length=MOST_ROWS)]


class ObservationIn(Given):
    """What was seen of one outplant or one donor colony."""

    ramet: RametText | None = None
    colony: CodeText | None = None
    condition: Literal["alive", "dead", "missing"]
    cause: CauseWord | None = None
    tissue_lost: Percent | None = None
    size: Centimetres | None = None
    note: Line = ""

    @model_validator(mode="after")
    def _fits(self) -> ObservationIn:
        if (self.ramet is None) == (self.colony is None):
            raise PydanticCustomError(
                "ramet_or_colony", "name one thing that was seen: a ramet or a donor colony"
            )
        if self.cause and self.condition != "dead":
            raise PydanticCustomError("cause_without_death", "only a dead one has a cause of death")
        return self


class VisitIn(EventIn):
    """A trip to a site (outplants) or to a reef (donor colonies)."""

    site: CodeText | None = None
    reef: CodeText | None = None
    observations: Annotated[tuple[ObservationIn, ...], Field(max_length=2 * MOST_ROWS)] = ()

    @model_validator(mode="after")
    def _one_place(self) -> VisitIn:
        if (self.site is None) == (self.reef is None):
            raise PydanticCustomError("site_or_reef", "a visit is to a site or to a reef: name one")
        return self
