"""What comes in when roles and tokens are given."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field

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
