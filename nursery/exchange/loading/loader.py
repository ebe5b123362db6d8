"""Hands what a folder holds to the actions: registers first, then events in the order of dates,
then corrections of events.

Everything happens in one transaction: all of it is stored, or nothing. A refused row is taken back
to a savepoint and the next one is tried, so that one run names every row that has to be mended.
Loading the same folder again changes nothing: a register row with the same values is left alone,
and an event is known by its uid.
"""

from __future__ import annotations

import uuid
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from django.db import DataError, IntegrityError, transaction

from nursery.core import bulk
from nursery.core.actor import Actor, require_write
from nursery.core.codes import normalise
from nursery.core.errors import Conflict, Problem, Trouble
from nursery.core.inputs import EventIn, read
from nursery.exchange.loading.blame import Blame
from nursery.exchange.loading.corrections import CorrectionLoader
from nursery.exchange.loading.files import CORRECTIONS, EVENT, EVENTS, SINCE, EventFile
from nursery.exchange.loading.gathering import BORN, PLANTED, file_name, gather, made
from nursery.exchange.loading.naming import fault_of, place_of, uid_of, values_of
from nursery.exchange.loading.registers import RegisterLoader
from nursery.exchange.loading.report import Fault, Report, unstorable
from nursery.exchange.loading.spool import Line, Spool
from nursery.lineage.actions import move_structures
from nursery.lineage.inputs import StandingIn, StructureMoveIn

Progress = Callable[[int, int], None]
"""Told how many rows are done, of how many."""

_FIRST_COUNT = 500
"""After how many rows the database counts its tables for the first time, then at each doubling."""
_STRUCTURES = "structures"
_UNSTORABLE = (IntegrityError, DataError)
_BY_STEM = {event.stem: event for event in EVENTS}


def load(
    folder: Path, actor: Actor, *, check: bool = False, progress: Progress | None = None
) -> Report:
    """Load a folder of CSV files as `actor`; with `check`, find out only what would come of it.

    What is wrong stands in the report, and then nothing was stored. Raises NotAllowed (`no_role`,
    `read_only`) before anything is read.
    """
    require_write(actor)
    report, blame = Report(), Blame()
    with Spool() as spool:
        gather(folder, spool, report, blame)
        loader = _Loader(actor, spool, report, blame, progress)
        with transaction.atomic():
            loader.load_all()
            if check or report.refused or report.leaning_count:
                transaction.set_rollback(True)
            elif any(tally.new for tally in report.tallies.values()):
                bulk.count_anew(loader.done)
    return report


