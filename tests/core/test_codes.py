"""Ramet codes and their check character."""

import re

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from nursery.core.codes import (
    MAX_NUMBER,
    SERIES_PATTERN,
    CodeError,
    ParsedCode,
    check_character,
    make_code,
    near_codes,
    next_codes,
    normalise,
    parse_code,
    usable,
)

ALPHABET = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ"

series_of_letters = st.from_regex(SERIES_PATTERN, fullmatch=True)
numbers = st.one_of(st.integers(1, 20_000), st.integers(1, MAX_NUMBER))


@st.composite
def right_codes(draw: st.DrawFn) -> str:
    series = draw(series_of_letters)
    return make_code(series, draw(numbers.filter(lambda n: usable(series, n))))


def _code_of(text: str) -> str:
    with pytest.raises(CodeError) as refused:
        parse_code(text)
    assert str(refused.value) == refused.value.message
    return refused.value.code


def _check_by_hand(body: str) -> str:
    """MOD 37-2 as the blood services describe it in words (source below): powers of two."""
    weighted = sum(ALPHABET.index(c) * 2**place for place, c in enumerate(reversed(body), start=1))
    return (ALPHABET + "*")[(38 - weighted % 37) % 37]


# --- the check character -------------------------------------------------------------------------


def test_the_check_character_agrees_with_the_blood_services_worked_example() -> None:
    # UK Red Book, annex 2 "ISBT 128 check character calculation", donation number
    # G123 498 654 321: weighted sum 148354, checksum 17, character H.
    assert check_character("G123498654321") == "H"


def test_the_check_character_agrees_with_the_documented_example_of_the_library() -> None:
    # Docstring of stdnum.iso7064.mod_37_2 in python-stdnum.
    assert check_character("G123489654321") == "Y"


@given(st.text(ALPHABET, min_size=1, max_size=20))
def test_the_check_character_agrees_with_the_procedure_done_by_hand(body: str) -> None:
    assert check_character(body) == _check_by_hand(body)


@pytest.mark.parametrize("body", ["", "kb0001", "KB 0001", "KB0001-", "KB0001*", "KÉ0001", "KB١"])
def test_only_digits_and_capitals_have_a_check_character(body: str) -> None:
    with pytest.raises(ValueError, match="check character"):
        check_character(body)


@given(right_codes(), st.data())
def test_every_wrong_character_is_found(code: str, data: st.DataObject) -> None:
    body, check = code.split("-")
    place = data.draw(st.integers(0, len(body)))
    old = (body + check)[place]
    new = data.draw(st.sampled_from([c for c in ALPHABET if c != old]))
    changed = (body + check)[:place] + new + (body + check)[place + 1 :]
    assert check_character(changed[:-1]) != changed[-1]


@given(right_codes())
def test_every_swap_of_neighbours_is_found(code: str) -> None:
    text = code.replace("-", "")
    for i in range(len(text) - 1):
        swapped = text[:i] + text[i + 1] + text[i] + text[i + 2 :]
        if swapped != text:
            assert check_character(swapped[:-1]) != swapped[-1]


# --- making codes --------------------------------------------------------------------------------


def test_a_code_is_series_four_digits_hyphen_and_check_character() -> None:
    # W: worked by hand, K20 B11: 20·64 + 11·32 + 1·2 = 1634, mod 37 is 6, 38 - 6 = 32.
    assert make_code("KB", 1) == "KB0001-W"


def test_a_number_of_more_than_four_digits_is_written_in_full() -> None:
    assert make_code("K", 12345).startswith("K12345-")


@given(series_of_letters, numbers)
def test_a_number_is_usable_unless_its_check_character_is_a_star(series: str, number: int) -> None:
    assert usable(series, number) == (_check_by_hand(f"{series}{number:04d}") != "*")


def test_a_number_left_out_makes_no_code() -> None:
    left_out = next(n for n in range(1, 10_000) if not usable("KB", n))
    with pytest.raises(ValueError, match="left out"):
        make_code("KB", left_out)


@pytest.mark.parametrize("series", ["", "kb", "KBKBK", "K1", "K-", "Ä"])
def test_a_series_is_one_to_four_capitals(series: str) -> None:
    with pytest.raises(ValueError, match="series"):
        make_code(series, 1)


@pytest.mark.parametrize("number", [-1, 0, MAX_NUMBER + 1])
def test_a_number_no_code_can_carry_is_refused(number: int) -> None:
    with pytest.raises(ValueError, match="number is from"):
        usable("KB", number)


@given(series_of_letters, st.integers(1, 100_000), st.integers(0, 120))
def test_next_codes_are_all_usable_numbers_in_turn(series: str, start: int, n: int) -> None:
    codes, go_on = next_codes(series, start, n)
    taken = [parse_code(code).number for code in codes]
    assert len(taken) == n
    assert taken == [number for number in range(start, go_on) if usable(series, number)]


def test_next_codes_go_on_where_they_stopped() -> None:
    first, middle = next_codes("FD", 1, 60)
    second, end = next_codes("FD", middle, 40)
    assert (first + second, end) == next_codes("FD", 1, 100)


def test_some_numbers_are_skipped_on_the_way() -> None:
    # One check character of 37 is the star.
    codes, go_on = next_codes("KB", 1, 1000)
    assert 1000 < go_on - 1 < 1000 * 37 / 36 + 10
    assert not any("*" in code for code in codes)


