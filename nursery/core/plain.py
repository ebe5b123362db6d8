"""Answers as plain values, the same for API, command line and file."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from datetime import date, datetime, time
from decimal import Decimal
from typing import Any
from uuid import UUID

from nursery.core.dates import When
from nursery.core.words import Word


def plain(value: Any) -> Any:
    """A value of dataclasses, dates, words and numbers as what JSON can hold."""
    if value is None or isinstance(value, str | bool | float):
        return value
    if isinstance(value, Word):
        return value.word
    if isinstance(value, int):
        return value
    if isinstance(value, Decimal):
        return float(value)
    if isinstance(value, When | UUID):
        return str(value)
    if isinstance(value, datetime | date | time):
        return value.isoformat()
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return {
            field.name: plain(getattr(value, field.name)) for field in dataclasses.fields(value)
        }
    if isinstance(value, Mapping):
        return {str(key): plain(item) for key, item in value.items()}
    if isinstance(value, list | tuple | set | frozenset):
        return [plain(item) for item in value]
    raise TypeError(f"no plain form for {type(value).__name__}")
