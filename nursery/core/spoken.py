"""Words of closed sets in the language of the page. The sets themselves know no Django."""

from __future__ import annotations

from django.utils.functional import Promise
from django.utils.translation import gettext, gettext_lazy

from nursery.core.words import Word


def shown(word: Word) -> str:
    """A word as it is read: `seen alive`."""
    return gettext(word.label)


def choices_of(words: type[Word]) -> list[tuple[int, Promise]]:
    """Number and label of each member, as a model field wants its choices."""
    return [(number, gettext_lazy(label)) for number, label in words.pairs()]
