"""Tables and their pages: columns of rows, and the way from one page of rows to the next."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

from django.db.models import QuerySet
from django.http import HttpRequest, QueryDict
from django.utils.functional import Promise
from django.utils.html import strip_tags
from django.utils.safestring import SafeString
from django.utils.text import slugify
from django.utils.translation import gettext_lazy, override
from rest_framework.request import Request

from nursery.core.paging import Paging

Shown = str | SafeString | Promise | int | None

NONE = gettext_lazy("None.")


@dataclass(frozen=True, slots=True)
class Column:
    """A column of a table: what stands in it of a row, and the name that a list is ordered by."""

    heading: str | Promise
    show: Callable[[Any], Shown]
    order: str = ""
    number: bool = False
    minor: bool = False
    """Left out on a phone, where the table is compact."""

    @property
    def key(self) -> str:
        """The column's name in an address, the same in every language."""
        with override(None):
            return slugify(str(self.heading))


@dataclass(frozen=True, slots=True)
class Head:
    """A column's head: perhaps a link that orders the list by it, and how it is ordered now."""

    heading: str | Promise
    number: bool
    href: str = ""
    sorted: str = ""
    minor: bool = False


@dataclass(frozen=True, slots=True)
class Table:
    """Rows as they are shown: cells come with their column, for screens that stack them."""

    caption: str | Promise
    heads: Sequence[Head]
    rows: Sequence[Sequence[tuple[Head, Shown]]]
    empty: str | Promise = ""
    compact: bool = False
    """Stays a table on a phone, without its minor columns; others stack their cells."""
    keys: Sequence[str] = ()
    """What each row is called where rows can be picked."""

    @property
    def lines(self) -> list[tuple[str, str, Sequence[tuple[Head, Shown]]]]:
        """The rows, each with what it is called in an address and by people."""
        if not self.keys:
            return [("", "", row) for row in self.rows]
        return [
            (key, strip_tags(str(row[0][1])), row)
            for key, row in zip(self.keys, self.rows, strict=True)
        ]


@dataclass(frozen=True, slots=True)
class Sheet:
    """One page of rows: which of how many they are, and where the pages before and after are."""

    rows: Sequence[Any]
    count: int
    first: int
    last: int
    previous: str
    following: str


def cells(
    columns: Sequence[Column], heads: Sequence[Head], rows: Sequence[Any]
) -> list[list[tuple[Head, Shown]]]:
    """What stands in each row, with the head above it."""
    return [
        [(head, column.show(row)) for head, column in zip(heads, columns, strict=True)]
        for row in rows
    ]


def table(
    columns: Sequence[Column],
    rows: Sequence[Any],
    caption: str | Promise,
    empty: str | Promise = NONE,
    *,
    compact: bool = False,
) -> Table:
    """A table that is not ordered by its heads."""
    heads = [Head(column.heading, column.number, minor=column.minor) for column in columns]
    return Table(caption, heads, cells(columns, heads, rows), empty, compact)


def sheet(request: HttpRequest, queryset: QuerySet[Any], paging: Paging | None = None) -> Sheet:
    """The rows that `limit` and `offset` of the address ask for; refuses bad numbers."""
    paging = paging or Paging()
    rows = paging.paginate_queryset(queryset, Request(request)) or []
    limit, offset, count = paging.limit or 0, paging.offset or 0, paging.count or 0
    return Sheet(
        rows=rows,
        count=count,
        first=offset + 1,
        last=offset + len(rows),
        previous=_at(request, offset - limit) if offset else "",
        following=_at(request, offset + limit) if offset + limit < count else "",
    )


def _at(request: HttpRequest, offset: int) -> str:
    query = request.GET.copy()
    query.pop("offset", None)
    if offset > 0:
        query["offset"] = str(offset)
    return address(request.path, query)


def address(path: str, query: QueryDict) -> str:
    """A path of this site with its parameters."""
    text = query.urlencode()
    return f"{path}?{text}" if text else path


def without_empty(query: QueryDict) -> QueryDict | None:
    """The parameters without the empty ones, or None where none is empty."""
    empty = [name for name, values in query.lists() if not any(value.strip() for value in values)]
    if not empty:
        return None
    filled = query.copy()
    for name in empty:
        del filled[name]
    return filled
