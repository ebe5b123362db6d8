"""What comes in when roles and tokens are given, or a list is kept."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field, StringConstraints

from nursery.core.actor import Role
from nursery.core.inputs import Given, Name

MAX_DAYS = 366


class RoleIn(Given):
    """A role by its word."""

    role: Role


class TokenIn(Given):
    """A token that is wanted: what it is for, how many days it lasts, whether it only reads."""

    name: Name
    days: Annotated[int, Field(ge=1, le=MAX_DAYS)] = 90
    read_only: bool = False


ListName = Annotated[str, StringConstraints(strip_whitespace=True, min_length=1, max_length=60)]


class KeptListIn(Given):
    """A list that is to be kept: its address, and a name for it."""

    name: ListName
    path: Annotated[str, StringConstraints(pattern=r"^/[a-z/-]{1,198}/$")]
    query: Annotated[str, StringConstraints(max_length=2000)] = ""
    shared: bool = False


class KeptNameIn(Given):
    """Another name for a kept list, and whether everybody has it."""

    name: ListName
    shared: bool = False
