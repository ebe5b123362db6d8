"""The mark of a genet: a short label, a hue and a hatch, everywhere the same.

They follow from the row's id alone, so that a mark never changes when other genets come and go. Of
48 genets entered one after another no two share both hue and hatch, and neighbours share neither;
the label is never shared.
Pure.
"""

from __future__ import annotations

from dataclasses import dataclass

HUES = 8
HATCHES = 6
# Without i, l and o, which are too like 1 and 0.
_LETTERS = "abcdefghjkmnpqrstuvwxyz"
_DIGITS = 9


@dataclass(frozen=True, slots=True)
class Mark:
    """`label` is letters and a digit from 1 to 9, `hue` and `hatch` are numbers from 0."""

    label: str
    hue: int
    hatch: int


def mark_of(genet_id: int) -> Mark:
    """The mark of the genet with this id (1 or more; ValueError below)."""
    if genet_id < 1:
        raise ValueError(f"Ids are counted from 1: {genet_id}.")
    n = genet_id - 1
    # Hue and hatch both go on with every genet; each round of hues begins one hatch back.
    rounds, hue = divmod(n, HUES)
    return Mark(_label(n), hue, (hue - rounds) % HATCHES)


def _label(n: int) -> str:
    block, digit = divmod(n, _DIGITS)
    letters = ""
    block += 1
    while block:
        block, letter = divmod(block - 1, len(_LETTERS))
        letters = _LETTERS[letter] + letters
    return f"{letters}{digit + 1}"
