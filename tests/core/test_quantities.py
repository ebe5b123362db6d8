"""Lengths, depths and percentages as people type them."""

from collections.abc import Callable
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from nursery.core.quantities import QuantityError, parse_depth, parse_length, parse_percent

plain = st.decimals(0, 999, places=3, allow_nan=False, allow_infinity=False)


def _code_of(parse: Callable[[str], Decimal], text: str) -> str:
    with pytest.raises(QuantityError) as refused:
        parse(text)
    assert str(refused.value) == refused.value.message
    return refused.value.code


@pytest.mark.parametrize(
    ("text", "metres"),
    [
        ("3.5", "3.5"),
        ("3,5 m", "3.5"),
        ("3.5m", "3.5"),
        (" 3.5  Metres ", "3.5"),
        (".5", "0.5"),
        ("+2 m", "2"),
        ("35 cm", "0.35"),
        ("35,5cm", "0.355"),
        ("13 mm", "0.013"),
        ("0", "0"),
        ("0,250 m", "0.25"),
    ],
)
def test_a_length_is_read_in_metres(text: str, metres: str) -> None:
    assert parse_length(text) == Decimal(metres)


# The foot of 0.3048 m and the inch of 2.54 cm, exactly: international yard and pound agreement,
# 1959 (from memory), and NIST SP 811 appendix B (from memory).
@pytest.mark.parametrize(
    ("text", "metres"),
    [
        ("1 ft", "0.3048"),
        ("12 ft", "3.6576"),
        ("12 feet", "3.6576"),
        ("1 foot", "0.3048"),
        ("40'", "12.192"),
        ("40′", "12.192"),
        ("40’", "12.192"),
        ("7 in", "0.1778"),
        ("7 inches", "0.1778"),
        ('7"', "0.1778"),
        ("7″", "0.1778"),
        ("-0 ft", "0"),
    ],
)
def test_feet_and_inches_are_exact(text: str, metres: str) -> None:
    assert parse_length(text) == Decimal(metres)


@given(plain)
def test_a_number_of_inches_is_a_twelfth_of_as_many_feet(number: Decimal) -> None:
    assert parse_length(f"{number} in") * 12 == parse_length(f"{number} ft")


@given(plain)
def test_a_decimal_comma_reads_as_a_point_where_only_one_reading_is_possible(
    number: Decimal,
) -> None:
    spelled = f"{number}0"  # four places are no thousands
    assert parse_length(spelled.replace(".", ",")) == number


def test_a_number_alone_is_in_the_default_unit() -> None:
    assert parse_length("35", default_unit="cm") == Decimal("0.35")
    assert parse_length("35 m", default_unit="cm") == 35


def test_a_default_unit_must_be_known() -> None:
    with pytest.raises(ValueError, match="unit of length"):
        parse_length("35", default_unit="fathom")


@pytest.mark.parametrize("text", ["1,200", "12,000 m", "-3,500 ft", "999,999"])
def test_a_comma_before_three_digits_can_be_read_in_two_ways(text: str) -> None:
    assert _code_of(parse_length, text) == "quantity_ambiguous"


@pytest.mark.parametrize(
    "text",
    [
        "",
        "m",
        "deep",
        "3.5.1",
        "1.200,5",
        "1,200.5",
        "3 5",
        "3-5 m",
        "nan",
        "inf",
        "Infinity",
        "1e3",
        "٣",
        "3 m 20",
        "5' 6\"",
        "3.",
        "--3",
        "0x10",
        "12345678901",
        "1_0",
    ],
)
def test_what_is_not_a_length_is_malformed(text: str) -> None:
    assert _code_of(parse_length, text) in {"quantity_malformed", "unit_unknown"}
    assert _code_of(parse_depth, text) in {"quantity_malformed", "unit_unknown"}


@pytest.mark.parametrize("text", ["3 km", "3 fathoms", "3 mx", "3 e"])
def test_an_unknown_unit_is_said_to_be_one(text: str) -> None:
    assert _code_of(parse_length, text) == "unit_unknown"


@pytest.mark.parametrize("text", ["-3.5", "-3.5 m", "−1 ft"])
def test_a_length_is_not_negative(text: str) -> None:
    assert _code_of(parse_length, text) == "length_negative"


@pytest.mark.parametrize("text", ["-3.5", "−3.5 m", "-0.1 ft"])
def test_a_depth_is_not_above_the_surface(text: str) -> None:
    assert _code_of(parse_depth, text) == "depth_above_surface"


@pytest.mark.parametrize("text", ["12000.1", "40000 ft", "99999 m"])
def test_a_depth_is_not_below_the_sea_floor(text: str) -> None:
    assert _code_of(parse_depth, text) == "depth_too_great"


@pytest.mark.parametrize(("text", "metres"), [("0", "0"), ("40'", "12.192"), ("12000", "12000")])
def test_a_depth_is_read_in_metres(text: str, metres: str) -> None:
    assert parse_depth(text) == Decimal(metres)


@pytest.mark.parametrize(
    ("text", "percent"),
    [("0", "0"), ("35", "35"), ("35,5 %", "35.5"), ("0.35", "0.35"), ("100%", "100")],
)
def test_a_percentage_is_read(text: str, percent: str) -> None:
    assert parse_percent(text) == Decimal(percent)


@pytest.mark.parametrize("text", ["-1", "100.01", "101 %", "−0.5%"])
def test_a_percentage_is_from_0_to_100(text: str) -> None:
    assert _code_of(parse_percent, text) == "percent_out_of_range"


@pytest.mark.parametrize("text", ["", "%", "half", "nan", "35 pc", "35 % 4", "3 5"])
def test_what_is_not_a_percentage_is_malformed(text: str) -> None:
    assert _code_of(parse_percent, text) == "quantity_malformed"


@pytest.mark.parametrize("parse", [parse_length, parse_depth, parse_percent])
def test_zero_has_no_sign(parse: Callable[[str], Decimal]) -> None:
    assert str(parse("-0")) == "0"
