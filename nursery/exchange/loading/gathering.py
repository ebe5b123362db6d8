"""From a folder to lines in a spool: every fault that can be seen without the record is found here.

Names, sizes and columns of files; rows that are too short or too long; texts that cannot be kept.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from nursery.core.codes import normalise
from nursery.core.dates import DateError, When, is_future, latest_today, parse_when
from nursery.exchange.loading.blame import Blame
from nursery.exchange.loading.files import (
    CORRECTIONS,
    EVENT,
    EVENTS,
    REGISTERS,
    SINCE,
    STEMS,
    HeadedFile,
)
from nursery.exchange.loading.reading import Unreadable, cell_fault, records
from nursery.exchange.loading.report import Fault, Report
from nursery.exchange.loading.spool import Line, Spool

SUFFIX = ".csv"
BORN = "born"
PLANTED = "outplants"
_STANDING_RANK = 0


@dataclass(frozen=True, slots=True)
class _Shape:
    """What a file's header must and may hold."""

    columns: Sequence[str]
    required: Sequence[str]


def made(kind: str, name: str) -> str:
    """What an event makes: itself, a ramet born, an outplant."""
    return f"{kind} {name}"


def file_name(stem: str) -> str:
    return f"{stem}{SUFFIX}"


def gather(folder: Path, spool: Spool, report: Report, blame: Blame) -> None:
    """Read all files of a folder into the spool; faults go to the report."""
    if not folder.is_dir():
        report.add(Fault(str(folder), None, "", "", "no_folder", "There is no such folder."))
        return
    found = _known_files(folder, report)
    if not found:
        message = f"None of the files is here that can be loaded: {_known()}."
        report.add(Fault(str(folder), None, "", "", "no_known_file", message))
        return
    for item in REGISTERS:
        if item.stem not in found:
            continue
        shape = _Shape(item.columns, item.required)
        for line in _lines(found[item.stem], item.stem, shape, report, blame):
            spool.add(line)
            if any(line.cells.get(name) for name in item.standing):
                key = f"standing of {line.cells.get('code', '')}"
                spool.add_event(line, key, _when(line.cells.get(SINCE, "")), _STANDING_RANK)
    for rank, event in enumerate(EVENTS, start=_STANDING_RANK + 1):
        for line, key in _heads(event, found, report, blame):
            spool.add_event(line, key, _when(line.cells.get("when", "")), rank)
            spool.add_made(made(event.stem, key), event.stem, key)
        _details(event, found, spool, report, blame)
    for correction in CORRECTIONS:
        for line, key in _heads(correction, found, report, blame):
            spool.add(line, key)
        _details(correction, found, spool, report, blame)


def _heads(
    item: HeadedFile, found: Mapping[str, Path], report: Report, blame: Blame
) -> Iterator[tuple[Line, str]]:
    """The sound rows of a file that names one event a row, with their keys."""
    if item.stem not in found:
        return
    shape = _Shape(item.columns, item.required)
    seen: set[str] = set()
    for line in _lines(found[item.stem], item.stem, shape, report, blame):
        key = line.cells.get(EVENT, "")
        if not _refused_key(key, seen, line, report):
            seen.add(key)
            yield line, key


def _details(
    item: HeadedFile, found: Mapping[str, Path], spool: Spool, report: Report, blame: Blame
) -> None:
    """The rows of what a file's rows name, from the files beside it."""
    for name, stem in item.rows.items():
        if stem not in found:
            continue
        shape = _Shape(item.row_columns(name), item.row_required(name))
        if item.stem not in found:
            message = f"Its rows belong to events in {file_name(item.stem)}, which is missing."
            report.add(Fault(file_name(stem), None, "", "", "missing_file", message))
            continue
        for line in _lines(found[stem], stem, shape, report, blame):
            key = line.cells.get(EVENT, "")
            spool.add(line, key)
            if code := normalise(line.cells.get("code", "")):
                spool.add_made(made(BORN, code), item.stem, key)
            if stem == PLANTED and (code := normalise(line.cells.get("ramet", ""))):
                spool.add_made(made(PLANTED, code), item.stem, key)
        _strays(item.stem, stem, spool, report, blame)


