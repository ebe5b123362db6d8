"""Ramet codes: a series, a number and a check character, such as ``KB0001-W``.

A code is one to four letters (the series), a number of at least four digits and, after a hyphen,
one check character by ISO/IEC 7064 MOD 37-2 over series and number as they are printed. MOD 37-2
finds every single wrong character and every swap of two neighbours. Its 37th check character ``*``
is awkward to type and to encode on labels, so that numbers which would need it are left out.

Pure: plain values in and out, nothing stored. A code is never reused, which is not for this module
to see to.
"""

import re
from collections.abc import Iterator
from dataclasses import dataclass

from stdnum.iso7064 import mod_37_2

SERIES_PATTERN = r"[A-Z]{1,4}"
"""What a series looks like, as a regular expression without anchors."""

MIN_DIGITS = 4
MAX_DIGITS = 9
MAX_NUMBER = 10**MAX_DIGITS - 1
"""The largest number a code can carry: it fits a 32-bit database column."""

_LETTERS = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"
_DIGITS = "0123456789"
_BODY = re.compile(r"[0-9A-Z]+")
_SERIES = re.compile(SERIES_PATTERN)
# A longer number does not begin with 0, so that each number has one spelling only.
_COMPACT = re.compile(rf"({SERIES_PATTERN})([0-9]{{4}}|[1-9][0-9]{{4,{MAX_DIGITS - 1}}})([0-9A-Z])")
# Space and every kind of hyphen, dash and minus that keyboards and word processors put in.
_SEPARATORS = re.compile(r"[\s_\-\u2010-\u2015\u2212\ufe63\uff0d]+")
# The longest code without its hyphen, and one character more for a slip.
_LONGEST = 4 + MAX_DIGITS + 1 + 1


class CodeError(ValueError):
    """A text that is not a right code.

    ``code`` is ``code_malformed`` or ``wrong_check_character``; ``message`` is for people.
    """

    def __init__(self, code: str, message: str) -> None:
        super().__init__(message)
        self.code = code
        self.message = message


@dataclass(frozen=True, slots=True)
class ParsedCode:
    """The parts of a right code."""

    series: str
    number: int
    check: str

    def __str__(self) -> str:
        return f"{self.series}{self.number:0{MIN_DIGITS}d}-{self.check}"


def check_character(body: str) -> str:
    """The MOD 37-2 check character of ``body`` (digits and capital letters): one of 0–9, A–Z,
    ``*``.

    Raises ValueError for an empty body or any other character. Source: ISO/IEC 7064.
    """
    if not _BODY.fullmatch(body):
        raise ValueError(f"Only digits and the letters A to Z have a check character: {body!r}.")
    return mod_37_2.calc_check_digit(body)


def _body(series: str, number: int) -> str:
    if not _SERIES.fullmatch(series):
        raise ValueError(f"A series is one to four letters A to Z: {series!r}.")
    if not 1 <= number <= MAX_NUMBER:
        raise ValueError(f"A number is from 1 to {MAX_NUMBER}: {number}.")
    return f"{series}{number:0{MIN_DIGITS}d}"


def usable(series: str, number: int) -> bool:
    """Whether the number can be a code, that is whether its check character is not ``*``.

    Raises ValueError for a series or number that no code can have.
    """
    return check_character(_body(series, number)) != "*"


def make_code(series: str, number: int) -> str:
    """The code of a number in a series.

    Raises ValueError for a series or number that no code can have, and for a number left out.
    """
    body = _body(series, number)
    check = check_character(body)
    if check == "*":
        raise ValueError(f"{body} is left out: its check character would be *.")
    return f"{body}-{check}"


def next_codes(series: str, start: int, n: int) -> tuple[list[str], int]:
    """The next ``n`` codes of a series from the number ``start`` on, and the number to go on from.

    Numbers that are left out are skipped. The number to go on from is one more than the last taken
    (``start`` when n is 0). Raises ValueError when n is negative or the series runs out.
    """
    if n < 0:
        raise ValueError("The number of codes is not negative.")
    codes: list[str] = []
    number = start
    while len(codes) < n:
        if usable(series, number):
            codes.append(make_code(series, number))
        number += 1
    return codes, number


def _compact(text: str) -> str:
    """Capitals without spaces and hyphens. Other characters stay, for they may be one slip."""
    # str.upper() makes ASCII of a few other letters (ſ, ı): only ASCII ones are raised.
    return "".join(c.upper() if c.isascii() else c for c in _SEPARATORS.sub("", text))


def normalise(text: str) -> str | None:
    """The canonical spelling of anything shaped like a code, else None.

    Lower case, spaces and missing or extra hyphens are put right. The check character is not
    tested: a wrong one is kept, so that a search can say what it looked for.
    """
    match = _COMPACT.fullmatch(_compact(text))
    if match is None:
        return None
    series, digits, check = match.groups()
    if int(digits) == 0:
        return None
    return f"{series}{digits}-{check}"


def parse_code(text: str) -> ParsedCode:
    """Read a code as people type it.

    Raises CodeError: ``code_malformed`` when it is not shaped like a code,
    ``wrong_check_character`` when a character must be wrong.
    """
    spelled = normalise(text)
    if spelled is None:
        raise CodeError(
            "code_malformed",
            f"{text.strip()!r} is not a code: letters, at least {MIN_DIGITS} digits, "
            "a hyphen and a check character.",
        )
    body, _, check = spelled.partition("-")
    if check_character(body) != check:
        raise CodeError(
            "wrong_check_character",
            f"{spelled}: the check character does not fit. One is wrong, or two are swapped.",
        )
    series = body.rstrip(_DIGITS)
    return ParsedCode(series, int(body[len(series) :]), check)


def _one_slip_away(compact: str) -> Iterator[str]:
    for i in range(len(compact) - 1):
        yield compact[:i] + compact[i + 1] + compact[i] + compact[i + 2 :]
    for i, old in enumerate(compact):
        for new in _DIGITS + _LETTERS:
            if new != old:
                yield compact[:i] + new + compact[i + 1 :]
    for i in range(len(compact) + 1):
        for new in _DIGITS:
            yield compact[:i] + new + compact[i:]
    for new in _LETTERS:
        yield compact + new
    for i, old in enumerate(compact):
        if old in _DIGITS:
            yield compact[:i] + compact[i + 1 :]


def near_codes(text: str) -> list[str]:
    """All right codes that the text is one slip away from, canonical, without the text itself.

    A slip is two swapped neighbours, one wrong character, one missing digit, a missing check
    character, or one digit too many, in this order and from left to right; each code comes once.
    These are what could be meant: the caller keeps those that exist. Hyphens and spaces are no
    slip.
    """
    compact = _compact(text)
    if len(compact) > _LONGEST:
        return []
    found: dict[str, None] = {}
    for candidate in _one_slip_away(compact):
        if candidate == compact:
            continue
        spelled = normalise(candidate)
        if spelled is not None and check_character(spelled[:-2]) == spelled[-1]:
            found[spelled] = None
    return list(found)
