"""When something happened, and in which order."""

from collections.abc import Sequence
from datetime import UTC, date, datetime, time, timedelta, timezone
from random import Random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from nursery.core.dates import (
    DateError,
    When,
    certainly_before,
    in_order,
    is_future,
    latest_today,
    parse_when,
    words,
)

days = st.dates(date(1900, 1, 1), date(2100, 12, 31))
times = st.times().map(lambda t: t.replace(microsecond=0))


@st.composite
def whens(draw: st.DrawFn, pool: st.SearchStrategy[date] = days) -> When:
    first, last = sorted((draw(pool), draw(pool)))
    if draw(st.booleans()):
        return When(first, last)
    return When(first, first, draw(st.none() | times))


# A short pool, so that ranges meet, touch and lie apart.
close_whens = whens(st.dates(date(2021, 3, 1), date(2021, 3, 6)))


def _code_of(text: str) -> str:
    with pytest.raises(DateError) as refused:
        parse_when(text)
    assert str(refused.value) == refused.value.message
    return refused.value.code


# --- reading -------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("2021", When(date(2021, 1, 1), date(2021, 12, 31))),
        ("2021-03", When(date(2021, 3, 1), date(2021, 3, 31))),
        ("2020-02", When(date(2020, 2, 1), date(2020, 2, 29))),
        ("1900-02", When(date(1900, 2, 1), date(1900, 2, 28))),
        ("2021-03-04", When(date(2021, 3, 4), date(2021, 3, 4))),
        ("2021-03-04T10:30", When(date(2021, 3, 4), date(2021, 3, 4), time(10, 30))),
        ("2021-03-04 10:30", When(date(2021, 3, 4), date(2021, 3, 4), time(10, 30))),
        ("2021-03-04T10:30:15", When(date(2021, 3, 4), date(2021, 3, 4), time(10, 30, 15))),
        ("2021-03-04/2021-03-09", When(date(2021, 3, 4), date(2021, 3, 9))),
        ("2021-03/2021-05", When(date(2021, 3, 1), date(2021, 5, 31))),
        (" 2021-03-04 / 2021-03-09 ", When(date(2021, 3, 4), date(2021, 3, 9))),
    ],
)
def test_a_date_is_read_as_the_range_it_is(text: str, expected: When) -> None:
    assert parse_when(text) == expected


@pytest.mark.parametrize(
    "text",
    [
        "2021",
        "2021-03",
        "2020-02",
        "2021-03-04",
        "2021-03-04T10:30",
        "2021-03-04T10:30:15",
        "2021-03-04/2021-03-09",
        "2021-12-30/2022-01-02",
    ],
)
def test_a_date_is_written_as_it_was_read(text: str) -> None:
    assert str(parse_when(text)) == text


@pytest.mark.parametrize(
    ("text", "short"),
    [("2021-03-01/2021-03-31", "2021-03"), ("2021-01/2021-12", "2021"), ("2021/2021", "2021")],
)
def test_days_that_make_a_whole_month_or_year_are_written_short(text: str, short: str) -> None:
    assert str(parse_when(text)) == short


@pytest.mark.parametrize("text", ["2021-03-02/2021-03-31", "2021-03-01/2021-03-30"])
def test_days_that_are_not_quite_a_month_are_written_in_full(text: str) -> None:
    assert str(parse_when(text)) == text


@given(whens())
def test_every_date_survives_being_written_and_read(when: When) -> None:
    assert parse_when(str(when)) == when


@pytest.mark.parametrize(
    "text",
    [
        "",
        "today",
        "Tuesday",
        "4 March 2021",
        "04/03/2021",
        "2021-3-4",
        "21-03-04",
        "20210304",
        "2021-03-04T",
        "2021-03-04T1030",
        "2021-03-04T10:30Z",
        "2021-03-04T10:30+02:00",
        "2021-",
        "2021-03-04/",
        "/2021-03-04",
        "2021/2022/2023",
        "٢٠٢١",
        "2021-03-04\n2021-03-05",
        "-2021",
    ],
)
def test_what_is_not_a_date_is_malformed(text: str) -> None:
    assert _code_of(text) == "date_malformed"


@pytest.mark.parametrize(
    "text",
    [
        "2021-13",
        "2021-00",
        "2021-02-31",
        "2021-02-29",
        "2021-04-31",
        "2021-01-00",
        "2021-13-01",
        "2021-02-30T10:30",
        "2021-02-01/2021-02-30",
    ],
)
def test_a_day_that_no_calendar_has_is_refused(text: str) -> None:
    assert _code_of(text) == "date_impossible"


