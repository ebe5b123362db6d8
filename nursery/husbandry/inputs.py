"""What comes in for looking after ramets in a nursery."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, model_validator
from pydantic_core import PydanticCustomError

from nursery.core.inputs import Centimetres, EventIn, Given, Line
from nursery.lineage.inputs import MOST_ROWS, CauseWord, RametText

StateWord = Literal["attached", "loose", "dead", "missing"]


class FindingIn(Given):
    """How one ramet was found; without a cause of death it is not known."""

    ramet: RametText
    state: StateWord
    cause: CauseWord | None = None
    size_cm: Centimetres | None = None
    note: Line = ""

    @model_validator(mode="after")
    def _fits(self) -> FindingIn:
        if self.cause and self.state != "dead":
            raise PydanticCustomError("cause_without_death", "only a dead one has a cause of death")
        if self.size_cm is not None and self.state == "missing":
            raise PydanticCustomError("size_of_missing", "what is missing cannot be measured")
        return self


class CheckIn(EventIn):
    """Ramets in a nursery were looked at, one by one: a plate some days after cutting, say."""

    findings: Annotated[tuple[FindingIn, ...], Field(min_length=1, max_length=MOST_ROWS)]
