"""What came of a load: how much is new, what was refused and why."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field

LISTED = 500
"""The most refused rows that are kept word for word; the others are counted."""

LISTED_LEANING = 20
"""The same for rows that were refused only because they lean on a refused one."""

LEANS = "leans_on_refused"
_SHORT = 40


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing that is wrong, and where: `row` as a spreadsheet numbers it, None for the file."""

    file: str
    row: int | None
    column: str
    value: str
    code: str
    message: str

    def __str__(self) -> str:
        where = self.file if self.row is None else f"{self.file}, row {self.row}"
        if self.column:
            where += f", {self.column}"
        if self.value:
            where += f" “{shortened(self.value)}”"
        return f"{where}: {self.code}: {self.message}"


@dataclass(slots=True)
class Tally:
    """How many rows of a file were new to the record, known already, or edited."""

    new: int = 0
    unchanged: int = 0
    edited: int = 0


@dataclass(slots=True)
class Report:
    """The outcome. Nothing was stored if `refused`; nor, in a check, otherwise."""

    tallies: dict[str, Tally] = field(default_factory=dict)
    faults: list[Fault] = field(default_factory=list)
    leaning: list[Fault] = field(default_factory=list)
    counts: Counter[str] = field(default_factory=Counter)
    leaning_count: int = 0

    def tally(self, file: str) -> Tally:
        return self.tallies.setdefault(file, Tally())

    def add(self, fault: Fault) -> None:
        """Take in a fault; beyond the most that are listed it is only counted."""
        if fault.code == LEANS:
            self.leaning_count += 1
            if len(self.leaning) < LISTED_LEANING:
                self.leaning.append(fault)
            return
        self.counts[fault.file] += 1
        if len(self.faults) < LISTED:
            self.faults.append(fault)

    @property
    def refused(self) -> int:
        """How many faults there are, leaning ones not counted."""
        return self.counts.total()

    def lines(self) -> Iterator[str]:
        """The faults as lines to print, those that lean on others last."""
        yield from map(str, self.faults)
        if self.refused > len(self.faults):
            yield f"… and {self.refused - len(self.faults)} more faults."
        yield from map(str, self.leaning)
        if self.leaning_count > len(self.leaning):
            left = self.leaning_count - len(self.leaning)
            yield f"… and {left} more that only lean on refused rows."


def unstorable(error: Exception, file: str, row: int) -> Fault:
    """A row that the database itself refused: no action should let it come to that."""
    reason = str(error).splitlines()[0] if str(error) else type(error).__name__
    message = f"The database refused this row: {reason}."
    return Fault(file, row, "", "", "not_storable", message)


def shortened(text: str) -> str:
    """A value as it is quoted: one line, printable, at most 40 characters."""
    line = "".join(c if c.isprintable() else "\ufffd" for c in text)
    return line if len(line) <= _SHORT else line[: _SHORT - 1] + "…"
