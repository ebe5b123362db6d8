"""What comes in for samples, tables of genotypes and decisions about matches."""

from __future__ import annotations

import uuid
from typing import Annotated

from pydantic import AfterValidator, Field, StringConstraints, model_validator
from pydantic_core import PydanticCustomError

from nursery.core.inputs import CodeText, EventIn, Given, Label, WhenField, printable
from nursery.lineage.inputs import MOST_ROWS, RametText

MOST_TEXT = 64_000_000
"""Characters of a table: more than the most calls that one may have."""

Reason = Annotated[
    str,
    StringConstraints(strip_whitespace=True, min_length=1, max_length=500),
    AfterValidator(printable),
]

Title = Annotated[
    str, StringConstraints(strip_whitespace=True, max_length=120), AfterValidator(printable)
]


class SampledIn(Given):
    """One sample, of a ramet or a donor colony; without a code it is given one.

    `ended` says that the whole ramet went to the laboratory.
    """

    ramet: RametText | None = None
    colony: CodeText | None = None
    code: CodeText | None = None
    label: Label = ""
    ended: bool = False

    @model_validator(mode="after")
    def _of_one_thing(self) -> SampledIn:
        if (self.ramet is None) == (self.colony is None):
            raise PydanticCustomError(
                "ramet_or_colony", "name one thing that it was taken from: a ramet or a colony"
            )
        if self.ended and self.ramet is None:
            raise PydanticCustomError("ended_colony", "a donor colony does not end by a sample")
        return self


class SamplingIn(EventIn):
    """Samples for the laboratory are taken from ramets and donor colonies."""

    laboratory: Title = ""
    samples: Annotated[tuple[SampledIn, ...], Field(min_length=1, max_length=MOST_ROWS)]


class TableIn(Given):
    """A table of genotypes of a panel, as text (see `nursery.genotyping.reading`)."""

    panel: CodeText
    name: Title = ""
    text: Annotated[str, Field(max_length=MOST_TEXT)]


class MatchingIn(Given):
    """What to compare: one table, or all of a panel; and by which threshold."""

    uid: uuid.UUID | None = None
    panel: CodeText | None = None
    table: uuid.UUID | None = None
    threshold: Annotated[int, Field(ge=0, le=100_000)]
    minimum: Annotated[int, Field(ge=1, le=100_000)]

    @model_validator(mode="after")
    def _one_thing(self) -> MatchingIn:
        if (self.panel is None) == (self.table is None):
            raise PydanticCustomError("table_or_panel", "name a table, or a panel for all its own")
        return self


class AcceptedIn(Given):
    """The samples of a group are of one individual, `genet`.

    The genets in `merge` are the same one; the `ramets` had wrong labels, or none.
    """

    uid: uuid.UUID | None = None
    proposal: uuid.UUID
    group: Annotated[int, Field(ge=1)]
    genet: CodeText
    merge: Annotated[tuple[CodeText, ...], Field(max_length=100)] = ()
    ramets: Annotated[tuple[RametText, ...], Field(max_length=MOST_ROWS)] = ()
    when: WhenField
    reason: Reason


class RejectedIn(Given):
    """The samples of a group are not of one individual, or it cannot be told."""

    uid: uuid.UUID | None = None
    proposal: uuid.UUID
    group: Annotated[int, Field(ge=1)]
    reason: Reason
