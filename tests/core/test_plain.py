"""Answers as what JSON can hold."""

from __future__ import annotations

import json
from dataclasses import dataclass
from datetime import date, datetime, time
from decimal import Decimal
from enum import StrEnum
from typing import Any
from uuid import UUID

import pytest

from nursery.core.dates import parse_when
from nursery.core.plain import plain
from nursery.lineage.words import Life, What


class Mood(StrEnum):
    CALM = "calm"


@dataclass(frozen=True, slots=True)
class Inner:
    life: Life
    when: Any


@dataclass(frozen=True, slots=True)
class Outer:
    inner: Inner
    rows: tuple[Inner, ...]
    nothing: None = None


@pytest.mark.parametrize(
    ("value", "expected"),
    [
        (None, None),
        ("a", "a"),
        (True, True),
        (7, 7),
        (0.5, 0.5),
        (Decimal("3.10"), 3.1),
        (Life.USED_UP, "used_up"),
        (What.SEEN_ALIVE, "seen_alive"),
        (Mood.CALM, "calm"),
        (parse_when("2021-03"), "2021-03"),
        (UUID(int=1), "00000000-0000-0000-0000-000000000001"),
        (date(2021, 3, 4), "2021-03-04"),
        (time(10, 30), "10:30:00"),
        ((1, Life.DEAD), [1, "dead"]),
        ({"a": Decimal(1)}, {"a": 1.0}),
        ({7: (Life.LOST,)}, {"7": ["lost"]}),
        (frozenset({Life.LIVING}), ["living"]),
    ],
    ids=str,
)
def test_a_value_is_what_json_can_hold(value: Any, expected: Any) -> None:
    found = plain(value)
    assert found == expected
    assert type(found) is type(expected) or isinstance(found, str)
    assert json.loads(json.dumps(found)) == expected


def test_a_moment_is_written_in_iso_8601() -> None:
    moment = datetime.fromisoformat("2021-03-04T10:30:00+00:00")
    assert plain(moment) == "2021-03-04T10:30:00+00:00"


def test_dataclasses_are_objects_all_the_way_down() -> None:
    inner = Inner(Life.LIVING, parse_when("2021"))
    shown = {"life": "living", "when": "2021"}
    assert plain(Outer(inner, (inner,))) == {"inner": shown, "rows": [shown], "nothing": None}


@pytest.mark.parametrize(
    "value", [object(), b"bytes", Inner, {1: object()}], ids=["object", "bytes", "class", "inside"]
)
def test_what_has_no_plain_form_is_an_error(value: Any) -> None:
    with pytest.raises(TypeError):
        plain(value)
