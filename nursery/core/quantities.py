"""Lengths, depths and percentages as people type them.

Lengths come back in metres. The foot is 0.3048 m and the inch 0.0254 m exactly (international yard
and pound agreement of 1959). A decimal comma is read as a decimal point. Pure: text in, Decimal
out.
"""

import re
from decimal import Decimal

METRES: dict[str, Decimal] = {
    "m": Decimal(1),
    "cm": Decimal("0.01"),
    "mm": Decimal("0.001"),
    "ft": Decimal("0.3048"),
    "in": Decimal("0.0254"),
}
"""The length of each unit in metres, exact."""

DEEPEST_M = Decimal(12000)
"""More than the deepest sea, which is some 10 900 m."""

_SPELLINGS = {
    **{unit: unit for unit in METRES},
    **dict.fromkeys(("metre", "metres", "meter", "meters"), "m"),
    **dict.fromkeys(("foot", "feet", "'", "’", "′"), "ft"),
    **dict.fromkeys(("inch", "inches", '"', "”", "″"), "in"),
}
_NUMBER = r"[+\-−]?(?:[0-9]{1,9}(?:[.,][0-9]{1,9})?|[.,][0-9]{1,9})"
_LENGTH = re.compile(rf"({_NUMBER})\s*([a-z]+|['’′\"”″])?")
_PERCENT = re.compile(rf"({_NUMBER})\s*%?")
# 1,200 is twelve hundred to one reader and one and a fifth to another.
_AMBIGUOUS = re.compile(r"[+\-−]?[1-9][0-9]{0,2},[0-9]{3}")


class QuantityError(ValueError):
    """A text that is not a quantity, or one that cannot be.

    ``code`` is one of ``quantity_malformed``, ``quantity_ambiguous``, ``unit_unknown``,
    ``length_negative``, ``depth_above_surface``, ``depth_too_great``, ``percent_out_of_range``;
    ``message`` is for people.
    """

    def __init__(self, code: str, message: str) -> None:
        super().__init__(message)
        self.code = code
        self.message = message


def _decimal(number: str) -> Decimal:
    if _AMBIGUOUS.fullmatch(number):
        raise QuantityError(
            "quantity_ambiguous",
            f"{number} can be read in two ways: write it with a decimal point.",
        )
    return Decimal(number.replace(",", ".").replace("−", "-"))


def _metres(text: str, default_unit: str) -> Decimal:
    if default_unit not in METRES:
        raise ValueError(f"Not a unit of length: {default_unit!r}.")
    match = _LENGTH.fullmatch(text.strip().lower())
    if match is None:
        raise QuantityError(
            "quantity_malformed", f"{text.strip()!r} is not a length: write 3.5 m, 35 cm or 12 ft."
        )
    number, spelling = match.groups()
    unit = default_unit if spelling is None else _SPELLINGS.get(spelling)
    if unit is None:
        raise QuantityError(
            "unit_unknown", f"{spelling!r} is not a unit known here: use m, cm, mm, ft or in."
        )
    return _decimal(number) * METRES[unit]


def parse_length(text: str, default_unit: str = "m") -> Decimal:
    """Read a length, in metres: ``3.5``, ``3,5 m``, ``12 ft``, ``40'``, ``35 cm``, ``7 in``.

    A number alone is in ``default_unit`` (a key of METRES, else ValueError). Raises QuantityError:
    ``quantity_malformed``, ``quantity_ambiguous``, ``unit_unknown``, ``length_negative``.
    """
    metres = _metres(text, default_unit)
    if metres < 0:
        raise QuantityError("length_negative", f"A length is not negative: {text.strip()}.")
    return abs(metres)  # no negative zero


def parse_depth(text: str, default_unit: str = "m") -> Decimal:
    """Read a depth below the surface, in metres, spelled as a length is.

    Raises QuantityError as parse_length does, with ``depth_above_surface`` for a negative depth,
    and ``depth_too_great`` beyond DEEPEST_M.
    """
    metres = _metres(text, default_unit)
    if metres < 0:
        raise QuantityError(
            "depth_above_surface",
            f"A depth is counted downward from the surface, without a minus: {text.strip()}.",
        )
    if metres > DEEPEST_M:
        raise QuantityError("depth_too_great", f"No sea is that deep: {text.strip()}.")
    return abs(metres)


def parse_percent(text: str) -> Decimal:
    """Read a percentage from 0 to 100, with or without the sign: ``35``, ``35,5 %``.

    A number below one is a small percentage, not a fraction. Raises QuantityError:
    ``quantity_malformed``, ``quantity_ambiguous``, ``percent_out_of_range``.
    """
    match = _PERCENT.fullmatch(text.strip())
    if match is None:
        raise QuantityError(
            "quantity_malformed", f"{text.strip()!r} is not a percentage: write 35 or 35 %."
        )
    percent = _decimal(match.group(1))
    if not 0 <= percent <= 100:
        raise QuantityError(
            "percent_out_of_range", f"A percentage is from 0 to 100: {text.strip()}."
        )
    return abs(percent)