@pytest.mark.parametrize("text", ["1899", "1899-12-31", "0021-03-04", "0000", "1899/2021"])
def test_a_year_before_1900_is_refused(text: str) -> None:
    assert _code_of(text) == "date_too_early"


@pytest.mark.parametrize("text", ["2021-03-09/2021-03-04", "2022/2021"])
def test_a_range_that_ends_before_it_begins_is_refused(text: str) -> None:
    assert _code_of(text) == "date_range_reversed"


@pytest.mark.parametrize("text", ["2021-03-04T24:00", "2021-03-04T10:60", "2021-03-04T10:30:60"])
def test_a_time_that_no_clock_has_is_refused(text: str) -> None:
    assert _code_of(text) == "time_impossible"


@pytest.mark.parametrize(
    "text",
    ["2021-03T10:30", "2021 10:30", "2021-03-04T10:30/2021-03-09", "2021-03-04/2021-03-09T10:30"],
)
def test_a_time_needs_one_day(text: str) -> None:
    assert _code_of(text) == "time_on_range"


@pytest.mark.parametrize(
    ("earliest", "latest", "clock", "code"),
    [
        (date(2021, 3, 9), date(2021, 3, 4), None, "date_range_reversed"),
        (date(1899, 12, 31), date(2021, 3, 4), None, "date_too_early"),
        (date(2021, 3, 4), date(2021, 3, 9), time(10, 30), "time_on_range"),
        (date(2021, 3, 4), date(2021, 3, 4), time(10, 30, tzinfo=UTC), "time_impossible"),
    ],
)
def test_no_impossible_date_can_be_made(
    earliest: date, latest: date, clock: time | None, code: str
) -> None:
    with pytest.raises(DateError) as refused:
        When(earliest, latest, clock)
    assert refused.value.code == code


# --- before and after ----------------------------------------------------------------------------


def test_bounds_are_the_ends_of_the_days() -> None:
    when = parse_when("2021-03")
    assert when.lower == datetime(2021, 3, 1)  # noqa: DTZ001
    assert when.upper == datetime(2021, 3, 31, 23, 59, 59, 999999)  # noqa: DTZ001


def test_bounds_of_a_time_are_the_time() -> None:
    when = parse_when("2021-03-04T10:30")
    assert when.lower == when.upper == datetime(2021, 3, 4, 10, 30)  # noqa: DTZ001


@pytest.mark.parametrize(
    ("first", "second"),
    [
        ("2020", "2021"),
        ("2021-03-04", "2021-03-05"),
        ("2021-03", "2021-04-01"),
        ("2021-03-04T10:30", "2021-03-04T10:31"),
        ("2021-03-04T23:59", "2021-03-05"),
        ("2021-03-01/2021-03-04", "2021-03-05/2021-03-09"),
    ],
)
def test_dates_apart_are_certain(first: str, second: str) -> None:
    assert certainly_before(parse_when(first), parse_when(second))
    assert not certainly_before(parse_when(second), parse_when(first))


@pytest.mark.parametrize(
    ("first", "second"),
    [
        ("2021-03-04", "2021-03-04"),
        ("2021-03-04", "2021-03-04T10:30"),
        ("2021-03-04T10:30", "2021-03-04T10:30"),
        ("2021-03", "2021-03-04"),
        ("2021", "2021-03"),
        ("2021-03-01/2021-03-05", "2021-03-05/2021-03-09"),
    ],
)
def test_dates_that_meet_are_not_certain(first: str, second: str) -> None:
    assert not certainly_before(parse_when(first), parse_when(second))
    assert not certainly_before(parse_when(second), parse_when(first))


@given(close_whens, close_whens, close_whens)
def test_certainty_is_a_strict_order(a: When, b: When, c: When) -> None:
    assert not certainly_before(a, a)
    if certainly_before(a, b) and certainly_before(b, c):
        assert certainly_before(a, c)


# --- the order of a fold -------------------------------------------------------------------------

Item = tuple[int, When]


def _order(items: Sequence[Item]) -> list[Item]:
    return in_order(items, when=lambda item: item[1], entry=lambda item: item[0])


def _order_by_definition(items: Sequence[Item]) -> list[Item]:
    left = list(items)
    taken = []
    while left:
        free = [i for i in left if not any(certainly_before(j[1], i[1]) for j in left)]
        first = min(free, key=lambda item: item[0])
        left.remove(first)
        taken.append(first)
    return taken


def _dated(*texts: str) -> list[Item]:
    return [(entry, parse_when(text)) for entry, text in enumerate(texts, start=1)]


