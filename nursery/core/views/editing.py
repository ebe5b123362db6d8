"""Entering and editing register rows on a page; two who edit the same one see each other's words.

The form carries the version and the values that were looked at. Only what differs from these is
sent on, so that saving one field never puts an old value back into another.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

from django.contrib import messages
from django.db import models
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from rest_framework.request import Request

from nursery.core.actor import require
from nursery.core.errors import Problem, Trouble, Unknown
from nursery.core.field_names import titled, within
from nursery.core.filters import refuse_unknown
from nursery.core.models import Register
from nursery.core.registers import editable_fields, find, snapshot
from nursery.core.views.base import Page
from nursery.core.views.edits import Edit, edits_of, text_of
from nursery.core.views.keeping import REGISTERS, fields_of, keep
from nursery.core.views.lists import SHORT_REGISTERS
from nursery.outplanting.forms import Blank, Told, elsewhere

VERSION, WAS = "version", "was"


@dataclass(frozen=True, slots=True)
class Difference:
    """A field that somebody else changed meanwhile: as it was opened, as it is, as it is wanted."""

    name: str
    label: str
    was: str
    now: str
    wanted: str


class KeepPage(Page):
    """The form of a register's row: a new one, or that of the code in the address."""

    http_method_names = ["get", "head", "post"]
    template_name = "core/keep.html"

    @cached_property
    def model(self) -> type[Register]:
        """The register in the address; raises Unknown (`unknown_register`), NotAllowed."""
        model = REGISTERS.get(self.kwargs["register"])
        if model is None:
            raise Unknown(Problem("unknown_register", _("There is no such register.")))
        require(self.actor, *model.WRITERS, act=model.ACT)
        return model

    @cached_property
    def row(self) -> Register | None:
        code = self.kwargs.get("code")
        return find(self.model, code) if code is not None else None

    @cached_property
    def values(self) -> dict[str, str]:
        """What the row says now, as it is written in the form."""
        if self.row is None:
            return {}
        fields = editable_fields(self.model)
        return {
            # Cells are written with blanks between, as on a plate's rim; codes with semicolons.
            name: text_of(value, "; " if fields[name].is_relation else " ")
            for name, value in snapshot(self.row).items()
        }

    def get(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        """The form; a new row's may be filled in by the address."""
        refuse_unknown(Request(request), fields_of(self.model) if self.row is None else ())
        typed = self.values if self.row is not None else request.GET.dict()
        return self._form(typed, self.values)

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        typed = {name: request.POST.get(name, "") for name in fields_of(self.model)}
        was = _read(request.POST.get(WAS, "")) if self.row is not None else {}
        given = {
            name: text
            for name, text in typed.items()
            if _plain(text) != _plain(was.get(name, "")) or (self.row is None and text)
        }
        seen = request.POST.get(VERSION, "")
        try:
            row = keep(
                self.actor, self.model, given, self.row, int(seen) if seen.isdecimal() else None
            )
        except Trouble as trouble:
            if trouble.code == "edited_meanwhile":
                return self._meanwhile(typed, was)
            return self._form(typed, was, trouble.problems, trouble.status)
        messages.success(request, _("Saved: %(row)s.") % {"row": row})
        return HttpResponseRedirect(reverse(_page_of(self.model), args=[row.code]))

    def _meanwhile(self, typed: Mapping[str, str], was: Mapping[str, str]) -> HttpResponse:
        """Somebody else saved first: nothing is overwritten, and each sees what the other wrote.

        What only the other changed is taken over; what both changed stays as it was typed.
        """
        now = self.values
        differences = [
            Difference(name, self._label(name), was.get(name, ""), now[name], typed.get(name, ""))
            for name in now
            if _plain(now[name]) != _plain(was.get(name, ""))
        ]
        merged = dict(typed)
        for one in differences:
            if _plain(one.wanted) == _plain(one.was):
                merged[one.name] = one.now
        return self._form(merged, now, status=409, differences=differences, last=self._edits[0])

    @cached_property
    def _edits(self) -> Sequence[Edit]:
        return edits_of(self.row) if self.row is not None else ()

    def _form(
        self,
        typed: Mapping[str, str],
        was: Mapping[str, str],
        problems: Sequence[Problem] = (),
        status: int = 200,
        **more: Any,
    ) -> HttpResponse:
        names = fields_of(self.model)
        told: dict[str, list[Told]] = {}
        for problem in problems:
            told.setdefault(str(problem.path[0]) if problem.path else "", []).append(Told(problem))
        blanks = [self._blank(name, typed.get(name, ""), told.get(name, ())) for name in names]
        context = self.get_context_data(
            row=self.row,
            kind=within(str(self.model._meta.verbose_name)),
            back=reverse(_page_of(self.model), args=[self.row.code]) if self.row else "",
            blanks=blanks,
            problems=elsewhere(problems, names),
            faults=len(problems),
            version=self.row.version if self.row is not None else "",
            was=json.dumps(dict(was)),
            edits=self._edits,
            **more,
        )
        return self.render_to_response(context, status=status)

    def _label(self, name: str) -> str:
        field = editable_fields(self.model).get(name)
        return titled(str(field.verbose_name) if field is not None else name)

    def _blank(self, name: str, value: str, told: Sequence[Told]) -> Blank:
        field = editable_fields(self.model).get(name)
        if field is None:
            return Blank(
                name, self._label(name), str(_HINTS.get(name, "")), "line", value, told=told
            )
        choices = _choices(field)
        shape = "choice" if choices else "line"
        if isinstance(field, models.TextField):
            shape = "text"
        elif isinstance(field, models.BooleanField):
            shape, value = "tick", "on" if value in ("on", "yes", "True") else ""
        required = not field.blank and not field.has_default() and not field.many_to_many
        hint = str(field.help_text) or str(_HINTS.get(name, ""))
        if field.is_relation and not choices:
            hint = hint or (
                _("Codes, with semicolons between.") if field.many_to_many else _("Its code.")
            )
        return Blank(name, self._label(name), hint, shape, value, required, choices, told=told)


_HINTS = {
    "latitude": gettext_lazy("Any usual notation. Left empty, the position stays as it is."),
    "longitude": gettext_lazy("Any usual notation. Left empty, the position stays as it is."),
    "uncertainty_m": gettext_lazy("Within how many metres the position holds."),
    "series": gettext_lazy("The letters that codes of ramets cut here begin with."),
    "closed_on": gettext_lazy("From this day on nothing more happens there. 2024-03-04"),
}


def _choices(field: Any) -> list[tuple[str, str]]:
    """What there is to choose from, where that is little."""
    if field.is_relation and not field.many_to_many and field.related_model in SHORT_REGISTERS:
        rows = field.related_model._default_manager.order_by("code")
        return [("", "–"), *((row.code, str(row)) for row in rows)]
    if field.choices:
        flat = [(str(value), str(text)) for value, text in field.flatchoices if value not in ("",)]
        return [("", "–"), *flat]
    return []


def _page_of(model: type[Register]) -> str:
    """The name of the address of one row's page."""
    return "colony" if model._meta.model_name == "donorcolony" else str(model._meta.model_name)


def _plain(text: str) -> str:
    return text.replace("\r\n", "\n").strip()


def _read(text: str) -> dict[str, str]:
    """What the form says that the row was when it was opened; nothing where it says nothing."""
    try:
        found = json.loads(text)
    except ValueError:
        return {}
    return {str(k): str(v) for k, v in found.items()} if isinstance(found, dict) else {}
