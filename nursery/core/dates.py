"""When something happened, as well as it is known: a range of days, with an optional time.

"March 2021" is a month wide, "4 March 2021" a day. Times are those of the place, without a zone, as
people write them on a slate. Two events are in the wrong order only if that is so on every reading.

Pure: plain values in and out. Texts follow ISO 8601-1.
"""

import calendar
import datetime as dt
import heapq
import re
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta, timezone
from typing import Any, Protocol, TypeVar

EARLIEST_YEAR = 1900

_DAY = re.compile(r"([0-9]{4})(?:-([0-9]{2})(?:-([0-9]{2}))?)?")
_TIME = re.compile(r"([0-9]{2}):([0-9]{2})(?::([0-9]{2}))?")
_MOMENT = re.compile(r"([0-9-]+)(?:T|\s+)(\S+)")
# Not calendar.month_name: that follows the locale of the server.
MONTHS = (
    *("January", "February", "March", "April", "May", "June"),
    *("July", "August", "September", "October", "November", "December"),
)
# Where on Earth a day begins first (Line Islands).
_FIRST_ZONE = timezone(timedelta(hours=14))


class DateError(ValueError):
    """A text that does not say when.

    ``code`` is one of ``date_malformed``, ``date_impossible``, ``date_too_early``,
    ``date_range_reversed``, ``time_impossible``, ``time_on_range``; ``message`` is for people.
    """

    def __init__(self, code: str, message: str) -> None:
        super().__init__(message)
        self.code = code
        self.message = message


@dataclass(frozen=True, slots=True)
class When:
    """From the earliest to the latest day on which it can have been; a time only on a single day.

    Raises DateError if the days are in the wrong order or too early, or if a range has a time.
    """

    earliest: date
    latest: date
    time: dt.time | None = None

    def __post_init__(self) -> None:
        if self.earliest.year < EARLIEST_YEAR:
            raise DateError("date_too_early", f"A date is not before {EARLIEST_YEAR}.")
        if self.latest < self.earliest:
            raise DateError("date_range_reversed", "The range ends before it begins.")
        if self.time is not None:
            if self.earliest != self.latest:
                raise DateError("time_on_range", "A time needs one day, not several.")
            if self.time.tzinfo is not None:
                raise DateError("time_impossible", "A time is that of the place, without a zone.")

    @property
    def lower(self) -> datetime:
        """The first instant it can have been, without a zone."""
        return datetime.combine(self.earliest, time.min if self.time is None else self.time)

    @property
    def upper(self) -> datetime:
        """The last instant it can have been, without a zone."""
        return datetime.combine(self.latest, time.max if self.time is None else self.time)

    @property
    def is_day(self) -> bool:
        """Whether the day is known."""
        return self.earliest == self.latest

    @property
    def is_whole_year(self) -> bool:
        """Whether it is exactly one calendar year."""
        year = self.earliest.year
        return (self.earliest, self.latest) == (date(year, 1, 1), date(year, 12, 31))

    @property
    def is_whole_month(self) -> bool:
        """Whether it is exactly one calendar month."""
        return (
            self.earliest.day == 1
            and (self.earliest.year, self.earliest.month) == (self.latest.year, self.latest.month)
            and self.latest == _month_end(self.latest.year, self.latest.month)
        )

    def __str__(self) -> str:
        if self.time is not None:
            exact = "minutes" if self.time == self.time.replace(second=0, microsecond=0) else "auto"
            return f"{self.earliest.isoformat()}T{self.time.isoformat(exact)}"
        if self.is_day:
            return self.earliest.isoformat()
        if self.is_whole_year:
            return f"{self.earliest.year:04d}"
        if self.is_whole_month:
            return self.earliest.isoformat()[:7]
        return f"{self.earliest.isoformat()}/{self.latest.isoformat()}"


def _month_end(year: int, month: int) -> date:
    return date(year, month, calendar.monthrange(year, month)[1])


def _parse_days(text: str) -> tuple[date, date]:
    match = _DAY.fullmatch(text)
    if match is None:
        raise DateError(
            "date_malformed",
            f"{text!r} is not a date: write 2021, 2021-03, 2021-03-04, 2021-03-04T10:30 "
            "or 2021-03-04/2021-03-09.",
        )
    year, month, day = (int(part) for part in match.groups(default="0"))
    if year < EARLIEST_YEAR:
        raise DateError("date_too_early", f"A date is not before {EARLIEST_YEAR}: {text}.")
    try:
        if match[2] is None:
            return date(year, 1, 1), date(year, 12, 31)
        if match[3] is None:
            return date(year, month, 1), _month_end(year, month)
        return date(year, month, day), date(year, month, day)
    except ValueError:
        raise DateError("date_impossible", f"There is no such date: {text}.") from None