class _Loader:
    """One load at work."""

    def __init__(
        self,
        actor: Actor,
        spool: Spool,
        report: Report,
        blame: Blame,
        progress: Progress | None,
    ) -> None:
        self._actor = actor
        self._spool = spool
        self._report = report
        self._blame = blame
        self._progress = progress
        self._known = spool.count()
        self.done = 0
        self._count_at = _FIRST_COUNT
        self._refused: set[tuple[str, int]] = set()
        """Register rows that were refused: what else they say is not looked at."""
        self._taken: set[tuple[str, str]] = set()
        """Events whose turn it has been, by file and key."""

    def load_all(self) -> None:
        """Everything in the spool, in order."""
        registers = RegisterLoader(self._actor, self._report, self._blame)
        for item, line in registers.of(self._spool):
            if not registers.load(item, line):
                self._refused.add((line.file, line.row))
            self._step(1)
        for line, key in self._spool.events():
            if line.file == _STRUCTURES:
                if (line.file, line.row) not in self._refused:
                    self._standing(line)
                self._step(1)
            else:
                self._event(_BY_STEM[line.file], line, key)
        corrections = CorrectionLoader(self._actor, self._spool, self._report, self._blame)
        for correction in CORRECTIONS:
            for line, key in self._spool.keyed(correction.stem):
                self._step(corrections.load(correction, line, key))

    def _step(self, rows: int) -> None:
        self.done += rows
        if self.done >= self._count_at:
            # What was planned for a record of nothing is slow for one of thousands.
            bulk.count_anew(self.done)
            self._count_at = 2 * self.done
        if self._progress is not None:
            self._progress(self.done, self._known)

    def _standing(self, line: Line) -> None:
        """Where a structure stands from a day on: the columns after its register's own."""
        code = line.cells.get("code", "").upper()
        places = {name: line.cells.get(name, "") for name in StandingIn.model_fields}
        standing = {name: cell for name, cell in places.items() if cell} | {"structure": code}
        data: dict[str, Any] = {
            "uid": uid_of("structure_standing", code),
            "structures": [standing],
        }
        if since := line.cells.get(SINCE):
            data["when"] = since
        columns = {"when": SINCE, "structure": "code"}

        def place(problem: Problem) -> tuple[Line, str]:
            return line, columns.get(problem.field, problem.field)

        self._act(StructureMoveIn, data, move_structures, line, code, place)

    def _event(self, event: EventFile, line: Line, key: str) -> None:
        details = {name: self._spool.with_key(stem, key) for name, stem in event.rows.items()}
        self._step(1 + sum(len(lines) for lines in details.values()))
        where = self._blame.incomplete(event.stem, event.rows.values(), key)
        uid = uid_of(event.kind.word, key)
        lines = [line, *(row for rows in details.values() for row in rows)]
        if where is None and not self._take(event, line, key, uid, details):
            where = f"{file_name(line.file)}, row {line.row}"
        self._taken.add((event.stem, key))
        if where is not None:
            # Where one of its rows was refused before, nothing can be said of the rest of it.
            self._blame.event(event.stem, key, str(uid), where)
            for row in lines:
                self._blame.row(where, row.cells)

    def _take(
        self,
        event: EventFile,
        line: Line,
        key: str,
        uid: uuid.UUID,
        details: Mapping[str, Sequence[Line]],
    ) -> bool:
        """Build the input of an event and act; whether it was taken."""
        data: dict[str, Any] = {"uid": uid, **values_of(event.model, line.cells)}
        for name, rows in details.items():
            if rows:
                data[name] = [values_of(event.row_model(name), row.cells) for row in rows]
            elif event.model.model_fields[name].is_required():
                message = f"No row of {file_name(event.rows[name])} names this event."
                self._report.add(
                    Fault(file_name(line.file), line.row, EVENT, key, "required", message)
                )
                return False

        def place(problem: Problem) -> tuple[Line, str]:
            return place_of(problem.path, line, details)

        return self._act(event.model, data, event.act, line, key, place)

    def _act(
        self,
        model: type[EventIn],
        data: Mapping[str, Any],
        act: Callable[[Actor, Any], Any],
        line: Line,
        key: str,
        place: Callable[[Problem], tuple[Line, str]],
    ) -> bool:
        """Read the input and act; whether it was taken. Faults go to the report."""
        try:
            given = read(model, data)
        except Trouble as trouble:
            for problem in trouble.problems:
                self._report.add(fault_of(problem, *place(problem)))
            return False
        try:
            recorded = act(self._actor, given)
        except Conflict:
            message = (
                "This event was loaded before with other values, or by somebody else. Loading "
                "does not change an event. If it is another one, give it a key of its own."
            )
            column = EVENT if line.file != _STRUCTURES else "code"
            fault = Fault(file_name(line.file), line.row, column, key, "uid_taken", message)
            self._report.add(fault)
            return False
        except Trouble as trouble:
            for problem in trouble.problems:
                at, column = place(problem)
                fault = self._too_early(fault_of(problem, at, column), line)
                named = [*at.cells.values(), str(data.get("collection", ""))]
                self._report.add(self._blame.of_problem(problem, fault, named))
                if column == "code":
                    self._blame.code(at.file, f"{file_name(at.file)}, row {at.row}")
            return False
        except _UNSTORABLE as error:
            self._report.add(unstorable(error, file_name(line.file), line.row))
            return False
        if line.file != _STRUCTURES:
            tally = self._report.tally(line.file)
            tally.new += recorded.fresh
            tally.unchanged += not recorded.fresh
        return True

    def _too_early(self, fault: Fault, line: Line) -> Fault:
        """Say which date is wrong where what is unknown comes into the record later in this load.

        Events are taken in the order of their dates. So the record cannot know yet that a ramet is
        collected next week: the file does.
        """
        names = {
            "unknown_ramet": (BORN, normalise(fault.value) or ""),
            "not_planted_here": (PLANTED, normalise(fault.value) or ""),
            "unknown_collection": ("collections", fault.value),
            "unknown_lot": ("fragmentations", fault.value),
        }
        if fault.code not in names:
            return fault
        for maker, key in self._spool.makers(made(*names[fault.code])):
            if (maker.file, key) not in self._taken:
                message = (
                    f"{fault.value} is in {file_name(maker.file)}, row {maker.row}, on "
                    f"{maker.cells.get('when', '')}; {line.cells.get('when', '')} is before that. "
                    "Check both dates."
                )
                kind = _BY_STEM[maker.file].kind.word
                return replace(fault, code=f"before_{kind}", message=message)
        return fault
