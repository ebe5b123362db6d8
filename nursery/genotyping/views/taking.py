"""Samples are taken: one line each, as a scanner types them."""

from __future__ import annotations

import re
import uuid
from collections.abc import Mapping, Sequence
from typing import Any

from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from rest_framework.request import Request

from nursery.core.actor import Role, require
from nursery.core.errors import Problem, Trouble
from nursery.core.filters import refuse_unknown
from nursery.core.inputs import read
from nursery.core.registers import as_asked
from nursery.core.views.base import Page
from nursery.core.views.entered import tell
from nursery.donors.models import DonorColony
from nursery.genotyping.actions import take_samples
from nursery.genotyping.actions.sample import ACT
from nursery.genotyping.inputs import SamplingIn
from nursery.genotyping.models import Sample
from nursery.lineage.views.bags import names_in

LINES = "lines"


class TakePage(Page):
    """Many samples at once: a scanned code and Enter is a line."""

    http_method_names = ["get", "head", "post"]
    place = "genets"
    template_name = "genotyping/take.html"

    def get(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        require(self.actor, Role.FIELD, Role.NURSERY, act=ACT)
        refuse_unknown(Request(request), {LINES})
        return self._form(
            {
                "uid": str(uuid.uuid4()),
                "when": timezone.localdate().isoformat(),
                "done_by": self.actor.name,
                LINES: request.GET.get(LINES, ""),
            }
        )

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        require(self.actor, Role.FIELD, Role.NURSERY, act=ACT)
        typed = request.POST.dict()
        numbers, rows = _rows(typed)
        try:
            recorded = take_samples(self.actor, read(SamplingIn, _given(typed, rows)))
        except Trouble as trouble:
            if trouble.code == "uid_taken":
                typed["uid"] = str(uuid.uuid4())
            return self._form(typed, trouble, numbers)
        made = Sample.objects.filter(event=recorded.event).count()
        words = ngettext("%(n)d sample taken", "%(n)d samples taken", made)
        tell(request, [recorded], words % {"n": made})
        return HttpResponseRedirect(reverse("event", args=[recorded.event.uid]))

    def _form(
        self,
        typed: Mapping[str, str],
        trouble: Trouble | None = None,
        numbers: Sequence[int] = (),
    ) -> HttpResponse:
        told: dict[str, list[Problem]] = {}
        for each in trouble.problems if trouble else ():
            name = str(each.path[0]) if each.path else ""
            if name == "samples":
                name, each = LINES, _in_its_line(each, numbers)
            told.setdefault(name, []).append(each)
        shown = {LINES, "when", "done_by", "permits", "laboratory", "note"}
        context = self.get_context_data(
            typed=typed,
            told=told,
            problems=[each for name, found in told.items() if name not in shown for each in found],
            faults=sum(map(len, told.values())),
        )
        return self.render_to_response(context, status=trouble.status if trouble else 200)


def _rows(typed: Mapping[str, str]) -> tuple[list[int], list[dict[str, Any]]]:
    """The lines as rows of the input, with their numbers: a ramet or a colony, and perhaps a code
    and the laboratory's label. What is a donor colony's code is of the colony."""
    numbers: list[int] = []
    cells: list[list[str]] = []
    for number, line in enumerate(typed.get(LINES, "").splitlines(), start=1):
        if line.strip():
            numbers.append(number)
            cells.append([cell.strip() for cell in re.split(r"[,;\t]", line)])
    names = {as_asked(row[0]).upper() for row in cells}
    colonies = set(
        DonorColony.objects.filter(code__in=names).values_list("code", flat=True) if names else ()
    )
    rows = []
    for first, *more in cells:
        of_colony = first.upper() in colonies
        row: dict[str, Any] = {"colony" if of_colony else "ramet": first}
        if not of_colony and typed.get("ended") == "on":
            row["ended"] = True
        row |= {name: text for name, text in zip(("code", "label"), more, strict=False) if text}
        rows.append(row)
    return numbers, rows


def _given(typed: Mapping[str, str], rows: Sequence[Mapping[str, Any]]) -> dict[str, Any]:
    return {
        "uid": typed.get("uid") or None,
        "when": typed.get("when", ""),
        "done_by": names_in(typed.get("done_by", "")),
        "permits": names_in(typed.get("permits", "")),
        "laboratory": typed.get("laboratory", ""),
        "note": typed.get("note", ""),
        "samples": rows,
    }


def _in_its_line(problem: Problem, numbers: Sequence[int]) -> Problem:
    row = problem.row
    if row is None or row >= len(numbers):
        return problem
    message = _("Line %(n)d: %(says)s") % {"n": numbers[row], "says": problem.message}
    return Problem(problem.code, message, problem.path)
