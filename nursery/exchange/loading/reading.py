"""Takes one CSV file apart, as people's programs write them, and strictly.

UTF-8 with or without a byte order mark; any line ends; comma, semicolon or tab, told from the
header line alone; quoted fields with line breaks in them. Nothing else is guessed: what is cut
off, torn or not text is refused with the row it is in. Rows are numbered as a spreadsheet shows
them: the header is row 1, and a blank line counts.

A file is read line by line and never held whole.
"""

from __future__ import annotations

import csv
import re
from collections.abc import Iterator
from pathlib import Path

MAX_BYTES = 50 * 1024 * 1024
"""The largest file that is read. A larger one is refused from its size, without opening it."""

MAX_CELL = 4000
"""The longest text in one cell, in characters: as long as a note may be."""

_HEAD = 4096
_SEPARATORS = ",;\t"
_CONTROL = re.compile(r"[\x00-\x08\x0b-\x1f\x7f]")
_NOT_UTF8 = re.compile("[\udc80-\udcff]")
# What a spreadsheet would run instead of showing. A minus before a digit is a number.
_FORMULA = re.compile(r"\s*(?:[=@]|[+-][A-Za-z(=@+-])|[\t\r]")
_ARCHIVES = (b"PK\x03\x04", b"\xd0\xcf\x11\xe0")
_UTF16 = (b"\xff\xfe", b"\xfe\xff")


class Unreadable(Exception):
    """A file that cannot be read on; `code` is stable, `row` is where, or None for the whole.

    Codes: `file_too_large`, `not_text`, `not_utf8`, `file_empty`, `file_cut_off`,
    `quote_malformed`, `too_long`.
    """

    def __init__(self, code: str, message: str, row: int | None = None) -> None:
        super().__init__(message)
        self.code = code
        self.message = message
        self.row = row


def records(path: Path) -> Iterator[tuple[int, list[str]]]:
    """The rows of a file with their numbers, the header first; blank ones are left out.

    Cells are stripped of surrounding blanks and have plain line ends. A row may be longer or
    shorter than the header: that is for the caller to judge, except that a short last row without
    an end says that the file was cut off. Raises Unreadable; OSError if it cannot be opened.
    """
    size = path.stat().st_size
    if size > MAX_BYTES:
        raise Unreadable(
            "file_too_large",
            f"The file has {size / 1024**2:.0f} MB; at most {MAX_BYTES // 1024**2} MB are read. "
            "Split it into several folders and load them one after the other.",
        )
    ends_open = _look_at_bytes(path, size)
    columns = row = 0
    with path.open(encoding="utf-8-sig", errors="surrogateescape", newline="") as lines:
        separator = _separator(lines)
        lines.seek(0)
        reader = csv.reader(lines, delimiter=separator, strict=True)
        short: tuple[int, list[str]] | None = None
        while True:
            try:
                raw = next(reader, None)
            except csv.Error as error:
                raise _torn(str(error), row + 1) from error
            if raw is None:
                break
            row += 1
            cells = [_plain(cell) for cell in raw]
            if not any(cells):
                continue
            if short is not None:
                yield short
                short = None
            columns = columns or len(cells)
            if len(cells) < columns:
                # Whether it is the last one, and so cut off, is known only with the next.
                short = row, cells
            else:
                yield row, cells
    if short is not None:
        if ends_open:
            raise Unreadable(
                "file_cut_off",
                "The file ends in the middle of this row. Copy or export it again.",
                short[0],
            )
        yield short
    if not columns:
        raise Unreadable("file_empty", "The file has no header row with the names of its columns.")


def cell_fault(text: str) -> tuple[str, str] | None:
    """Why a cell's text cannot be taken whatever its column: code and sentence, or None."""
    if _NOT_UTF8.search(text):
        return (
            "not_utf8",
            "These bytes are not UTF-8 text. Save the file as “CSV UTF-8” and load it again.",
        )
    if _CONTROL.search(text):
        return "control_character", "The text holds a control character (such as NUL)."
    if len(text) > MAX_CELL:
        return "too_long", f"The text has {len(text)} characters; at most {MAX_CELL} are kept."
    if _FORMULA.match(text):
        return (
            "formula_text",
            "A text that begins like this is run as a formula by spreadsheets. "
            "Put another character in front, or leave the sign out.",
        )
    return None


def _look_at_bytes(path: Path, size: int) -> bool:
    """Refuse what is not text at all; say whether the last line has no end."""
    with path.open("rb") as file:
        head = file.read(_HEAD)
        if not head.strip():
            raise Unreadable("file_empty", "The file is empty.")
        if head.startswith(_ARCHIVES):
            raise Unreadable(
                "not_text", "This is a spreadsheet's own file. Save the sheet as “CSV UTF-8”."
            )
        if head.startswith(_UTF16):
            raise Unreadable(
                "not_utf8", "The file is written as UTF-16. Save it as “CSV UTF-8” and try again."
            )
        text = head.decode("utf-8", errors="surrogateescape").replace("\r", "")
        odd = len(_CONTROL.findall(text)) + len(_NOT_UTF8.findall(text))
        if odd * 10 > len(text):
            raise Unreadable("not_text", "The file is not text: it cannot be a CSV file.")
        file.seek(max(0, size - 1))
        return file.read(1) not in (b"\n", b"\r")


def _separator(lines: Iterator[str]) -> str:
    """The separator that cuts the header line into the most parts; a comma where none does."""
    for line in lines:
        if line.strip(_SEPARATORS + " \r\n\ufeff"):
            bare = re.sub(r'"[^"]*"', "", line)
            return max(_SEPARATORS, key=bare.count)
    return ","


def _plain(cell: str) -> str:
    """Blanks around are dropped; but a tab in front is kept, for it can start a formula."""
    text = cell.replace("\r\n", "\n").rstrip()
    bare = text.lstrip()
    front = text[: len(text) - len(bare)]
    return text if "\t" in front or "\r" in front else bare


def _torn(reason: str, row: int) -> Unreadable:
    if "unexpected end" in reason:
        return Unreadable(
            "file_cut_off",
            "A quotation mark that is opened in this row is never closed: the file was cut off, "
            "or a mark is missing.",
            row,
        )
    if "field larger" in reason:
        return Unreadable(
            "too_long",
            "A cell that begins in this row is far too long. Perhaps a quotation mark is missing.",
            row,
        )
    return Unreadable(
        "quote_malformed",
        "A quotation mark in this row is followed by text. Write it twice inside a quoted cell.",
        row,
    )
