"""Which refusals are no faults of their own: what they need was refused further up.

One wrong row may make hundreds of others impossible. These are told apart, so that a person sees
the rows to mend and not the flood behind them. When the others are mended, they are judged anew.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import replace

from nursery.core.codes import normalise
from nursery.core.errors import Problem
from nursery.exchange.loading.files import CORRECTIONS, EVENT, EVENTS, REGISTERS
from nursery.exchange.loading.reading import cell_fault
from nursery.exchange.loading.report import LEANS, Fault

_WORD = re.compile(r"[A-Z0-9][A-Z0-9._-]*[A-Z0-9]")


class Blame:
    """The names that refused rows would have made or changed, each with the row's place."""

    def __init__(self) -> None:
        self._names: dict[str, str] = {}
        self._events: dict[tuple[str, str], str] = {}
        self._models: dict[str, str] = {}
        self._files: dict[str, str] = {}

    def whole_file(self, stem: str) -> None:
        """A file could not be read to its end: anything may have stood in it."""
        self._files[stem] = f"{stem}.csv"
        for item in REGISTERS:
            if item.stem == stem:
                self._models[f"unknown_{item.model._meta.model_name}"] = f"{stem}.csv"

    def unread(self, stem: str, row: int, cells: Mapping[str, str]) -> None:
        """A row could not be taken at all. An event is not whole without one of its rows."""
        where = f"{stem}.csv, row {row}"
        self.row(where, cells)
        if cell_fault(cells.get("code", "")):
            self.code(stem, where)
        for item in (*EVENTS, *CORRECTIONS):
            if stem == item.stem or stem in item.rows.values():
                self._events[item.stem, cells.get(EVENT, "")] = where

    def code(self, stem: str, where: str) -> None:
        """A row was refused for its own code: nobody knows what it was meant to be called."""
        kinds = [item.model._meta.model_name for item in REGISTERS if item.stem == stem]
        self._models.setdefault(f"unknown_{kinds[0] if kinds else 'ramet'}", where)

    def row(self, where: str, cells: Mapping[str, str]) -> None:
        """A row was refused: its code and the ramets it names are doubtful from now on."""
        if cells.get("series"):
            self._models.setdefault("unknown_series", where)
        if code := cells.get("code", "").strip():
            self._names.setdefault(normalise(code) or code.upper(), where)
        if ramet := normalise(cells.get("ramet", "")):
            self._names.setdefault(ramet, where)

    def event(self, stem: str, key: str, uid: str, where: str) -> None:
        """An event was refused."""
        self._events.setdefault((stem, key), where)
        self._names.setdefault(uid.upper(), where)

    def incomplete(self, stem: str, rows: Iterable[str], key: str) -> str | None:
        """The place of the refused row without which an event is not whole, or None."""
        files = (self._files.get(name) for name in rows)
        return self._events.get((stem, key)) or next(filter(None, files), None)

    def of_missing_event(self, stem: str, key: str, fault: Fault) -> Fault:
        """A row names an event that is not there: because it was refused?"""
        where = self._events.get((stem, key)) or self._files.get(stem)
        return _leaning(fault, where) if where else fault

    def of_problem(self, problem: Problem, fault: Fault, named: Iterable[str]) -> Fault:
        """The fault as it is, or as one that leans on a refused row.

        `named` are the texts of the row that the problem is about: what is refused because of
        something refused names it, in the row or in the message.
        """
        where = self._models.get(problem.code)
        for name in (*_names_in(named), *_coded(problem.message)):
            where = where or self._names.get(name)
        return _leaning(fault, where) if where else fault


def _names_in(texts: Iterable[str]) -> Iterator[str]:
    """What in a row may be a name: a text as a whole, as a ramet's code, one of several."""
    for text in texts:
        upper = text.upper()
        yield from (normalise(text) or upper, upper, *_WORD.findall(upper))


def _coded(message: str) -> list[str]:
    """The words of a message that look like codes: with a digit in them."""
    return [word for word in _WORD.findall(message.upper()) if not word.isalpha()]


def _leaning(fault: Fault, where: str) -> Fault:
    message = f"{where} was refused, and this leans on it: {fault.code}: {fault.message}"
    return replace(fault, code=LEANS, message=message)
