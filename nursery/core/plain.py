"""Answers as plain values, the same for API, command line and file."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Mapping
from datetime import date, datetime, time
from decimal import Decimal
from operator import attrgetter
from types import NoneType
from typing import Any
from uuid import UUID

from nursery.core.dates import When
from nursery.core.words import Word


def plain(value: Any) -> Any:
    """A value of dataclasses, dates, words and numbers as what JSON can hold."""
    return _way(type(value))(value)


_WAYS: dict[type, Callable[[Any], Any]] = {}
"""How values of each type are put: found once for each, since an answer has thousands."""


def _way(kind: type) -> Callable[[Any], Any]:
    if kind not in _WAYS:
        _WAYS[kind] = _found(kind)
    return _WAYS[kind]


def _found(kind: type) -> Callable[[Any], Any]:
    if issubclass(kind, Word):
        return {member: member.word for member in kind}.__getitem__
    if issubclass(kind, str | bool | float | int | NoneType):
        return _as_it_is
    if issubclass(kind, Decimal):
        return float
    if issubclass(kind, When | UUID):
        return str
    if issubclass(kind, datetime | date | time):
        return kind.isoformat
    if dataclasses.is_dataclass(kind):
        return _way_of_fields([field.name for field in dataclasses.fields(kind)])
    if issubclass(kind, Mapping):
        return lambda value: {str(key): plain(item) for key, item in value.items()}
    if issubclass(kind, list | tuple | set | frozenset):
        return lambda value: [_way(type(item))(item) for item in value]
    raise TypeError(f"no plain form for {kind.__name__}")


def _as_it_is(value: Any) -> Any:
    return value


def _way_of_fields(names: list[str]) -> Callable[[Any], dict[str, Any]]:
    if len(names) < 2:
        return lambda value: {name: plain(getattr(value, name)) for name in names}
    read = attrgetter(*names)
    return lambda value: {
        name: _way(type(item))(item) for name, item in zip(names, read(value), strict=True)
    }
