"""Lists of registers, events and ramets: filters, ordering and pages, as strict as the API's.

A list names its columns and a filter set; what the address may hold follows from these. An unknown
parameter is refused. Empty ones, which a form sends for every field left alone, are dropped first.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import cached_property
from typing import Any, ClassVar

from django import forms
from django.db.models import Model, QuerySet
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.urls import reverse
from rest_framework.request import Request

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
from nursery.core.views.base import Link, Page
from nursery.core.views.tables import Column, Head, Table, address, cells, sheet, without_empty
from nursery.donors.models import Taxon
from nursery.places.models import Nursery, Reef, Site

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
        filled = without_empty(request.GET)
        if filled is not None:
            return HttpResponseRedirect(address(request.path, filled))
        return super().get(request, *args, **kwargs)

    @cached_property
    def paginator(self) -> Paging:
        """Tells the filters that `limit` and `offset` are known here."""
        return Paging()

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        # The API's filters know their view only by the attributes that this one has too.
        view: Any = self
        asked = Request(self.request)
        backend = StrictFilterBackend()
        rows = self.get_queryset()
        if self.happened and LIVE not in self.request.GET:
            rows = rows.filter(**{self.happened: True})
        queryset = backend.filter_queryset(asked, rows, view)
        queryset = StrictOrdering().filter_queryset(asked, queryset, view)
        found = sheet(self.request, queryset, self.paginator)
        self.complete(found.rows)
        form = backend.get_filterset(asked, self.model._default_manager.none(), view).form
        form = friendly(form)
        if self.happened:
            form.fields[LIVE].widget = forms.Select(choices=_HAPPENED)
        wanted = [
            f"{str(form.fields[name].label).removesuffix(CODE_HINT).lower()} {value}"
            for name, value in self.request.GET.items()
            if name in form.fields
        ]
        heads = [self._head(column) for column in self.columns]
        return super().get_context_data(
            title=self.title,
            filters=form,
            says=f"{counted(found.count, self.names)} {_with(wanted)}.",
            wanted=wanted,
            ordering=self.request.GET.get(ORDERING, ""),
            sheet=found,
            table=Table(self.title, heads, cells(self.columns, heads, found.rows)),
            kin=self._kin(),
            empty=self.empty,
            **kwargs,
        )

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
