"""Lists as CSV: what is shown, row by row, in memory that does not grow (RFC 4180)."""

from __future__ import annotations

import csv
import html
import re
from collections.abc import Callable, Iterator, Sequence
from itertools import chain, islice
from typing import Any

from django.db.models import QuerySet
from django.http import StreamingHttpResponse
from django.utils import timezone
from django.utils.safestring import SafeString

from nursery.core.views.tables import Column, Shown

CHUNK = 1000
"""How many rows are read at once."""

_TIME = re.compile(r'<time datetime="([^"]*)">.*?</time>', re.DOTALL)
_MARK = re.compile(r'<span class="mark">.*?</svg>(?:<span class="mark-label">[^<]*</span>)?</span>')
_TAG = re.compile(r"<[^>]*>")
_BLANKS = re.compile(r"\s+")
_RISKY = ("=", "+", "-", "@", "\t", "\r")
_NUMBER = re.compile(r"-?(?:\d+|\d{1,3}(?:,\d{3})+)(?:\.\d+)?")
"""With or without thousands apart."""
_BOM = "\ufeff"


def text_of(value: Shown) -> str:
    """What stands in a cell as plain text: dates as programs write them, marks left out.

    A text that a spreadsheet would take for a formula begins with an apostrophe.
    """
    if value is None:
        return ""
    text = str(value)
    if isinstance(value, SafeString):
        text = html.unescape(_TAG.sub("", _MARK.sub("", _TIME.sub(r"\1", text))))
    text = _BLANKS.sub(" ", text).strip()
    if _NUMBER.fullmatch(text):
        return text.replace(",", "")
    return f"'{text}" if text.startswith(_RISKY) else text


class _Echo:
    """What the writer writes, handed back at once."""

    def write(self, line: str) -> str:
        return line


def as_csv(
    name: str,
    columns: Sequence[Column],
    rows: QuerySet[Any],
    complete: Callable[[Sequence[Any]], None],
    marked: bool = False,
) -> StreamingHttpResponse:
    """All rows with these columns as a file; `complete` counts for a chunk what the list counts for
    a page. `marked`: it begins with a byte order mark, by which some spreadsheets know UTF-8."""
    return _answer(name, _lines(columns, rows.iterator(chunk_size=CHUNK), complete), marked)


def rows_as_csv(
    name: str, columns: Sequence[Column], rows: Sequence[Any], marked: bool = False
) -> StreamingHttpResponse:
    """The same of rows that are at hand."""
    return _answer(name, _lines(columns, iter(rows), lambda chunk: None), marked)


def _answer(name: str, lines: Iterator[str], marked: bool) -> StreamingHttpResponse:
    answer = StreamingHttpResponse(
        chain([_BOM], lines) if marked else lines, content_type="text/csv; charset=utf-8"
    )
    today = timezone.localdate()
    answer["Content-Disposition"] = f'attachment; filename="{name}-{today}.csv"'
    return answer


def _lines(
    columns: Sequence[Column], found: Iterator[Any], complete: Callable[[Sequence[Any]], None]
) -> Iterator[str]:
    writer = csv.writer(_Echo())
    yield writer.writerow([str(column.heading) for column in columns])
    while chunk := list(islice(found, CHUNK)):
        complete(chunk)
        for row in chunk:
            yield writer.writerow([text_of(column.show(row)) for column in columns])
