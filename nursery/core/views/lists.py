"""Lists of registers, events and ramets: filters, ordering and pages, as strict as the API's.

A list names its columns and a filter set; what the address may hold follows from these. An unknown
parameter is refused. Empty ones, which a form sends for every field left alone, are dropped first.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import cached_property
from typing import TYPE_CHECKING, Any, ClassVar, cast

from django import forms
from django.db.models import Model, QuerySet
from django.http import (
    HttpRequest,
    HttpResponse,
    HttpResponseRedirect,
    QueryDict,
)
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone
from django.utils.functional import Promise
from django.utils.text import slugify
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _lazy
from django.utils.translation import override
from rest_framework.request import Request

from nursery.access.queries import kept_lists
from nursery.core.errors import Problem
from nursery.core.field_names import titled
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
from nursery.core.views.base import Link
from nursery.core.views.exporting import as_csv
from nursery.core.views.picking import ACT, FILE, FORMAT, ONLY, PICK, PRINT, Picking
from nursery.core.views.tables import (
    Column,
    Head,
    Table,
    address,
    cells,
    sheet,
    table,
    without_empty,
)
from nursery.donors.models import Taxon
from nursery.places.models import Nursery, Reef, Site

if TYPE_CHECKING:
    from django.utils.functional import _StrPromise

COLUMNS = "columns"
FILE_MARKED = "csv-bom"
"""A file that begins with the mark by which some spreadsheets know UTF-8."""
MOST_PRINTED = 2000

SHORT_REGISTERS: tuple[type[Model], ...] = (Nursery, Reef, Site, Taxon)
"""Registers of so few rows that a filter offers them all to choose from."""


class Listing(Picking):
    """A page that lists rows of `model`; parts that differ are class attributes."""

    template_name = "core/list.html"
    model: ClassVar[type[Model]]
    filterset_class: ClassVar[type[FilterSet]]
    columns: ClassVar[Sequence[Column]]
    ordering_fields: ClassVar[Mapping[str, str]] = {}
    default_ordering: ClassVar[Sequence[str]] = ("code",)
    title: ClassVar[str | Promise] = ""
    names: ClassVar[_StrPromise]
    """What is listed, as an `ngettext_lazy` of one and of several."""
    empty: ClassVar[str | Promise] = ""
    """What belongs here, and who enters it, where there is nothing yet."""
    kin: ClassVar[Sequence[tuple[str, str]]] = ()
    """Lists of the same place: words and the name of the address."""

    parameters: ClassVar[frozenset[str]] = Picking.PARAMETERS | {COLUMNS, FORMAT}
    """What an address may say besides the filters: which columns, which rows, and in which form."""

    happened: ClassVar[str] = ""
    """The path to whether a row's event is live. Void ones are left out unless asked for."""

    def __init_subclass__(cls, **options: Any) -> None:
        super().__init_subclass__(**options)
        if "model" in cls.__dict__ and "filterset_class" not in cls.__dict__:
            cls.filterset_class = register_filters(cls.model)
        if "model" in cls.__dict__ and _is_of_an_event(cls.model):
            cls.happened, cls.key = "event__live", "event__uid"

    def get_queryset(self) -> QuerySet[Any]:
        """All rows with what the columns show, in a number of queries that does not grow."""
        return self.model._default_manager.all()

    def complete(self, rows: Sequence[Any]) -> None:
        """Put on the rows of one page what is counted for them together."""

    def get(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        filled = without_empty(_one_value(request.GET))
        if filled is None and _one_value(request.GET) is not request.GET:
            filled = _one_value(request.GET)
        if filled is not None:
            return HttpResponseRedirect(address(request.path, filled))
        if ACT in request.GET:
            return self.act()
        form = request.GET.get(FORMAT)
        if form is None:
            return super().get(request, *args, **kwargs)
        if form in (FILE, FILE_MARKED):
            with override(None):
                name = slugify(str(self.title)) or "list"
            file = as_csv(
                name, self._shown_columns(), self.asked_for(), self.complete, form == FILE_MARKED
            )
            # It streams; whoever answers treats it like any other.
            return cast("HttpResponse", file)
        if form == PRINT:
            return self._paper()
        known = {"one": FILE, "marked": FILE_MARKED, "last": PRINT}
        message = _("The forms are %(one)s, %(marked)s and %(last)s.") % known
        raise ParameterRefused(Problem("unknown_format", message, (FORMAT,)))

    def _paper(self) -> HttpResponse:
        """All that fits on one page, to be printed; raises ParameterRefused (`too_many_rows`)."""
        columns = self._shown_columns()
        rows = list(self.asked_for()[: MOST_PRINTED + 1])
        if len(rows) > MOST_PRINTED:
            text = _("More than %(most)d rows are too many for paper: take them as CSV.")
            message = text % {"most": MOST_PRINTED}
            raise ParameterRefused(Problem("too_many_rows", message, (FORMAT,)))
        self.complete(rows)
        context = {
            "place": self.place,
            "title": self.title,
            "says": self._says(len(rows)),
            "table": table(columns, rows, self.title),
            "back": self._with(**{FORMAT: None}),
            "file_href": self._with(**{FORMAT: FILE}),
            "today": timezone.localtime(),
        }
        return render(self.request, "core/list_paper.html", context)

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
            told = {"name": repr(sorted(unknown)[0][:60]), "known": known}
            message = _("There is no column %(name)s. Known here: %(known)s.") % told
            raise ParameterRefused(Problem("unknown_column", message, (COLUMNS,)))
        return [c for n, c in enumerate(self.columns) if n == 0 or c.key in wanted]

    def asked_for(self) -> QuerySet[Any]:
        """The rows that the address asks for, in its order."""
        # The API's filters know their view only by the attributes that this one has too.
        view: Any = self
        asked = Request(self.request)
        rows = self.only(self.get_queryset())
        if self.happened and LIVE not in self.request.GET:
            rows = rows.filter(**{self.happened: True})
        queryset = StrictFilterBackend().filter_queryset(asked, rows, view)
        found: QuerySet[Any] = StrictOrdering().filter_queryset(asked, queryset, view)
        return found

    @cached_property
    def paginator(self) -> Paging:
        """Tells the filters that `limit` and `offset` are known here."""
        return Paging()

    @cached_property
    def narrowing(self) -> forms.Form:
        """The filters as a form that holds what the address asks for."""
        nothing: Any = self.model._default_manager.none()
        view: Any = self
        form = StrictFilterBackend().get_filterset(Request(self.request), nothing, view).form
        form = friendly(form)
        if self.happened:
            form.fields[LIVE].widget = forms.Select(choices=_HAPPENED)
        return form

    @cached_property
    def wanted(self) -> list[str]:
        """What the list is narrowed to, in words."""
        fields = self.narrowing.fields
        return [
            f"{label_of(name).lower()} {value}"
            for name, value in self.request.GET.items()
            if name in fields
        ]

    def _says(self, count: int) -> str:
        rows = counted(count, self.names)
        if ONLY in self.request.GET:
            picked = _("%(rows)s, picked one by one") % {"rows": rows}
            return f"{picked} {_with(self.wanted)}." if self.wanted else f"{picked}."
        return f"{rows} {_with(self.wanted)}."

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        columns = self._shown_columns()
        found = sheet(self.request, self.asked_for(), self.paginator)
        self.complete(found.rows)
        heads = [self._head(column) for column in columns]
        keys = [self.key_of(row) for row in found.rows]
        asked = list(self.request.GET.items())
        return super().get_context_data(
            title=self.title,
            filters=self.narrowing,
            says=self._says(found.count),
            wanted=self.wanted or ONLY in self.request.GET,
            ordering=self.request.GET.get(ORDERING, ""),
            sheet=found,
            table=Table(self.title, heads, cells(columns, heads, found.rows), keys=keys),
            acts=self.offered(),
            carried=[(name, value) for name, value in asked if name not in ("offset", "limit")],
            kin=self._kin(),
            empty=self.empty,
            choices=[(c, c in columns) for c in self.columns],
            columns_asked=self.request.GET.get(COLUMNS, ""),
            others=[(name, value) for name, value in asked if name not in (COLUMNS, "offset")],
            file_href=self._with(**{FORMAT: FILE, "offset": None, "limit": None}),
            marked_file_href=self._with(**{FORMAT: FILE_MARKED, "offset": None, "limit": None}),
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
    return _("with %(wanted)s") % {"wanted": listed(wanted)} if wanted else _("in the record")


def kin_links(kin: Sequence[tuple[str, str]], path: str) -> list[Link]:
    """The lists of one place as links, the one at `path` marked."""
    hrefs = [(words, reverse(name)) for words, name in kin]
    return [Link(words, href, href == path) for words, href in hrefs]


def _one_value(query: QueryDict) -> QueryDict:
    """The boxes that were ticked for columns, and those of rows, as one value each."""
    several = [name for name in (COLUMNS, PICK) if len(query.getlist(name)) > 1]
    if not several:
        return query
    one = query.copy()
    for name in several:
        one[name] = ",".join(query.getlist(name))
    return one


LIVE = "live"
_HAPPENED = [("", _lazy("yes")), ("false", _lazy("no: void ones"))]
_YES_OR_NO = [("", _lazy("either")), ("true", _lazy("yes")), ("false", _lazy("no"))]
_LABELS = {
    "done_by": _lazy("Hands"),
    "generation__gte": _lazy("Generation from"),
    "generation__lte": _lazy("Generation to"),
    "live": _lazy("Happened"),
    "open": _lazy("Still open"),
    "recorded_by": _lazy("Entered by"),
}
_WHEN = _lazy("2024, 2024-03, 2024-03-04, or two of them with a slash between")
_HINTS = {"born": _WHEN, "when": _WHEN}


def label_of(name: str) -> str:
    """What a filter is called."""
    return str(_LABELS.get(name) or titled(name))


def friendly(form: forms.Form) -> forms.Form:
    """The filters' form with labels in words, and with choices where there are few."""
    form.label_suffix = ""
    for name, field in form.fields.items():
        field.label = label_of(name)
        field.help_text = _HINTS.get(name, "")
        model = getattr(field, "model", None)
        if isinstance(field, WordyFlagField):
            field.widget = forms.Select(choices=_YES_OR_NO)
        elif model in SHORT_REGISTERS:
            rows = model._default_manager.order_by("code")
            field.widget = forms.Select(
                choices=[("", _("any")), *((row.code, str(row)) for row in rows)]
            )
        elif isinstance(field, forms.ChoiceField):
            offered: Any = field.choices
            flat = [(value, text) for value, text in offered if value]
            field.widget = forms.Select(choices=[("", _("any")), *flat])
        else:
            field.widget.attrs.setdefault("autocomplete", "off")
        if model is not None and model not in SHORT_REGISTERS:
            field.label = _("%(field)s (code)") % {"field": field.label}
    return form
