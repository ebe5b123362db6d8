"""What comes in: field types, headers, digests, and how faults are told."""

from __future__ import annotations

import uuid
from decimal import Decimal
from typing import Annotated, Any, Literal

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import Field

from nursery.core.dates import latest_today
from nursery.core.errors import Refused
from nursery.core.inputs import (
    CODES,
    Centimetres,
    CodeText,
    Depth,
    EventIn,
    Given,
    Label,
    Line,
    Note,
    Percent,
    digest_of,
    read,
)


class Child(Given):
    number: Annotated[int, Field(ge=1, le=9)]


class Sample(Given):
    """One field of each kind."""

    line: Line = ""
    label: Label = ""
    note: Note = ""
    code: CodeText | None = None
    depth: Depth | None = None
    size: Centimetres | None = None
    share: Percent | None = None
    flag: bool = False
    count: Annotated[int, Field(ge=1, le=9)] | None = None
    word: Literal["a", "b"] | None = None
    uid: uuid.UUID | None = None
    children: Annotated[tuple[Child, ...], Field(min_length=1, max_length=2)] = (Child(number=1),)


def faults(**values: Any) -> list[tuple[str, str]]:
    """Code and pointer of each fault."""
    with pytest.raises(Refused) as caught:
        read(Sample, values)
    for problem in caught.value.problems:
        assert problem.message[:1].isupper() or not problem.message[:1].isalpha()
        assert problem.message.endswith((".", "?", "!"))
    return [(problem.code, problem.pointer) for problem in caught.value.problems]


def test_texts_are_stripped_and_codes_are_in_capitals() -> None:
    found = read(Sample, {"line": "  a b ", "code": " ka-1.x_2 ", "note": " a\n\tb "})
    assert (found.line, found.code, found.note) == ("a b", "KA-1.X_2", "a\n\tb")


def test_measures_are_read_with_their_units() -> None:
    found = read(Sample, {"depth": "12 ft", "size": "2 in", "share": "35,5 %"})
    assert (found.depth, found.size, found.share) == (
        Decimal("3.6576"),
        Decimal("5.08"),
        Decimal("35.5"),
    )
    found = read(Sample, {"depth": 3, "size": 4.5, "share": 0})
    assert (found.depth, found.size, found.share) == (Decimal(3), Decimal("4.5"), Decimal(0))


@pytest.mark.parametrize(
    ("values", "code"),
    [
        ({"line": "x" * 201}, "too_long"),
        ({"label": "x" * 41}, "too_long"),
        ({"note": "x" * 4001}, "too_long"),
        ({"line": "a\x00b"}, "control_character"),
        ({"label": "\x1f"}, "control_character"),
        ({"note": "a\x0bb"}, "control_character"),
        ({"line": 7}, "malformed"),
        ({"line": None}, "malformed"),
        ({"line": ["a"]}, "malformed"),
        ({"line": "\ud800"}, "malformed"),
        ({"code": ""}, "required"),
        ({"code": " "}, "required"),
        ({"code": "a b"}, "code_malformed"),
        ({"code": "=1"}, "code_malformed"),
        ({"code": "é"}, "code_malformed"),
        ({"code": "x" * 41}, "too_long"),
        ({"code": "a\x00"}, "control_character"),
        ({"depth": "deep"}, "quantity_malformed"),
        ({"depth": "1,200"}, "quantity_ambiguous"),
        ({"depth": "3 fathoms"}, "unit_unknown"),
        ({"depth": "-1"}, "depth_above_surface"),
        ({"depth": 12001}, "depth_too_great"),
        ({"depth": True}, "not_a_number"),
        ({"depth": [3]}, "not_a_number"),
        ({"depth": "3\x00"}, "control_character"),
        ({"depth": float("nan")}, "quantity_malformed"),
        ({"depth": float("inf")}, "quantity_malformed"),
        ({"size": "-1"}, "length_negative"),
        ({"size": "100 m"}, "length_too_great"),
        ({"share": 100.1}, "percent_out_of_range"),
        ({"share": "-1"}, "percent_out_of_range"),
        ({"flag": "perhaps"}, "not_yes_or_no"),
        ({"flag": []}, "malformed"),
        ({"count": 0}, "out_of_range"),
        ({"count": 10}, "out_of_range"),
        ({"count": 10**30}, "out_of_range"),
        ({"count": 1.5}, "not_a_number"),
        ({"count": "x"}, "not_a_number"),
        ({"count": "9" * 5000}, "out_of_range"),
        ({"word": "c"}, "not_a_choice"),
        ({"word": 1}, "not_a_choice"),
        ({"uid": "12"}, "uid_malformed"),
        ({"uid": 12}, "malformed"),
        ({"children": []}, "too_few"),
        ({"children": [{"number": 1}] * 3}, "too_many"),
        ({"children": "abc"}, "malformed"),
        ({"children": {"number": 1}}, "malformed"),
        ({"colour": 1}, "unknown_field"),
    ],
    ids=lambda value: str(value)[:40],
)
def test_each_fault_has_a_code_and_a_place(values: dict[str, Any], code: str) -> None:
    assert faults(**values) == [(code, f"#/{next(iter(values))}")]


