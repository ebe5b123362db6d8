"""The page of one register row: what is known of it, and tables of what hangs on it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any, ClassVar

from django.db.models import QuerySet
from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils.functional import Promise
from rest_framework.request import Request

from nursery.core.field_names import within
from nursery.core.filters import refuse_unknown
from nursery.core.models import Register
from nursery.core.registers import find
from nursery.core.views.base import Link, Page, canonical
from nursery.core.views.edits import edits_of
from nursery.core.views.keeping import may_keep, way_to_form
from nursery.core.views.tables import Shown, Table


@dataclass(frozen=True, slots=True)
class Fact:
    """One thing that is known: its name and what it is."""

    name: str | Promise
    value: Shown


@dataclass(frozen=True, slots=True)
class Section:
    """A heading with a table below it, a first sentence and a way to all of it."""

    heading: str | Promise
    table: Table
    says: str = ""
    more: Link | None = None


class RegisterPage(Page):
    """One row of `model` at the address `name`, by its code in any case."""

    template_name = "core/register.html"
    model: ClassVar[type[Register]]
    name: ClassVar[str]
    joined: ClassVar[Sequence[str]] = ()
    parameters: ClassVar[frozenset[str]] = frozenset()

    @cached_property
    def row(self) -> Any:
        rows: QuerySet[Any] = self.model._default_manager.select_related(*self.joined)
        return rows.get(pk=find(self.model, self.kwargs["code"]).pk)

    def get(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        if self.row.code != self.kwargs["code"]:
            return canonical(request, reverse(self.name, args=[self.row.code]))
        refuse_unknown(Request(request), self.parameters)
        return super().get(request, *args, **kwargs)

    def says(self) -> str:
        """The opening sentence, with a number in it."""
        return ""

    def facts(self) -> Sequence[Fact]:
        return ()

    def sections(self) -> Sequence[Section]:
        return ()

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        return super().get_context_data(
            row=self.row,
            kind=within(str(self.model._meta.verbose_name)),
            says=self.says(),
            facts=[fact for fact in self.facts() if fact.value not in (None, "")],
            sections=self.sections(),
            edit_href=way_to_form(self.actor, self.row),
            edits=edits_of(self.row) if may_keep(self.actor, self.model) else (),
            **kwargs,
        )
