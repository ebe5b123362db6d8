"""Timing two ways of doing the same thing in one run, turn by turn, so that only their ratio is
told: the machine and its mood cancel out."""

from __future__ import annotations

import statistics
import time
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import psycopg
from django.db import connection


@dataclass(frozen=True, slots=True)
class Ratio:
    """How much longer ours takes than the bare way: medians in seconds, and their quotient."""

    name: str
    ours: float
    bare: float
    aim: float | None = None

    @property
    def value(self) -> float:
        return self.ours / self.bare

    def __str__(self) -> str:
        aim = (
            f"   (aim ≤ {self.aim:g}: {'met' if self.value <= self.aim else 'MISSED'})"
            if self.aim
            else ""
        )
        return (
            f"{self.name:58} {self.value:7.2f} ×   "
            f"{self.ours * 1000:9.2f} ms : {self.bare * 1000:.2f} ms{aim}"
        )


def compare(
    name: str,
    ours: Callable[[int], object],
    bare: Callable[[int], object],
    rounds: int,
    aim: float | None = None,
) -> Ratio:
    """Run both `rounds` times in turn (after a tenth as many to warm up); each gets the round's
    number, so that both meet the same subjects in the same order."""
    for turn in range(max(1, rounds // 10)):
        ours(turn)
        bare(turn)
    mine, theirs = [], []
    for turn in range(rounds):
        for work, times in ((ours, mine), (bare, theirs)):
            start = time.perf_counter()
            work(turn)
            times.append(time.perf_counter() - start)
    return Ratio(name, statistics.median(mine), statistics.median(theirs), aim)


def statements_of(work: Callable[[], object]) -> list[tuple[str, tuple[Any, ...]]]:
    """The statements that a piece of work sends, with their parameters."""
    found: list[tuple[str, tuple[Any, ...]]] = []

    def keep(execute: Any, sql: str, params: Any, many: bool, context: Any) -> Any:
        found.append((sql, tuple(params or ())))
        return execute(sql, params, many, context)

    with connection.execute_wrapper(keep):
        work()
    return found


def replay(bare: psycopg.Connection[Any], statements: list[tuple[str, tuple[Any, ...]]]) -> int:
    """Send the same statements by bare psycopg, prepared, and fetch all rows; returns how many."""
    rows = 0
    with bare.cursor() as cursor:
        for sql, params in statements:
            cursor.execute(sql.encode(), params, prepare=True)
            if cursor.description is not None:
                rows += len(cursor.fetchall())
    return rows
