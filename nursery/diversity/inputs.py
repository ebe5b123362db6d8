"""What comes in for a sign-off."""

from __future__ import annotations

from typing import Annotated

from pydantic import AfterValidator, Field, StringConstraints

from nursery.core.inputs import CodeText, Given, Line, printable

Reason = Annotated[
    str,
    StringConstraints(strip_whitespace=True, min_length=1, max_length=500),
    AfterValidator(printable),
]


class OverrideIn(Given):
    """Why a manifest may be planted though it fails a rule of a taxon."""

    rule: Line
    taxon: CodeText | None = None
    reason: Reason


class SignOffIn(Given):
    """What a lead signs: the audit, and the digest of the stock that it saw."""

    audit: int
    stock: Line
    overrides: Annotated[tuple[OverrideIn, ...], Field(max_length=500)] = ()
    note: Annotated[str, Field(max_length=500), AfterValidator(printable)] = ""
