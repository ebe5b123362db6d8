"""Tables of genotypes are imported: a file from the laboratory, or its text."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.urls import reverse
from django.utils.translation import gettext as _
from rest_framework.request import Request

from nursery.core.actor import require
from nursery.core.errors import Problem, Refused, Trouble
from nursery.core.filters import refuse_unknown
from nursery.core.inputs import read
from nursery.core.views.base import Page
from nursery.core.views.returned import returned
from nursery.genotyping.actions import import_table
from nursery.genotyping.actions.tables import ACT
from nursery.genotyping.inputs import MOST_TEXT, TableIn
from nursery.genotyping.models import Panel
from nursery.genotyping.views.telling import blank_of

FILE = "file"


class ImportPage(Page):
    """One table of one panel; all its faults are told at once."""

    http_method_names = ["get", "head", "post"]
    place = "genets"
    template_name = "genotyping/import.html"

    def get(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        require(self.actor, act=ACT)
        refuse_unknown(Request(request), {"panel"})
        return self._form(request.GET.dict())

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        require(self.actor, act=ACT)
        typed = request.POST.dict()
        try:
            given = {
                "panel": typed.get("panel", ""),
                "name": typed.get("name", ""),
                "text": _text(request.FILES.get(FILE), typed.get("text", "")),
            }
            made = import_table(self.actor, read(TableIn, given))
        except Trouble as trouble:
            return self._form(typed, trouble)
        if made.fresh:
            messages.success(request, _("Imported: %(table)s.") % {"table": made.table})
        else:
            messages.info(request, _("This table was imported already."))
        return HttpResponseRedirect(reverse("genotypes", args=[made.table.uid]))

    def _form(self, typed: Mapping[str, str], trouble: Trouble | None = None) -> HttpResponse:
        back = returned(trouble, blank_of)
        context = self.get_context_data(
            typed=typed,
            told=back.told,
            problems=back.above({"panel", "name"}),
            faults=back.faults,
            panels=list(Panel.objects.filter(closed_on=None).order_by("code").defer("loci")),
        )
        return self.render_to_response(context, status=back.status)


def _text(file: Any, typed: str) -> str:
    """The text of the file, or what was typed. Raises Refused (`too_large`, `not_utf_8`)."""
    if file is None:
        return typed
    if file.size is None or file.size > MOST_TEXT:
        message = _("At most %(n)d MB.") % {"n": MOST_TEXT // 1_000_000}
        raise Refused(Problem("too_large", message, ("text",)))
    try:
        return str(file.read(), "utf-8-sig")
    except UnicodeDecodeError as error:
        message = _("The file is no text in UTF-8. Save it as CSV in UTF-8.")
        raise Refused(Problem("not_utf_8", message, ("text",))) from error
