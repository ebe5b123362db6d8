"""To settle: what disagrees or is irregular, and what leads have looked at and let stand."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.utils.safestring import SafeString
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from rest_framework.request import Request

from nursery.core.errors import Problem, Refused, Trouble
from nursery.core.filters import refuse_unknown
from nursery.core.inputs import read
from nursery.core.models import Event
from nursery.core.phrases import date_words, joined, link, number, ramet_link
from nursery.core.views import kin
from nursery.core.views.base import Page
from nursery.core.views.lists import kin_links
from nursery.core.views.tables import sheet
from nursery.outplanting.actions.settle import SettledIn, accept, take_back
from nursery.outplanting.disagreeing import Unsettled
from nursery.outplanting.models import Settled
from nursery.outplanting.unsettled import CODES, how_many, unsettled

MOST_OF_A_KIND = 10
"""The most of one kind that stand beside the other kinds; the rest has pages of its own."""
_PAGED = {"limit", "offset"}


@dataclass(frozen=True, slots=True)
class Shown:
    """One thing to settle as the page tells it; `fault` is why settling it was refused."""

    row: Unsettled
    events: Sequence[SafeString]
    ramets: SafeString
    typed: str = ""
    fault: Problem | None = None


@dataclass(frozen=True, slots=True)
class Group:
    """All of one kind: how many there are, and those that are shown."""

    code: str
    heading: str
    count: int
    rows: Sequence[Shown]


class UnsettledCount(Page):
    """How many things there are to settle, as a part of Today: on a large record it is worked out
    while the rest is read already."""

    template_name = "outplanting/unsettled_count.html"

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        return super().get_context_data(count=how_many(self.actor), **kwargs)


class UnsettledPage(Page):
    """What disagrees, by kind; a lead may say of each that it stands as it is."""

    http_method_names = ["get", "head", "post"]
    place = "today"
    template_name = "outplanting/unsettled.html"

    def get(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        refuse_unknown(Request(request), {"code", *_PAGED})
        return self._shown({}, None)

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        typed = request.POST.dict()
        given = {name: typed.get(name, "") for name in SettledIn.model_fields}
        try:
            row = accept(self.actor, read(SettledIn, given))
        except Trouble as trouble:
            if trouble.status == 403:
                raise
            return self._shown(typed, trouble)
        messages.success(request, _("It stands as it is. It is among what was settled."))
        return HttpResponseRedirect(f"{request.get_full_path()}#{row.code}")

    def _shown(self, typed: Mapping[str, str], trouble: Trouble | None) -> HttpResponse:
        asked = self.request.GET.get("code", "")
        if asked and asked not in CODES:
            message = _("code is one of: %(codes)s.") % {"codes": ", ".join(CODES)}
            raise Refused(Problem("not_a_choice", message, ("code",)))
        rows = unsettled(self.actor, [asked] if asked else tuple(CODES))
        found: dict[str, list[Unsettled]] = {}
        for row in rows:
            found.setdefault(row.code, []).append(row)
        # One kind has pages; beside each other, kinds show their first ones.
        page = sheet(self.request, rows) if asked else None  # type: ignore[arg-type]
        shown = {
            code: page.rows if page is not None else all_rows[:MOST_OF_A_KIND]
            for code, all_rows in found.items()
        }
        dates = _events([row for some in shown.values() for row in some])
        fault = trouble.problems[0] if trouble is not None else None
        key = typed.get("code"), typed.get("thing")
        groups = [
            Group(
                code,
                str(CODES[code]),
                len(all_rows),
                [
                    _tell(row, dates, typed, fault if key == (row.code, row.thing) else None)
                    for row in shown[code]
                ],
            )
            for code, all_rows in found.items()
        ]
        beside = any(row.fault for group in groups for row in group.rows)
        context = self.get_context_data(
            kin=kin_links(kin.TODAY, self.request.path),
            says=ngettext(
                "%(n)s\u00a0thing is to be settled.",
                "%(n)s\u00a0things are to be settled.",
                len(rows),
            )
            % {"n": number(len(rows))},
            groups=groups,
            asked=asked,
            sheet=page,
            fault=None if beside else fault,
            settled_count=Settled.objects.count(),
        )
        return self.render_to_response(context, status=trouble.status if trouble else 200)


class SettledPage(Page):
    """What stands as it is: who said so, when and why; a lead may take it back."""

    http_method_names = ["get", "head", "post"]
    place = "today"
    template_name = "outplanting/settled.html"

    def get(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        refuse_unknown(Request(request), _PAGED)
        return self._shown(None)

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        try:
            take_back(self.actor, request.POST.get("code", ""), request.POST.get("thing", ""))
        except Trouble as trouble:
            if trouble.status == 403:
                raise
            return self._shown(trouble)
        messages.success(request, _("It is told again among what is to be settled."))
        return HttpResponseRedirect(request.get_full_path())

    def _shown(self, trouble: Trouble | None) -> HttpResponse:
        found = sheet(self.request, Settled.objects.select_related("by"))
        codes = {row.code for row in found.rows} & CODES.keys()
        known = {(row.code, row.thing): row for row in unsettled(self.actor, codes, settled=True)}
        told = [known[key] for row in found.rows if (key := (row.code, row.thing)) in known]
        dates = _events(told)
        context = self.get_context_data(
            kin=kin_links(kin.TODAY, self.request.path),
            says=ngettext(
                "%(n)s\u00a0thing was looked at and left as it is.",
                "%(n)s\u00a0things were looked at and left as they are.",
                found.count,
            )
            % {"n": number(found.count)},
            sheet=found,
            rows=[
                (
                    row,
                    CODES.get(row.code, row.code),
                    _tell(known[row.code, row.thing], dates, {}, None)
                    if (row.code, row.thing) in known
                    else None,
                )
                for row in found.rows
            ],
            fault=trouble.problems[0] if trouble is not None else None,
        )
        return self.render_to_response(context, status=trouble.status if trouble else 200)


def _events(rows: Sequence[Unsettled]) -> dict[str, Event]:
    """The entries that are named, by their uids."""
    uids = {uid for row in rows for uid in row.events}
    return {str(event.uid): event for event in Event.objects.filter(uid__in=uids)}


def _tell(
    row: Unsettled,
    events: Mapping[str, Event],
    typed: Mapping[str, str],
    fault: Problem | None,
) -> Shown:
    return Shown(
        row,
        [
            link(f"{events[uid].get_kind_display()}, {date_words(events[uid].when)}", "event", uid)
            for uid in row.events
            if uid in events
        ],
        joined(ramet_link(code) for code in row.ramets),
        typed.get("reason", "") if fault is not None else "",
        fault,
    )