def _parse_time(text: str) -> time:
    match = _TIME.fullmatch(text)
    if match is None:
        raise DateError("date_malformed", f"{text!r} is not a time: write 10:30, without a zone.")
    hour, minute, second = (int(part) for part in match.groups(default="0"))
    try:
        return time(hour, minute, second)
    except ValueError:
        raise DateError("time_impossible", f"There is no such time: {text}.") from None


def parse_when(text: str) -> When:
    """Read a year, a month, a day, a day with a time, or a range of two of the first three.

    The last is written with a slash: ``2021-03-04/2021-03-09``. A space may stand for the T before
    a time. Raises DateError.
    """
    text = text.strip()
    first, slash, second = (part.strip() for part in text.partition("/"))
    if slash:
        if ":" in text:
            raise DateError("time_on_range", f"A range of days has no time: {text}.")
        return When(_parse_days(first)[0], _parse_days(second)[1])
    moment = _MOMENT.fullmatch(text)
    if moment is None:
        return When(*_parse_days(text))
    earliest, latest = _parse_days(moment[1])
    if earliest != latest:
        raise DateError("time_on_range", f"A time needs one day: {text}.")
    return When(earliest, latest, _parse_time(moment[2]))


def certainly_before(a: When, b: When) -> bool:
    """Whether ``a`` was before ``b`` on every reading of both."""
    return a.upper < b.lower


class _Orderable(Protocol):
    def __lt__(self, other: Any, /) -> bool: ...


_T = TypeVar("_T")
_K = TypeVar("_K", bound=_Orderable)


def in_order(
    items: Iterable[_T], when: Callable[[_T], When], entry: Callable[[_T], _K]
) -> list[_T]:
    """The order in which a fold takes what happened.

    Again and again the item of lowest entry is taken among those which no untaken item was
    certainly before. So dates decide where they can, then the time on a known day, then the order
    of entry; items with the same entry keep the order in which they are given. O(n log n).

    This is a total order of the items given, but not of each pair alone: with A certainly before B,
    and C over both, entered B, C, A, it is C, A, B, while B and C alone are B, C. (No rule that
    follows dates and then entry can avoid it, for the three go round in a ring.)
    """
    taken: list[_T] = []
    all_items = list(items)
    bounds = [(w.lower, w.upper) for w in map(when, all_items)]
    by_lower = sorted(range(len(all_items)), key=lambda i: bounds[i][0], reverse=True)
    uppers = [(upper, i) for i, (_, upper) in enumerate(bounds)]
    heapq.heapify(uppers)
    ready: list[tuple[_K, int]] = []
    done = [False] * len(all_items)
    while len(taken) < len(all_items):
        while done[uppers[0][1]]:
            heapq.heappop(uppers)
        # Nothing untaken is certainly before an item that can begin by the first untaken end.
        while by_lower and bounds[by_lower[-1]][0] <= uppers[0][0]:
            i = by_lower.pop()
            heapq.heappush(ready, (entry(all_items[i]), i))
        i = heapq.heappop(ready)[1]
        done[i] = True
        taken.append(all_items[i])
    return taken


def latest_today(now: datetime | None = None) -> date:
    """The latest date that it already is somewhere on Earth (UTC+14), now or at the given instant.

    Raises ValueError for an instant without a zone.
    """
    if now is None:
        now = datetime.now(UTC)
    if now.tzinfo is None:
        raise ValueError("The instant needs a zone.")
    return now.astimezone(_FIRST_ZONE).date()


def is_future(when: When, today: date) -> bool:
    """Whether it cannot have happened by ``today`` on any reading."""
    return when.earliest > today


def _day_words(day: date) -> str:
    return f"{day.day} {_month_words(day)}"


def _month_words(day: date) -> str:
    return f"{MONTHS[day.month - 1]} {day.year}"


def words(when: When) -> str:
    """The date as people read it: 4 March 2021, March 2021, 2021, 4–9 March 2021."""
    first, last = when.earliest, when.latest
    if when.time is not None:
        return f"{_day_words(first)}, {when.time:%H:%M}"
    if when.is_day:
        return _day_words(first)
    if when.is_whole_year:
        return str(first.year)
    if when.is_whole_month:
        return _month_words(first)
    if (first.year, first.month) == (last.year, last.month):
        return f"{first.day}–{_day_words(last)}"
    if first.year == last.year:
        return f"{first.day} {MONTHS[first.month - 1]} – {_day_words(last)}"
    return f"{_day_words(first)} – {_day_words(last)}"


def dated(when: When) -> str:
    """The date with its preposition, for the middle of a sentence: on 4 March 2021, in March 2021,
    in 2021, between 4 and 9 March 2021."""
    if when.is_day:
        return f"on {words(when)}"
    if when.is_whole_year or when.is_whole_month:
        return f"in {words(when)}"
    return f"between {_day_words(when.earliest)} and {_day_words(when.latest)}"
