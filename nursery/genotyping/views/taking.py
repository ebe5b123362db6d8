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
from nursery.core.models import Event
from nursery.core.registers import as_asked
from nursery.core.views.base import Page
from nursery.core.views.entered import tell
from nursery.core.views.returned import entered_before, names_in, returned
from nursery.donors.models import DonorColony
from nursery.donors.permits import permits_to_choose
from nursery.genotyping.actions import take_samples
from nursery.genotyping.actions.sample import ACT
from nursery.genotyping.inputs import SamplingIn
from nursery.genotyping.models import Sample

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
            },
            [],
        )

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        require(self.actor, Role.FIELD, Role.NURSERY, act=ACT)
        typed, permits = request.POST.dict(), request.POST.getlist("permits")
        numbers, rows = _rows(typed)
        try:
            recorded = take_samples(self.actor, read(SamplingIn, _given(typed, permits, rows)))
        except Trouble as trouble:
            known = entered_before(trouble, typed, typed.get("uid"))
            return self._form(typed, permits, _in_their_lines(trouble, numbers), known)
        made = Sample.objects.filter(event=recorded.event).count()
        words = ngettext("%(n)d sample taken", "%(n)d samples taken", made)
        tell(request, [recorded], words % {"n": made})
        return HttpResponseRedirect(reverse("event", args=[recorded.event.uid]))

    def _form(
        self,
        typed: Mapping[str, str],
        permits: Sequence[str],
        trouble: Trouble | None = None,
        known: Event | None = None,
    ) -> HttpResponse:
        back = returned(trouble, _blank_of)
        shown = {LINES, "when", "done_by", "permits", "laboratory", "note"}
        context = self.get_context_data(
            typed=typed,
            named_permits=set(permits),
            permits=permits_to_choose(permits),
            told=back.told,
            problems=back.above(shown),
            faults=back.faults,
            entered=known,
        )
        return self.render_to_response(context, status=back.status)


def _blank_of(problem: Problem) -> str:
    name = str(problem.path[0]) if problem.path else ""
    return LINES if name == "samples" else name


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


def _given(
    typed: Mapping[str, str], permits: Sequence[str], rows: Sequence[Mapping[str, Any]]
) -> dict[str, Any]:
    return {
        "uid": typed.get("uid") or None,
        "when": typed.get("when", ""),
        "done_by": names_in(typed.get("done_by", "")),
        "permits": permits,
        "laboratory": typed.get("laboratory", ""),
        "note": typed.get("note", ""),
        "samples": rows,
    }


def _in_their_lines(trouble: Trouble, numbers: Sequence[int]) -> Trouble:
    """The same trouble, with each row's problem named by its line."""
    trouble.problems = [_in_its_line(problem, numbers) for problem in trouble.problems]
    return trouble


def _in_its_line(problem: Problem, numbers: Sequence[int]) -> Problem:
    row = problem.row
    if row is None or row >= len(numbers):
        return problem
    message = _("Line %(n)d: %(says)s") % {"n": numbers[row], "says": problem.message}
    return Problem(problem.code, message, problem.path)
