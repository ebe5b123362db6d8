"""How ramets end: one by one, by count, or with the structure that held them."""

from __future__ import annotations

import uuid
from typing import Annotated, Literal

from pydantic import AfterValidator, Field, StringConstraints, model_validator
from pydantic_core import PydanticCustomError

from nursery.core.inputs import CodeText, EventIn, Given, Line, printable
from nursery.lineage.inputs.growing import MOST_ROWS, CauseWord, RametText

MOST_COUNTED = 1_000_000
"""The most of one kind that one row of a count may hold."""

MOST_LOST = 200
"""The most structures that one loss may name; what stands in them is lost besides."""

FateWord = Literal["dead", "lost", "discarded", "sampled", "handed_over", "fused"]
Recipient = Annotated[
    str, StringConstraints(strip_whitespace=True, max_length=120), AfterValidator(printable)
]
Counted = Annotated[int, Field(ge=0, le=MOST_COUNTED)]


class EndedIn(Given):
    """One ramet and how it ended. Without a fate it is the one that the entry names."""

    ramet: RametText
    fate: FateWord | None = None
    cause: CauseWord | None = None

    @model_validator(mode="after")
    def _fits(self) -> EndedIn:
        if self.cause and self.fate not in (None, "dead"):
            raise _cause_without_death()
        return self


class EndingIn(EventIn):
    """Ramets end. `fate` and `cause` are those of rows that name none; `recipient` is who has
    those handed over, `into` is the ramet that the fused ones have grown into."""

    fate: FateWord | None = None
    cause: CauseWord | None = None
    recipient: Recipient = ""
    into: RametText | None = None
    ramets: Annotated[tuple[EndedIn, ...], Field(min_length=1, max_length=MOST_ROWS)]

    @model_validator(mode="after")
    def _fits(self) -> EndingIn:
        fates = {row.fate or self.fate for row in self.ramets}
        # Where a fate is missing, that is what is wrong: the action says in which row.
        if None in fates:
            return self
        if self.cause and "dead" not in fates:
            raise _cause_without_death()
        if any(row.cause and (row.fate or self.fate) != "dead" for row in self.ramets):
            raise _cause_without_death()
        if self.recipient and "handed_over" not in fates:
            raise PydanticCustomError(
                "recipient_without_handing_over", "only what is handed over has a recipient"
            )
        if self.into and "fused" not in fates:
            raise PydanticCustomError(
                "into_without_fusing", "only what has fused has grown into another ramet"
            )
        if self.into is None and "fused" in fates:
            raise PydanticCustomError("required", "say into which ramet they have fused: `into`")
        return self


class CountedIn(Given):
    """What was counted in one structure: of all that it holds, or of one `lot` (the uid of a
    cutting, whose untagged ramets there are interchangeable)."""

    structure: CodeText
    lot: uuid.UUID | None = None
    alive: Counted | None = None
    dead: Counted = 0
    missing: Counted = 0
    cause: CauseWord | None = None
    note: Line = ""

    @model_validator(mode="after")
    def _fits(self) -> CountedIn:
        if self.alive is None and not self.dead and not self.missing:
            raise PydanticCustomError("required", "say how many: alive, dead or missing")
        if self.cause and not self.dead:
            raise _cause_without_death()
        if self.cause and self.lot is None:
            raise PydanticCustomError(
                "cause_without_lot",
                "a count without a lot says of no ramet that it died: write the cause in the note",
            )
        return self


class CountIn(EventIn):
    """Structures were counted. Only a count of a lot ends ramets."""

    counts: Annotated[tuple[CountedIn, ...], Field(min_length=1, max_length=MOST_ROWS)]

    @model_validator(mode="after")
    def _not_too_many(self) -> CountIn:
        if sum(row.dead + row.missing for row in self.counts if row.lot) > MOST_ROWS:
            raise PydanticCustomError(
                "too_many",
                "at most {most} ramets of lots may end by one entry",
                {"most": MOST_ROWS},
            )
        return self


class LostIn(Given):
    """One structure that was lost."""

    structure: CodeText


class LossIn(EventIn):
    """Structures were lost, with all that lived and stood in them."""

    structures: Annotated[tuple[LostIn, ...], Field(min_length=1, max_length=MOST_LOST)]


def _cause_without_death() -> PydanticCustomError:
    return PydanticCustomError("cause_without_death", "only a dead one has a cause of death")
