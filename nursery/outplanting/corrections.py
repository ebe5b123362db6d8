"""What comes in for corrections: an event did not happen, did after all, or happened otherwise."""

from __future__ import annotations

import uuid
from typing import Annotated

from pydantic import AfterValidator, Field, StringConstraints, model_validator
from pydantic_core import PydanticCustomError

from nursery.core.inputs import CodeText, Given, Name, Note, WhenField, printable
from nursery.lineage.inputs import RametText

Reason = Annotated[
    str,
    StringConstraints(strip_whitespace=True, min_length=1, max_length=500),
    AfterValidator(printable),
]


class VoidIn(Given):
    """An event did not happen. `together`: whatever is in the way did not either, last first."""

    event: uuid.UUID
    reason: Reason
    together: bool = False


class RestoreIn(Given):
    """A voided event did happen after all."""

    event: uuid.UUID
    reason: Reason


class SwapIn(Given):
    """Another mother than the one that a cutting names; `used_up` where that was wrong too."""

    instead_of: RametText
    ramet: RametText | None = None
    used_up: bool | None = None


class AmendIn(Given):
    """An event happened otherwise. What is left out stays as it is; its identity stays too.

    `colony` is for collections, `sources` for cuttings, `plot` for outplantings, `genet` for
    relabellings.
    """

    event: uuid.UUID
    reason: Reason
    when: WhenField | None = None
    done_by: Annotated[tuple[Name, ...], Field(max_length=20)] | None = None
    permits: Annotated[tuple[CodeText, ...], Field(max_length=20)] | None = None
    note: Note | None = None
    colony: CodeText | None = None
    sources: Annotated[tuple[SwapIn, ...], Field(max_length=200)] = ()
    plot: CodeText | None = None
    genet: CodeText | None = None

    @model_validator(mode="after")
    def _says_something(self) -> AmendIn:
        if not (self.model_fields_set - {"event", "reason"}):
            raise PydanticCustomError("nothing_amended", "say what was otherwise")
        return self
