"""Closed sets of words that are stored as small numbers, for rows that come by the million."""

from __future__ import annotations

from enum import IntEnum
from typing import Self


class Word(IntEnum):
    """A closed set: the number is stored, the word is what API, files and pages say.

    A member is its number with its label marked for translation, `SEEN_ALIVE = 8, _("seen alive")`;
    pages say it in their language by `nursery.core.spoken`.
    """

    _value_: int

    def __new__(cls, value: int, _label: str = "") -> Self:
        member = int.__new__(cls, value)
        member._value_ = value
        return member

    @property
    def word(self) -> str:
        """The word outside: the member's name in lower case, `seen_alive`."""
        return self.name.lower()

    @property
    def label(self) -> str:
        """The word as it is read, in English: `seen alive`."""
        return self.word.replace("_", " ")

    @classmethod
    def pairs(cls) -> list[tuple[int, str]]:
        """Number and label of each member, as a model field wants its choices."""
        return [(member.value, member.label) for member in cls]

    @classmethod
    def numbers(cls) -> list[int]:
        return [member.value for member in cls]

    @classmethod
    def of(cls, word: str) -> Self:
        """The member of that word; raises KeyError."""
        return cls[word.strip().replace(" ", "_").upper()]

    @classmethod
    def all_words(cls) -> list[str]:
        return [member.word for member in cls]