def _known_files(folder: Path, report: Report) -> dict[str, Path]:
    """The files that can be loaded, by stem. Hidden files and notes (`.md`) are left alone."""
    found: dict[str, Path] = {}
    for path in sorted(folder.iterdir()):
        name = path.name
        if name.startswith((".", "~")) or path.is_dir() or path.suffix.lower() == ".md":
            continue
        stem = name.removesuffix(SUFFIX)
        if name.endswith(SUFFIX) and stem in STEMS and path.is_file():
            found[stem] = path
        else:
            message = f"No file of this name is loaded. The names are: {_known()}."
            report.add(Fault(name, None, "", "", "unknown_file", message))
    return found


def _known() -> str:
    return ", ".join(file_name(stem) for stem in sorted(STEMS))


def _lines(path: Path, stem: str, shape: _Shape, report: Report, blame: Blame) -> Iterator[Line]:
    """The sound rows of a file; the others are reported, and blamed for what leans on them."""
    file = file_name(stem)
    header: list[str] | None = None
    try:
        for row, cells in records(path):
            if header is None:
                header = _header(cells)
                if _refused_header(file, row, header, shape, report):
                    blame.whole_file(stem)
                    return
                continue
            line = _line(stem, row, header, cells, report)
            if line is not None:
                yield line
            else:
                blame.unread(stem, row, dict(zip(header, cells, strict=False)))
    except Unreadable as error:
        blame.whole_file(stem)
        report.add(Fault(file, error.row, "", "", error.code, error.message))
    except OSError as error:
        blame.whole_file(stem)
        message = f"The file cannot be read: {error.strerror}."
        report.add(Fault(file, None, "", "", "file_unreadable", message))


def _header(cells: Sequence[str]) -> list[str]:
    names = [cell.lower().replace(" ", "_") for cell in cells]
    while names and not names[-1]:
        names.pop()
    return names


def _refused_header(
    file: str, row: int, header: Sequence[str], shape: _Shape, report: Report
) -> bool:
    faults: list[tuple[str, str, str]] = []
    for place, name in enumerate(header):
        if not name:
            faults.append(("column_unnamed", "", f"Column {place + 1} has no name."))
        elif name not in shape.columns:
            message = f"There is no such column here. The columns are: {', '.join(shape.columns)}."
            faults.append(("unknown_column", name, message))
        elif name in header[:place]:
            faults.append(("column_twice", name, "This column is there twice."))
    faults += [
        ("missing_column", name, f"The column {name} is needed and missing.")
        for name in shape.required
        if name not in header
    ]
    for code, name, message in faults:
        report.add(Fault(file, row, name, "", code, message))
    return bool(faults)


def _line(
    stem: str, row: int, header: Sequence[str], cells: Sequence[str], report: Report
) -> Line | None:
    file = file_name(stem)
    if len(cells) < len(header) or any(cells[len(header) :]):
        message = (
            f"This row has {len(cells)} cells, and there are {len(header)} columns. Perhaps a line "
            "was broken in two, or a separator stands in a text that is not quoted."
        )
        report.add(Fault(file, row, "", "", "ragged_row", message))
        return None
    sound = True
    for name, cell in zip(header, cells, strict=False):
        if fault := cell_fault(cell):
            report.add(Fault(file, row, name, cell, *fault))
            sound = False
    if not sound:
        return None
    return Line(stem, row, dict(zip(header, cells, strict=False)))


def _refused_key(key: str, seen: set[str], line: Line, report: Report) -> bool:
    file = file_name(line.file)
    if not key:
        message = "Give each event a short text of its own, by which its rows can name it."
        report.add(Fault(file, line.row, EVENT, "", "required", message))
        return True
    if key in seen:
        message = "Another row of this file has the same event."
        report.add(Fault(file, line.row, EVENT, key, "event_twice", message))
        return True
    return False


def _strays(heads: str, details: str, spool: Spool, report: Report, blame: Blame) -> None:
    """Rows that name no event, or one that was refused."""
    for line in spool.without_event(details, heads):
        key = line.cells.get(EVENT, "")
        message = f"There is no event {key!r} in {file_name(heads)}."
        fault = Fault(file_name(details), line.row, EVENT, key, "unknown_event", message)
        report.add(blame.of_missing_event(heads, key, fault))
        blame.row(f"{file_name(details)}, row {line.row}", line.cells)


def _when(text: str) -> When | None:
    """A date, to put events in order; None if it cannot be, which its event is refused for."""
    try:
        when = parse_when(text)
    except DateError:
        return None
    return None if is_future(when, latest_today()) else when
