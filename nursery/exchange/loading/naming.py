"""Between the cells of a row and the fields of an input: values, names of events, places of
faults."""

from __future__ import annotations

import uuid
from collections.abc import Mapping, Sequence
from typing import Any

from nursery.core.errors import Problem
from nursery.core.inputs import Given
from nursery.exchange.loading.files import EVENT, NAMED_EVENTS, SEPARATOR, is_list
from nursery.exchange.loading.gathering import file_name
from nursery.exchange.loading.report import Fault
from nursery.exchange.loading.spool import Line

NAMESPACE = uuid.UUID("5d0c8d0e-5a53-5c1f-9a55-1f6c6a1e2b47")
"""Under which the keys of events become uids. It must never change."""


def uid_of(kind: str, key: str) -> uuid.UUID:
    """The uid of an event by its kind's word and its key; a key that is a UUID is the uid itself.

    Version 5 (RFC 9562) over kind and key: the same key is the same event in every load.
    """
    try:
        return uuid.UUID(key)
    except ValueError:
        return uuid.uuid5(NAMESPACE, f"{kind}/{key}")


def values_of(model: type[Given], cells: Mapping[str, str]) -> dict[str, Any]:
    """Cells as the fields of an input; empty ones are left to its defaults."""
    values: dict[str, Any] = {}
    for name, cell in cells.items():
        if name == EVENT or not cell:
            continue
        if is_list(model, name):
            values[name] = [part.strip() for part in cell.split(SEPARATOR) if part.strip()]
        elif name in NAMED_EVENTS:
            values[name] = uid_of(NAMED_EVENTS[name].word, cell)
        else:
            values[name] = cell
    return values


def fault_of(problem: Problem, line: Line, column: str) -> Fault:
    """A problem as the fault of a row and a column."""
    value = line.cells.get(column, "")
    return Fault(file_name(line.file), line.row, column, value, problem.code, problem.message)


def place_of(
    path: Sequence[str | int], head: Line, details: Mapping[str, Sequence[Line]]
) -> tuple[Line, str]:
    """The row and the column that a path into the input is about."""
    if not path:
        return head, ""
    name = str(path[0])
    if name not in details:
        return head, EVENT if name == "uid" else name
    if len(path) > 1 and isinstance(path[1], int) and path[1] < len(details[name]):
        column = str(path[2]) if len(path) > 2 else ""
        return details[name][path[1]], column
    return head, ""
