"""Lists of registers, events and ramets: filters, ordering and pages, as strict as the API's.

A list names its columns and a filter set; what the address may hold follows from these. An unknown
parameter is refused. Empty ones, which a form sends for every field left alone, are dropped first.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import cached_property
from typing import Any, ClassVar, cast

from django import forms
from django.db.models import Model, QuerySet
from django.http import (
    HttpRequest,
    HttpResponse,
    HttpResponseRedirect,
    QueryDict,
    StreamingHttpResponse,
)
from django.urls import reverse
from django.utils.text import slugify
from rest_framework.request import Request

from nursery.access.queries import kept_lists
from nursery.core.errors import Problem
from nursery.core.filters import (
    ORDERING,
    FilterSet,
    StrictFilterBackend,
    StrictOrdering,
    WordyFlagField,
    register_filters,
)
from nursery.core.paging import Paging
from nursery.core.phrases import counted, listed
from nursery.core.problems import ParameterRefused
from nursery.core.views.base import Link, Page
from nursery.core.views.exporting import as_csv
from nursery.core.views.tables import Column, Head, Table, address, cells, sheet, without_empty
from nursery.donors.models import Taxon
from nursery.places.models import Nursery, Reef, Site

COLUMNS, FORMAT = "columns", "format"

SHORT_REGISTERS: tuple[type[Model], ...] = (Nursery, Reef, Site, Taxon)
"""Registers of so few rows that a filter offers them all to choose from."""


class Listing(Page):
    """A page that lists rows of `model`; parts that differ are class attributes."""

    template_name = "core/list.html"
    model: ClassVar[type[Model]]
    filterset_class: ClassVar[type[FilterSet]]
    columns: ClassVar[Sequence[Column]]
    ordering_fields: ClassVar[Mapping[str, str]] = {}
    default_ordering: ClassVar[Sequence[str]] = ("code",)
    title: ClassVar[str] = ""
    names: ClassVar[str] = ""
    """Singular and plural of what is listed: `genet,genets`."""
    empty: ClassVar[str] = ""
    """What belongs here, and who enters it, where there is nothing yet."""
    kin: ClassVar[Sequence[tuple[str, str]]] = ()
    """Lists of the same place: words and the name of the address."""

    parameters: ClassVar[frozenset[str]] = frozenset({COLUMNS, FORMAT})
    """What an address may say besides the filters: which columns, and as which kind of file."""

    happened: ClassVar[str] = ""
    """The path to whether a row's event is live. Void ones are left out unless asked for."""

    def __init_subclass__(cls, **options: Any) -> None:
        super().__init_subclass__(**options)
        if "model" in cls.__dict__ and "filterset_class" not in cls.__dict__:
            cls.filterset_class = register_filters(cls.model)
        if "model" in cls.__dict__ and _is_of_an_event(cls.model):
            cls.happened = "event__live"

    def get_queryset(self) -> QuerySet[Any]:
        """All rows with what the columns show, in a number of queries that does not grow."""
        return self.model._default_manager.all()

    def complete(self, rows: Sequence[Any]) -> None:
        """Put on the rows of one page what is counted for them together."""

    def get(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        filled = without_empty(_one_value(request.GET))
        if filled is None and len(request.GET.getlist(COLUMNS)) > 1:
            filled = _one_value(request.GET)
        if filled is not None:
            return HttpResponseRedirect(address(request.path, filled))
        if request.GET.get(FORMAT) is not None:
            # It streams; whoever answers treats it like any other.
            return cast("HttpResponse", self._file())
        return super().get(request, *args, **kwargs)

    def _file(self) -> StreamingHttpResponse:
        """All that fits, as a file of the columns that are shown."""
        if self.request.GET[FORMAT] != "csv":
            message = "The only kind of file is csv."
            raise ParameterRefused(Problem("unknown_format", message, (FORMAT,)))
        name = slugify(self.title) or "list"
        return as_csv(name, self._shown_columns(), self._asked_for(), self.complete)

    def _shown_columns(self) -> list[Column]:
        """The columns that the address names, in the list's own order; all where it names none.

        The first, which leads to the row, is always there.
        """
        text = self.request.GET.get(COLUMNS)
        if text is None:
            return list(self.columns)
        wanted = {part.strip() for part in text.split(",")}
        unknown = wanted - {column.key for column in self.columns}
        if unknown:
            known = ", ".join(column.key for column in self.columns)
            message = f"There is no column {sorted(unknown)[0][:60]!r}. Known here: {known}."
            raise ParameterRefused(Problem("unknown_column", message, (COLUMNS,)))
        return [c for n, c in enumerate(self.columns) if n == 0 or c.key in wanted]

    def _asked_for(self) -> QuerySet[Any]:
        """The rows that the address asks for, in its order."""
        # The API's filters know their view only by the attributes that this one has too.
        view: Any = self
        asked = Request(self.request)
        rows = self.get_queryset()
        if self.happened and LIVE not in self.request.GET:
            rows = rows.filter(**{self.happened: True})
        queryset = StrictFilterBackend().filter_queryset(asked, rows, view)
        found: QuerySet[Any] = StrictOrdering().filter_queryset(asked, queryset, view)
        return found

    @cached_property
    def paginator(self) -> Paging:
        """Tells the filters that `limit` and `offset` are known here."""
        return Paging()

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        columns = self._shown_columns()
        found = sheet(self.request, self._asked_for(), self.paginator)
        self.complete(found.rows)
        nothing: Any = self.model._default_manager.none()
        view: Any = self
        form = StrictFilterBackend().get_filterset(Request(self.request), nothing, view).form
        form = friendly(form)
        if self.happened:
            form.fields[LIVE].widget = forms.Select(choices=_HAPPENED)
        wanted = [
            f"{str(form.fields[name].label).removesuffix(CODE_HINT).lower()} {value}"
            for name, value in self.request.GET.items()
            if name in form.fields
        ]
        heads = [self._head(column) for column in columns]
        return super().get_context_data(
            title=self.title,
            filters=form,
            says=f"{counted(found.count, self.names)} {_with(wanted)}.",
            wanted=wanted,
            ordering=self.request.GET.get(ORDERING, ""),
            sheet=found,
            table=Table(self.title, heads, cells(columns, heads, found.rows)),
            kin=self._kin(),
            empty=self.empty,
            choices=[(c, c in columns) for c in self.columns],
            columns_asked=self.request.GET.get(COLUMNS, ""),
            others=[
                (name, value)
                for name, value in self.request.GET.items()
                if name not in (COLUMNS, "offset")
            ],
            file_href=self._with(**{FORMAT: "csv", "offset": None, "limit": None}),
            kept=kept_lists(self.actor, self.request.path),
            query=self._query(),
            **kwargs,
        )

    def _with(self, **values: str | None) -> str:
        """This address with other values of some parameters; None leaves one out."""
        query = self.request.GET.copy()
        for name, value in values.items():
            query.pop(name, None)
            if value is not None:
                query[name] = value
        return address(self.request.path, query)

    def _query(self) -> str:
        """What of the address is worth keeping: all but the page."""
        query = self.request.GET.copy()
        query.pop("offset", None)
        return query.urlencode()

    def _head(self, column: Column) -> Head:
        if not column.order:
            return Head(column.heading, column.number)
        now = self.request.GET.get(ORDERING, "")
        up, down = column.order, f"-{column.order}"
        query = self.request.GET.copy()
        query.pop("offset", None)
        query[ORDERING] = down if now == up else up
        state = {up: "ascending", down: "descending"}.get(now, "")
        return Head(column.heading, column.number, address(self.request.path, query), state)

    def _kin(self) -> list[Link]:
        return kin_links(self.kin, self.request.path)


def _is_of_an_event(model: type[Model]) -> bool:
    """Whether rows of a model are the particulars of an event, and so may be void."""
    return any(field.name == "event" and field.primary_key for field in model._meta.fields)


def _with(wanted: Sequence[str]) -> str:
    """What a list was narrowed to, in words."""
    return f"with {listed(wanted)}" if wanted else "in the record"


def kin_links(kin: Sequence[tuple[str, str]], path: str) -> list[Link]:
    """The lists of one place as links, the one at `path` marked."""
    hrefs = [(words, reverse(name)) for words, name in kin]
    return [Link(words, href, href == path) for words, href in hrefs]


def _one_value(query: QueryDict) -> QueryDict:
    """The boxes that were ticked for columns as one value."""
    ticked = query.getlist(COLUMNS)
    if len(ticked) < 2:
        return query
    one = query.copy()
    one[COLUMNS] = ",".join(ticked)
    return one


CODE_HINT = " (code)"
LIVE = "live"
_HAPPENED = [("", "yes"), ("false", "no: void ones")]
_YES_OR_NO = [("", "either"), ("true", "yes"), ("false", "no")]
_LABELS = {
    "done_by": "Hands",
    "generation__gte": "Generation from",
    "generation__lte": "Generation to",
    "live": "Happened",
    "open": "Still open",
    "recorded_by": "Entered by",
}
_WHEN = "2024, 2024-03, 2024-03-04, or two of them with a slash between"
_HINTS = {"born": _WHEN, "when": _WHEN}


def friendly(form: forms.Form) -> forms.Form:
    """The filters' form with labels in words, and with choices where there are few."""
    form.label_suffix = ""
    for name, field in form.fields.items():
        field.label = _LABELS.get(name) or name.replace("_", " ").capitalize()
        field.help_text = _HINTS.get(name, "")
        model = getattr(field, "model", None)
        if isinstance(field, WordyFlagField):
            field.widget = forms.Select(choices=_YES_OR_NO)
        elif model in SHORT_REGISTERS:
            rows = model._default_manager.order_by("code")
            field.widget = forms.Select(
                choices=[("", "any"), *((row.code, str(row)) for row in rows)]
            )
        elif isinstance(field, forms.ChoiceField):
            offered: Any = field.choices
            flat = [(value, text) for value, text in offered if value]
            field.widget = forms.Select(choices=[("", "any"), *flat])
        else:
            field.widget.attrs.setdefault("autocomplete", "off")
        if model is not None and model not in SHORT_REGISTERS:
            field.label += CODE_HINT
    return form
