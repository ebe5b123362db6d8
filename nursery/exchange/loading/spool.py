"""Keeps the lines of all files in order while they wait: on disk, not in memory.

A private temporary database of the standard library: it is gone when it is closed, or when the
program ends in any other way.
"""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from types import TracebackType
from typing import Self

from nursery.core.dates import EARLIEST_YEAR, When, in_order

_UNDATED = When(date(EARLIEST_YEAR, 1, 1), date(EARLIEST_YEAR, 1, 1))


@dataclass(frozen=True, slots=True)
class Line:
    """One row of a file: its number, and its cells by column. An empty cell is an empty text."""

    file: str
    row: int
    cells: dict[str, str]


class Spool:
    """Lines of register files in file order, of event files by date, of detail files by key."""

    def __init__(self) -> None:
        # An empty name is a temporary file that SQLite deletes itself.
        self._db = sqlite3.connect("", isolation_level=None)
        self._db.execute("PRAGMA journal_mode=OFF")
        self._db.execute(
            "CREATE TABLE line (seq INTEGER PRIMARY KEY, file TEXT, row INTEGER, "
            "key TEXT, cells TEXT)"
        )
        self._db.execute("CREATE INDEX by_key ON line (file, key)")
        self._db.execute("CREATE TABLE makes (name TEXT, file TEXT, key TEXT)")
        self._db.execute("CREATE INDEX by_name ON makes (name)")
        self._events: list[tuple[When, int, int]] = []

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._db.close()

    def add(self, line: Line, key: str = "") -> int:
        """Keep a line; its number in the spool."""
        cursor = self._db.execute(
            "INSERT INTO line (file, row, key, cells) VALUES (?, ?, ?, ?)",
            (line.file, line.row, key, json.dumps(line.cells)),
        )
        return cursor.lastrowid or 0

    def add_event(self, line: Line, key: str, when: When | None, rank: int) -> None:
        """Keep a line that is an event. One without a possible date comes before all others: it is
        refused, and what leans on it is judged afterwards.

        `rank` says which kinds come first where dates leave it open.
        """
        number = self.add(line, key)
        self._events.append((when or _UNDATED, rank, number))

    def add_made(self, name: str, file: str, key: str) -> None:
        """Keep that an event of this file makes something that others may name."""
        self._db.execute("INSERT INTO makes VALUES (?, ?, ?)", (name, file, key))

    def makers(self, name: str) -> list[tuple[Line, str]]:
        """The events that make what others name so, with their keys."""
        cursor = self._db.execute(
            "SELECT line.file, line.row, line.cells, line.key "
            "FROM makes JOIN line USING (file, key) WHERE name = ?",
            (name,),
        )
        return [
            (Line(file, row, json.loads(cells)), key) for file, row, cells, key in cursor.fetchall()
        ]

    def count(self) -> int:
        found: int = self._db.execute("SELECT count(*) FROM line").fetchone()[0]
        return found

    def rows(self, file: str) -> Iterator[Line]:
        """The lines of a register file, in file order."""
        yield from self._lines("WHERE file = ? AND key = '' ORDER BY seq", file)

    def keyed(self, file: str) -> Iterator[tuple[Line, str]]:
        """The lines of a file with their keys, in file order."""
        cursor = self._db.execute(
            "SELECT row, cells, key FROM line WHERE file = ? ORDER BY seq", (file,)
        )
        for row, cells, key in cursor.fetchall():
            yield Line(file, row, json.loads(cells)), key

    def with_key(self, file: str, key: str) -> list[Line]:
        """The lines of a detail file that name this event, in file order."""
        return list(self._lines("WHERE file = ? AND key = ? ORDER BY seq", file, key))

    def without_event(self, details: str, heads: str) -> Iterator[Line]:
        """The lines of a detail file whose event is not in the file of events."""
        yield from self._lines(
            "WHERE file = ? AND key NOT IN (SELECT key FROM line WHERE file = ?) ORDER BY seq",
            details,
            heads,
        )

    def events(self) -> Iterator[tuple[Line, str]]:
        """The events of all files with their keys, each after what it may need.

        Dates decide where they can, then the rank of the kind, then the order in the files. Only
        dates and ranks are in memory.
        """
        for _, _, number in in_order(self._events, lambda e: e[0], lambda e: e[1:]):
            file, row, cells, key = self._db.execute(
                "SELECT file, row, cells, key FROM line WHERE seq = ?", (number,)
            ).fetchone()
            yield Line(file, row, json.loads(cells)), key

    def _lines(self, where: str, *values: str) -> Iterator[Line]:
        # Only constant texts of this class come in as `where`; values are bound.
        cursor = self._db.execute(f"SELECT file, row, cells FROM line {where}", values)  # noqa: S608
        for file, row, cells in cursor:
            yield Line(file, row, json.loads(cells))
