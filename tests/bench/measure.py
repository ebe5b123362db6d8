"""Timing two ways of doing the same thing in one run, turn by turn, so that only their ratio is
told: the machine and its mood cancel out."""

from __future__ import annotations

import sqlite3
import statistics
import time
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any

import psycopg
from django.db import connection

Statement = tuple[str, tuple[Any, ...]]


@dataclass(frozen=True, slots=True)
class Ratio:
    """How much longer ours takes than the other way: medians in seconds, and their quotient."""

    name: str
    ours: float
    other: float
    aim: float | None = None

    @property
    def value(self) -> float:
        return self.ours / self.other

    def __str__(self) -> str:
        aim = f"   aim ≤ {self.aim:g}: {_met(self.value <= self.aim)}" if self.aim else ""
        return (
            f"{self.name:70} {self.value:8.2f} ×   "
            f"{self.ours * 1000:10.2f} ms : {self.other * 1000:9.2f} ms{aim}"
        )


@dataclass(frozen=True, slots=True)
class Fact:
    """Something counted or found, with what was aimed at if anything was."""

    name: str
    text: str
    met: bool | None = None

    def __str__(self) -> str:
        return f"{self.name:70} {self.text}{'' if self.met is None else ': ' + _met(self.met)}"


def _met(met: bool) -> str:
    return "met" if met else "MISSED"


def compare(
    name: str,
    ours: Callable[[int], object],
    other: Callable[[int], object],
    rounds: int,
    aim: float | None = None,
) -> Ratio:
    """Run both `rounds` times in turn (after a tenth as many to warm up); each gets the turn's
    number, which is never the same twice, so that both meet the same subjects in the same order."""
    mine, theirs = [], []
    warming = warm_up(rounds)
    for turn in range(rounds + warming):
        for work, times in ((ours, mine), (other, theirs)):
            start = time.perf_counter()
            work(turn)
            if turn >= warming:
                times.append(time.perf_counter() - start)
    return Ratio(name, statistics.median(mine), statistics.median(theirs), aim)


def warm_up(rounds: int) -> int:
    """How many turns come before those that count. Six: a statement is prepared when it has been
    sent five times."""
    return max(6, rounds // 10) if rounds >= 10 else 1


def timed(work: Callable[[], object]) -> float:
    """How long a piece of work takes, in seconds."""
    start = time.perf_counter()
    work()
    return time.perf_counter() - start


def statements_of(work: Callable[[], object]) -> list[Statement]:
    """The statements that a piece of work sends, with their parameters."""
    found: list[Statement] = []

    def keep(execute: Any, sql: str, params: Any, many: bool, context: Any) -> Any:
        found.append((sql, tuple(params or ())))
        return execute(sql, params, many, context)

    with connection.execute_wrapper(keep):
        work()
    return found


class Bare:
    """The same database without the register: psycopg or sqlite3 alone, prepared."""

    def __init__(self) -> None:
        given = connection.get_connection_params()
        self.lite = connection.vendor == "sqlite"
        self.driver: Any
        if self.lite:
            self.driver = sqlite3.connect(given["database"], isolation_level=None, timeout=20)
            for pragma in ("journal_mode=WAL", "synchronous=NORMAL", "foreign_keys=ON"):
                self.driver.execute(f"PRAGMA {pragma}")
        else:
            names = ("host", "port", "user", "password", "dbname")
            self.driver = psycopg.connect(
                **{name: given[name] for name in names if given.get(name)}, autocommit=True
            )
        self.cursor = self.driver.cursor()

    def run(self, sql: str, params: Sequence[Any] = ()) -> list[tuple[Any, ...]]:
        """Send one statement and fetch all its rows."""
        if self.lite:
            return self.cursor.execute(sql.replace("%s", "?"), params).fetchall()
        self.cursor.execute(sql, params or None, prepare=True)
        return self.cursor.fetchall() if self.cursor.description is not None else []

    def replay(self, statements: Iterable[Statement]) -> int:
        """Send statements and fetch all their rows; returns how many."""
        return sum(len(self.run(sql, params)) for sql, params in statements)

    @contextmanager
    def transaction(self) -> Iterator[None]:
        if not self.lite:
            with self.driver.transaction():
                yield
            return
        self.driver.execute("BEGIN IMMEDIATE")
        try:
            yield
        except BaseException:
            self.driver.execute("ROLLBACK")
            raise
        self.driver.execute("COMMIT")

    def ids(self, table: str, count: int) -> list[int]:
        """Fresh ids of a table."""
        if self.lite:
            [(last,)] = self.run(f'SELECT max(id) FROM "{table}"')  # noqa: S608
            return list(range(last + 1, last + count + 1))
        sequence = f"pg_get_serial_sequence('{table}', 'id')"
        rows = self.run(
            f"SELECT nextval((SELECT {sequence})::regclass) FROM generate_series(1, %s)",  # noqa: S608
            (count,),
        )
        return [pk for (pk,) in rows]

    def send(self, table: str, columns: Sequence[str], rows: Iterable[Sequence[Any]]) -> None:
        """Insert rows: by COPY, or by one prepared statement sent for each."""
        names = ", ".join(f'"{name}"' for name in columns)
        if self.lite:
            marks = ", ".join("?" * len(columns))
            self.cursor.executemany(f'INSERT INTO "{table}" ({names}) VALUES ({marks})', rows)  # noqa: S608
            return
        with self.cursor.copy(f'COPY "{table}" ({names}) FROM STDIN') as copy:
            for row in rows:
                copy.write_row(row)
