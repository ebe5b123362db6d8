"""The form of answers that are plain data classes, derived from their type hints.

`nursery.core.plain` turns such an answer into what JSON holds; this describes the same.
"""

from __future__ import annotations

import dataclasses
import types
from collections.abc import Mapping, Sequence
from datetime import date, datetime
from decimal import Decimal
from enum import Enum
from typing import Any, Union, get_args, get_origin, get_type_hints
from uuid import UUID

from nursery.core.dates import When
from nursery.core.words import Word

Schema = dict[str, Any]

_BASIC: dict[Any, Schema] = {
    str: {"type": "string"},
    bool: {"type": "boolean"},
    int: {"type": "integer"},
    float: {"type": "number"},
    Decimal: {"type": "number"},
    When: {"type": "string", "description": "ISO 8601, as exact as it is known"},
    date: {"type": "string", "format": "date"},
    datetime: {"type": "string", "format": "date-time"},
    UUID: {"type": "string", "format": "uuid"},
    type(None): {"type": "null"},
}


def schema_of(hint: Any) -> Schema:
    """The JSON schema of a type as `plain` writes it; raises TypeError for one it does not know."""
    if hint in _BASIC:
        return dict(_BASIC[hint])
    origin, inner = get_origin(hint), get_args(hint)
    if origin in (Union, types.UnionType):
        return {"anyOf": [schema_of(each) for each in inner]}
    if isinstance(origin, type) and issubclass(origin, Mapping):
        return {"type": "object", "additionalProperties": schema_of(inner[1])}
    if isinstance(origin, type) and issubclass(origin, Sequence | set | frozenset):
        return {"type": "array", "items": schema_of(inner[0])}
    if isinstance(hint, type) and issubclass(hint, Word):
        return {"type": "string", "enum": hint.all_words()}
    if isinstance(hint, type) and issubclass(hint, Enum):
        return {"type": "string", "enum": [member.value for member in hint]}
    if dataclasses.is_dataclass(hint) and isinstance(hint, type):
        hints = get_type_hints(hint)
        names = [field.name for field in dataclasses.fields(hint)]
        return {
            "type": "object",
            "description": hint.__doc__ or "",
            "properties": {name: schema_of(hints[name]) for name in names},
            "required": names,
        }
    raise TypeError(f"no schema for {hint!r}")