def test_a_negative_number_of_codes_is_refused() -> None:
    with pytest.raises(ValueError, match="not negative"):
        next_codes("KB", 1, -1)


def test_a_series_that_runs_out_is_an_error() -> None:
    with pytest.raises(ValueError, match="number is from"):
        next_codes("KB", MAX_NUMBER - 3, 10)


# --- reading codes -------------------------------------------------------------------------------


@given(right_codes())
def test_a_code_is_read_back_as_it_was_made(code: str) -> None:
    parsed = parse_code(code)
    assert str(parsed) == code
    assert make_code(parsed.series, parsed.number) == code


@pytest.mark.parametrize(
    "text",
    ["kb0001-w", " KB0001-W ", "KB0001W", "KB-0001-W", "KB 0001 W", "kb–0001—w", "KB0001--W"],
)
def test_people_spell_a_code_in_many_ways(text: str) -> None:
    assert parse_code(text) == ParsedCode("KB", 1, "W")


@pytest.mark.parametrize(
    "text",
    [
        "",
        "-",
        "KB",
        "KB0001",
        "KB001-W",
        "0001-W",
        "KBKBK0001-W",
        "KB0001-WW",
        "KB0001-*",
        "KB0000-Y",
        "KB00001-W",
        "KB1234567890-W",
        "KB٠٠٠١-W",
        "KB0001/W",
        "ſB0001-W",
        "C7",
    ],
)
def test_what_is_not_shaped_like_a_code_is_malformed(text: str) -> None:
    assert _code_of(text) == "code_malformed"
    assert normalise(text) is None


@pytest.mark.parametrize("text", ["KB0001-X", "KB0010-W", "BK0001-W", "kb1000w"])
def test_a_wrong_character_is_told_from_a_wrong_shape(text: str) -> None:
    assert _code_of(text) == "wrong_check_character"


def test_normalise_keeps_a_wrong_check_character() -> None:
    assert normalise("kb 0001x") == "KB0001-X"


@given(st.text(ALPHABET.lower() + ALPHABET + " -–*", max_size=16))
def test_normalise_gives_a_shape_that_stays_as_it_is(text: str) -> None:
    spelled = normalise(text)
    if spelled is not None:
        assert normalise(spelled) == spelled
        assert re.fullmatch(rf"{SERIES_PATTERN}[0-9]{{4,9}}-[0-9A-Z]", spelled)


# --- codes that may be meant ---------------------------------------------------------------------


@settings(deadline=None)
@given(right_codes(), st.data())
def test_a_code_with_one_wrong_character_is_among_the_near_ones(
    code: str, data: st.DataObject
) -> None:
    place = data.draw(st.sampled_from([i for i, c in enumerate(code) if c != "-"]))
    wrong = data.draw(st.sampled_from([c for c in ALPHABET if c != code[place]]))
    assert code in near_codes(code[:place] + wrong + code[place + 1 :])


@settings(deadline=None)
@given(right_codes(), st.data())
def test_a_code_with_two_characters_swapped_is_among_the_near_ones(
    code: str, data: st.DataObject
) -> None:
    text = code.replace("-", "")
    i = data.draw(st.integers(0, len(text) - 2))
    swapped = text[:i] + text[i + 1] + text[i] + text[i + 2 :]
    if swapped != text:
        assert code in near_codes(swapped)


@settings(deadline=None)
@given(right_codes(), st.data())
def test_a_code_with_a_digit_left_out_is_among_the_near_ones(
    code: str, data: st.DataObject
) -> None:
    place = data.draw(st.sampled_from([i for i, c in enumerate(code[:-2]) if c.isdigit()]))
    assert code in near_codes(code[:place] + code[place + 1 :])


@settings(deadline=None)
@given(right_codes(), st.data())
def test_a_code_with_a_digit_too_many_is_among_the_near_ones(
    code: str, data: st.DataObject
) -> None:
    place = data.draw(st.integers(1, len(code)))
    digit = data.draw(st.sampled_from("0123456789"))
    typed = code[:place] + digit + code[place:]
    # A digit doubled at the end of a code with a check digit can be another right code.
    assert code in near_codes(typed) or normalise(typed) == code


def test_a_code_without_its_check_character_is_among_the_near_ones() -> None:
    assert "KB0001-W" in near_codes("KB0001")


def test_a_right_code_is_not_near_itself() -> None:
    # Swapping the two equal digits in the middle changes nothing.
    assert "KB0001-W" not in near_codes("KB0001-W")


def test_near_codes_of_a_swap_come_first() -> None:
    assert near_codes("KB0010-W")[0] == "KB0001-W"


@settings(deadline=None)
@given(st.text(ALPHABET + "-?*", max_size=16))
def test_near_codes_are_right_and_come_once_in_the_same_order(text: str) -> None:
    near = near_codes(text)
    assert near == near_codes(text.lower())
    assert len(set(near)) == len(near)
    assert normalise(text) not in near
    assert all(str(parse_code(code)) == code for code in near)


def test_a_long_text_has_no_near_codes() -> None:
    assert near_codes("KB" + "0" * 100_000 + "1-W") == []


def test_a_smudged_character_is_taken_as_a_wrong_one() -> None:
    assert "KB0001-W" in near_codes("KB0?01-W")