def _entries(items: Sequence[Item]) -> list[int]:
    return [entry for entry, _ in items]


def test_dates_come_before_entry() -> None:
    assert _entries(_order(_dated("2021-03-06", "2021-03-05", "2021-03-04"))) == [3, 2, 1]


def test_time_decides_on_the_same_day() -> None:
    assert _entries(_order(_dated("2021-03-04T12:00", "2021-03-04T09:00"))) == [2, 1]


def test_entry_decides_on_the_same_day_without_both_times() -> None:
    assert _entries(_order(_dated("2021-03-04T12:00", "2021-03-04", "2021-03-04"))) == [1, 2, 3]


def test_entry_decides_where_ranges_meet() -> None:
    assert _entries(_order(_dated("2021-03", "2021-03-04", "2021"))) == [1, 2, 3]


def test_a_certain_predecessor_entered_late_is_waited_for() -> None:
    # 1 waits for 3; 2 is over both and waits for none.
    assert _entries(_order(_dated("2021-03-05", "2021-03", "2021-03-04"))) == [2, 3, 1]


def test_items_of_one_entry_keep_the_order_in_which_they_come() -> None:
    day = parse_when("2021-03-04")
    items = [(7, day, name) for name in "dacb"]
    assert in_order(items, when=lambda i: i[1], entry=lambda i: i[0]) == items


def test_an_entry_may_be_several_numbers() -> None:
    day = parse_when("2021-03-04")
    items = [((2, 1), day), ((1, 2), day), ((1, 1), day)]
    ordered = in_order(items, when=lambda i: i[1], entry=lambda i: i[0])
    assert [entry for entry, _ in ordered] == [(1, 1), (1, 2), (2, 1)]


def test_nothing_is_in_order() -> None:
    assert _order([]) == []


@given(st.lists(close_whens, max_size=12), st.randoms(use_true_random=False))
def test_the_order_is_the_one_defined_whatever_order_the_items_come_in(
    dates: list[When], dice: Random
) -> None:
    items = list(enumerate(dates))
    shuffled = list(items)
    dice.shuffle(shuffled)
    assert _order(shuffled) == _order_by_definition(items)


@given(st.lists(close_whens, max_size=12))
def test_nothing_comes_before_what_was_certainly_before_it(dates: list[When]) -> None:
    ordered = _order(list(enumerate(dates)))
    for place, (_, later) in enumerate(ordered):
        assert not any(certainly_before(later, earlier) for _, earlier in ordered[:place])


# --- today ---------------------------------------------------------------------------------------


def test_today_is_the_date_where_the_day_begins_first() -> None:
    assert latest_today(datetime(2021, 3, 4, 9, 59, tzinfo=UTC)) == date(2021, 3, 4)
    assert latest_today(datetime(2021, 3, 4, 10, 0, tzinfo=UTC)) == date(2021, 3, 5)


def test_today_does_not_depend_on_the_zone_of_the_instant() -> None:
    here = timezone(timedelta(hours=-4))
    assert latest_today(datetime(2021, 3, 4, 6, 0, tzinfo=here)) == date(2021, 3, 5)


def test_today_needs_a_zone() -> None:
    with pytest.raises(ValueError, match="zone"):
        latest_today(datetime(2021, 3, 4))  # noqa: DTZ001


def test_today_is_no_earlier_than_that_of_utc() -> None:
    before = datetime.now(UTC)
    assert before.date() <= latest_today() <= (datetime.now(UTC) + timedelta(hours=14)).date()


@pytest.mark.parametrize(
    ("text", "future"),
    [("2021-03-05", True), ("2021-03-04", False), ("2021-03", False), ("2021-04", True)],
)
def test_only_what_cannot_have_happened_yet_is_in_the_future(text: str, future: bool) -> None:
    assert is_future(parse_when(text), date(2021, 3, 4)) is future


# --- words ---------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("2021", "2021"),
        ("2021-03", "March 2021"),
        ("2021-03-04", "4 March 2021"),
        ("2021-03-04T09:05", "4 March 2021, 09:05"),
        ("2021-03-04/2021-03-09", "4–9 March 2021"),
        ("2021-02-26/2021-03-03", "26 February – 3 March 2021"),
        ("2020-12-30/2021-01-02", "30 December 2020 – 2 January 2021"),
        ("2021-03/2021-04", "1 March – 30 April 2021"),
    ],
)
def test_a_date_in_words(text: str, expected: str) -> None:
    assert words(parse_when(text)) == expected
