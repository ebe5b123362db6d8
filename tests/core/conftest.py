"""One of everything, for tests that are about something else; and another language."""

from __future__ import annotations

import pytest
from django.urls import resolve

from tests.standing import programme, standing

__all__ = ["another_language", "programme", "standing"]


@pytest.fixture
def another_language(monkeypatch: pytest.MonkeyPatch) -> None:
    """A language in which every word is the English one in guillemets."""

    def one(text: str) -> str:
        return f"«{text}»"

    def one_or_many(single: str, plural: str, number: int) -> str:
        return one(single if number == 1 else plural)

    # What is put into words when pages are first looked for stays in the language of that time.
    resolve("/")
    translation = "django.utils.translation._trans"
    monkeypatch.setattr(f"{translation}.gettext", one)
    monkeypatch.setattr(f"{translation}.ngettext", one_or_many)
    monkeypatch.setattr(f"{translation}.pgettext", lambda _context, text: one(text))
