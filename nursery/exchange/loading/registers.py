"""Register rows: entered where the code is new, edited where a value differs, else left alone."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from typing import Any

from django.db import DataError, IntegrityError

from nursery.core.actor import Actor
from nursery.core.errors import Problem, Refused, Trouble
from nursery.core.models import Register
from nursery.core.registers import editable_fields, parse
from nursery.donors.actions import POSITION
from nursery.donors.models import DonorColony
from nursery.donors.positions import of_colonies, read_point
from nursery.exchange.loading.blame import Blame
from nursery.exchange.loading.files import REGISTERS, RegisterFile
from nursery.exchange.loading.report import Fault, Report, unstorable
from nursery.exchange.loading.spool import Line, Spool
from nursery.places.models import Nursery

_STEP = 1e-7
"""Positions are kept to seven decimals, about a centimetre."""


class RegisterLoader:
    """Enters and edits register rows, one by one."""

    def __init__(self, actor: Actor, report: Report, blame: Blame) -> None:
        self._actor = actor
        self._report = report
        self._blame = blame
        self._seen: dict[str, set[str]] = {}

    def of(self, spool: Spool) -> Iterator[tuple[RegisterFile, Line]]:
        """The rows of all register files, in an order in which nothing names what comes later."""
        for item in REGISTERS:
            for line in spool.rows(item.stem):
                yield item, line

    def load(self, item: RegisterFile, line: Line) -> bool:
        """Enter or edit one row; whether it was taken. A refusal goes to the report."""
        file = f"{line.file}.csv"
        code = line.cells.get("code", "").upper()
        seen = self._seen.setdefault(item.stem, set())
        if code and code in seen:
            message = "Another row of this file has the same code."
            self._report.add(Fault(file, line.row, "code", code, "code_twice", message))
            return False
        seen.add(code)
        tally = self._report.tally(line.file)
        try:
            given = _given(item, line)
            row = item.model._default_manager.filter(code=code).first() if code else None
            if row is None:
                item.enter(self._actor, given, None)
                tally.new += 1
            elif changed := self._changed(item, row, given):
                item.enter(self._actor, changed, row)
                tally.edited += 1
            else:
                tally.unchanged += 1
            return True
        except Trouble as trouble:
            for problem in trouble.problems:
                column = problem.field
                fault = Fault(
                    file,
                    line.row,
                    column,
                    line.cells.get(column, ""),
                    problem.code,
                    problem.message,
                )
                if problem.code.startswith("unknown_"):
                    fault = self._blame.of_problem(problem, fault, [line.cells.get(column, "")])
                self._report.add(fault)
                if column == "code":
                    self._blame.code(item.stem, f"{file}, row {line.row}")
        except (IntegrityError, DataError) as error:
            self._report.add(unstorable(error, file, line.row))
        self._blame.row(f"{file}, row {line.row}", line.cells)
        return False

    def _changed(
        self, item: RegisterFile, row: Register, given: Mapping[str, Any]
    ) -> dict[str, Any]:
        """The given values that differ from what is kept."""
        fields = {name: raw for name, raw in given.items() if name not in item.besides}
        if isinstance(row, DonorColony) and not fields.get("genet"):
            # An empty cell does not take a colony's genet away: it was given one of its own.
            fields.pop("genet", None)
        parsed = parse(item.model, fields)
        changed = {
            name: given[name] for name, value in parsed.items() if _differs(row, name, value)
        }
        if isinstance(row, Nursery):
            series = str(given.get("series", "")).upper()
            if series and (row.series is None or row.series.prefix != series):
                changed["series"] = series
        if isinstance(row, DonorColony) and self._moved(row, given):
            changed |= {name: given[name] for name in POSITION if name in given}
        return changed

    def _moved(self, colony: DonorColony, given: Mapping[str, Any]) -> bool:
        """Whether a position is given that is not the one kept."""
        latitude, longitude = str(given.get("latitude", "")), str(given.get("longitude", ""))
        if not (latitude and longitude):
            # Half a position is refused when it is entered.
            return bool(latitude or longitude)
        kept = of_colonies(self._actor, [colony]).get(colony.pk)
        point = read_point(latitude, longitude, colony.reef)
        if kept is None or not kept.exact:
            return True
        uncertainty = str(given.get("uncertainty_m", ""))
        return (
            abs(float(kept.latitude) - point.latitude) > _STEP
            or abs(float(kept.longitude) - point.longitude) > _STEP
            or uncertainty != str(kept.uncertainty_m or "")
        )


def _given(item: RegisterFile, line: Line) -> dict[str, Any]:
    """The row's cells for the register, without those that say where a structure stands."""
    fields = editable_fields(item.model)
    given: dict[str, Any] = {
        name: cell for name, cell in line.cells.items() if name not in item.standing
    }
    for name in given:
        if name in fields and fields[name].get_internal_type() == "JSONField":
            given[name] = _json(name, given[name])
    return given


def _json(name: str, text: str) -> Any:
    if not text.startswith(("{", "[")):
        # A plain text is the model's own to read: `A1 K1` for blocked cells.
        return text
    try:
        return json.loads(text)
    except ValueError as error:
        raise Refused(Problem("malformed", f"This is no JSON: {error}.", (name,))) from error


def _differs(row: Register, name: str, value: Any) -> bool:
    field = editable_fields(type(row))[name]
    kept = getattr(row, name)
    if field.many_to_many:
        return {item.pk for item in value} != set(kept.values_list("pk", flat=True))
    if field.is_relation:
        return (kept.pk if kept else None) != (value.pk if value else None)
    return bool(kept != value)