def test_a_fault_in_a_row_is_told_with_the_row() -> None:
    assert faults(children=[{"number": 1}, {"number": 0}]) == [
        ("out_of_range", "#/children/1/number")
    ]
    assert faults(children=[{}]) == [("required", "#/children/0/number")]
    assert faults(children=[7]) == [("malformed", "#/children/0")]
    assert faults(children=[{"number": 1, "x": 1}]) == [("unknown_field", "#/children/0/x")]


def test_all_faults_are_told_at_once() -> None:
    assert faults(line="\x00", count=0, colour=1, children=[{"number": 0}, {}]) == [
        ("control_character", "#/line"),
        ("out_of_range", "#/count"),
        ("out_of_range", "#/children/0/number"),
        ("required", "#/children/1/number"),
        ("unknown_field", "#/colour"),
    ]


@pytest.mark.parametrize("data", [None, [], "text", 7, True])
def test_what_is_no_object_is_refused(data: object) -> None:
    with pytest.raises(Refused) as caught:
        read(Sample, data)
    assert caught.value.code == "malformed"


def test_codes_are_words_in_snake_case() -> None:
    assert all(code.isidentifier() and code == code.lower() for code in CODES.values())


# Headers


@pytest.mark.parametrize(
    ("values", "code"),
    [
        ({}, "required"),
        ({"when": ""}, "date_malformed"),
        ({"when": "4 March 2021"}, "date_malformed"),
        ({"when": "2021-13"}, "date_impossible"),
        ({"when": "2021-02-29"}, "date_impossible"),
        ({"when": "1899"}, "date_too_early"),
        ({"when": "2021-03-05/2021-03-04"}, "date_range_reversed"),
        ({"when": "2021-03-04T25:00"}, "time_impossible"),
        ({"when": "2021-03T10:00"}, "time_on_range"),
        ({"when": "2021-03-04T10:00Z"}, "date_malformed"),
        ({"when": None}, "date_malformed"),
        ({"when": 20210304}, "date_malformed"),
        ({"when": ["2021"]}, "date_malformed"),
        ({"when": "9999"}, "date_in_future"),
        ({"when": "2021\x00"}, "control_character"),
        ({"when": "2021", "done_by": "Ana"}, "malformed"),
        ({"when": "2021", "done_by": [""]}, "required"),
        ({"when": "2021", "done_by": ["x"] * 21}, "too_many"),
        ({"when": "2021", "done_by": ["x" * 60] * 9}, "too_long"),
        ({"when": "2021", "permits": ["a b"]}, "code_malformed"),
        ({"when": "2021", "permits": ["A"] * 21}, "too_many"),
        ({"when": "2021", "recorded_by": "me"}, "unknown_field"),
    ],
    ids=str,
)
def test_a_header_that_makes_no_sense_is_refused(values: dict[str, Any], code: str) -> None:
    with pytest.raises(Refused) as caught:
        read(EventIn, values)
    assert [problem.code for problem in caught.value.problems] == [code]


def test_a_date_that_it_is_already_somewhere_is_taken() -> None:
    today = latest_today()
    assert read(EventIn, {"when": today.isoformat()}).when.earliest == today
    assert read(EventIn, {"when": str(today.year)}).when.earliest.year == today.year


# Digests


def digest(**values: Any) -> str:
    return digest_of("MOVE", read(EventIn, {"when": "2021-03-04", **values}))


def test_a_digest_is_of_what_is_meant_not_of_how_it_is_written() -> None:
    assert digest() == digest(done_by=[], permits=[], note="  ", when=" 2021-03-04 ")
    assert digest(permits=["p-1"]) == digest(permits=[" P-1 "])
    assert digest(when="2021-03") == digest(when="2021-03-01/2021-03-31")


def test_a_digest_does_not_cover_the_uid() -> None:
    assert digest(uid=str(uuid.UUID(int=1))) == digest(uid=str(uuid.UUID(int=2))) == digest()


def test_a_digest_differs_with_everything_else() -> None:
    others = [
        digest(),
        digest(when="2021-03-05"),
        digest(when="2021-03"),
        digest(note="a"),
        digest(done_by=["a"]),
        digest(done_by=["a", "b"]),
        digest(done_by=["a; b"]),
        digest(done_by=["b", "a"]),
        digest(permits=["A"]),
        digest_of("VISIT", read(EventIn, {"when": "2021-03-04"})),
    ]
    assert len(set(others)) == len(others)
    assert all(len(each) == 64 for each in others)


# Anything


junk = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=20),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=5), inner),
    max_leaves=5,
)


@given(st.dictionaries(st.sampled_from(sorted(Sample.model_fields)), junk))
def test_whatever_comes_in_is_read_or_refused(values: dict[str, Any]) -> None:
    try:
        read(Sample, values)
    except Refused as refusal:
        codes = {problem.code for problem in refusal.problems}
        told = {problem.message for problem in refusal.problems}
    else:
        codes, told = {"read"}, {"Read."}
    assert all(code.isidentifier() for code in codes)
    assert all(told)
