"""A monitoring visit on a phone: outplants ticked one after the other, or counted by genet."""

from __future__ import annotations

import uuid
from collections.abc import Mapping
from functools import cached_property
from typing import Any

from django.db.models import Count, Max, Q
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from rest_framework.request import Request

from nursery.core import spoken
from nursery.core.actor import Role, require
from nursery.core.errors import Problem, Refused, Trouble, Unknown
from nursery.core.filters import refuse_unknown
from nursery.core.inputs import read
from nursery.core.models import Event, EventKind
from nursery.core.registers import find
from nursery.core.views.base import Page
from nursery.core.views.entered import tell
from nursery.core.views.returned import above, entered_before, names_in, returned
from nursery.lineage.words import Cause, Life, Place
from nursery.outplanting.actions import visit
from nursery.outplanting.inputs import VisitIn
from nursery.outplanting.models import Visit
from nursery.outplanting.views.sheet import SEEN, clusters_of, lines_of
from nursery.places.models import Plot

ACT = "enter monitoring visits"
_HEADER = ("when", "done_by", "note")


class WatchPage(Page):
    """Sites and plots, with how many outplants are to be looked for in each."""

    place = "reef"
    template_name = "outplanting/watch.html"

    def get(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        require(self.actor, Role.FIELD, act=ACT)
        refuse_unknown(Request(request), ())
        return super().get(request, *args, **kwargs)

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        standing = Q(ramets__place=Place.PLOT, ramets__life=Life.LIVING)
        plots = (
            Plot.objects.filter(closed_on=None, site__closed_on=None)
            .select_related("site")
            .annotate(living=Count("ramets", filter=standing))
            .order_by("site__name", "site__code", "code")
        )
        looked = dict(
            Visit.objects.filter(event__live=True, site__isnull=False)
            .values_list("site_id")
            .annotate(last=Max("event__latest"))
            .order_by("site_id")
        )
        sites: dict[int, dict[str, Any]] = {}
        for plot in plots:
            entry = sites.setdefault(
                plot.site_id,
                {"site": plot.site, "plots": [], "living": 0, "last": looked.get(plot.site_id)},
            )
            entry["plots"].append(plot)
            entry["living"] += plot.living
        return super().get_context_data(
            sites=list(sites.values()),
            living=sum(entry["living"] for entry in sites.values()),
            **kwargs,
        )


class WatchPlotPage(Page):
    """The sheet of one plot. What is ticked on other sheets of its site goes along with it."""

    http_method_names = ["get", "head", "post"]
    place = "reef"
    template_name = "outplanting/watch_plot.html"

    @cached_property
    def plot(self) -> Plot:
        row = find(Plot, self.kwargs["code"])
        return Plot.objects.select_related("site").get(pk=row.pk)

    def get(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        require(self.actor, Role.FIELD, act=ACT)
        refuse_unknown(Request(request), ())
        last = (
            Event.objects.filter(kind=EventKind.VISIT, recorded_by=self.actor.user_id, live=True)
            .order_by("-id")
            .first()
        )
        return self._form(
            {
                "uid": str(uuid.uuid4()),
                "when": timezone.localdate().isoformat(),
                "done_by": ", ".join(last.people) if last is not None else "",
            }
        )

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        require(self.actor, Role.FIELD, act=ACT)
        typed = request.POST.dict()
        sent = Sent(typed, self.plot.site.code)
        try:
            recorded = visit(self.actor, sent.given())
        except Trouble as trouble:
            known = entered_before(trouble, typed, sent.uid)
            return self._form(typed, trouble, sent, known)
        seen = recorded.event.visit.observations.count()
        words = (
            ngettext(
                "%(n)d outplant looked at, %(site)s", "%(n)d outplants looked at, %(site)s", seen
            )
            if seen
            else _("Plots counted, %(site)s")
        )
        tell(request, [recorded], words % {"n": seen, "site": self.plot.site})
        return HttpResponseRedirect(
            reverse("watch-sent", args=[self.plot.code, recorded.event.uid])
        )

    def _form(
        self,
        typed: Mapping[str, str],
        trouble: Trouble | None = None,
        sent: Sent | None = None,
        known: Event | None = None,
    ) -> HttpResponse:
        back = returned(trouble, sent.blank_of if sent else above)
        clusters = clusters_of(self.plot, typed, back.told)
        rows = [row for cluster in clusters for row in cluster.rows]
        shown = {*_HEADER, *(f"seen:{row.code}" for row in rows)}
        genets, taxa = lines_of(self.plot, typed, back.told)
        shown |= {line.name for line in (*genets, *taxa)}
        context = self.get_context_data(
            plot=self.plot,
            typed=typed,
            told=back.told,
            problems=back.above(shown),
            faults=back.faults,
            entered=known,
            clusters=clusters,
            total=len(rows),
            ticked=sum(bool(row.seen) for row in rows),
            seen_words=SEEN,
            causes=[(cause.word, spoken.shown(cause)) for cause in Cause],
            genets=genets,
            taxa=taxa,
            mode=typed.get("mode", "each"),
            others=Plot.objects.filter(site=self.plot.site_id, closed_on=None)
            .exclude(pk=self.plot.pk)
            .order_by("code"),
        )
        return self.render_to_response(context, status=back.status)


class WatchSentPage(Page):
    """A visit is in the record; the phone may forget its draft."""

    place = "reef"
    template_name = "outplanting/watch_sent.html"

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        plot = Plot.objects.select_related("site").get(pk=find(Plot, self.kwargs["code"]).pk)
        event = Event.objects.filter(uid=self.kwargs["uid"], kind=EventKind.VISIT).first()
        if event is None:
            raise Unknown(Problem("unknown_event", _("There is no such visit.")))
        return super().get_context_data(
            plot=plot,
            event=event,
            seen=event.visit.observations.values_list("condition").annotate(n=Count("pk")),
            others=Plot.objects.filter(site=plot.site_id, closed_on=None).order_by("code"),
            **kwargs,
        )


class Sent:
    """A sheet as it was sent: `seen:CODE`, `cause:CODE`, and `count:PLOT:KIND:CODE:alive`."""

    def __init__(self, typed: Mapping[str, str], site: str) -> None:
        self.uid = _uid(typed.get("uid", ""))
        self.typed = typed
        self.site = site
        self.codes = [
            name.partition(":")[2]
            for name, value in typed.items()
            if name.startswith("seen:") and value
        ]
        self.counts = list(
            dict.fromkeys(
                name.rpartition(":")[0]
                for name, value in typed.items()
                if name.startswith("count:") and value.strip()
            )
        )

    def given(self) -> VisitIn:
        """The visit; raises Refused (also `nothing_seen`)."""
        if not self.codes and not self.counts:
            message = _("Nothing is ticked or counted yet. Tick what you saw, then send it.")
            raise Refused(Problem("nothing_seen", message))
        data: dict[str, Any] = {
            "uid": self.uid,
            "site": self.site,
            "when": self.typed.get("when", ""),
            "note": self.typed.get("note", ""),
            "done_by": names_in(self.typed.get("done_by", "")),
            "observations": [self._observation(code) for code in self.codes],
            "counts": [self._count(name) for name in self.counts],
        }
        return read(VisitIn, data)

    def _observation(self, code: str) -> dict[str, Any]:
        condition = self.typed[f"seen:{code}"]
        row: dict[str, Any] = {"ramet": code, "condition": condition}
        cause = self.typed.get(f"cause:{code}", "")
        if condition == "dead" and cause:
            row["cause"] = cause
        return row

    def _count(self, name: str) -> dict[str, Any]:
        parts = name.split(":")
        row: dict[str, Any] = {"plot": parts[1] if len(parts) > 1 else ""}
        if len(parts) == 4 and parts[2] in ("genet", "taxon"):
            row[parts[2]] = parts[3]
        for word, _label in SEEN:
            value = self.typed.get(f"{name}:{word}", "").strip()
            if value:
                row[word] = value
        return row

    def blank_of(self, problem: Problem) -> str:
        """The name of the blank, row or line that a problem is about, or an empty text."""
        path = problem.path
        at = path[1] if len(path) > 1 and isinstance(path[1], int) else None
        if path and path[0] == "observations" and at is not None and at < len(self.codes):
            return f"seen:{self.codes[at]}"
        if path and path[0] == "counts" and at is not None and at < len(self.counts):
            return self.counts[at]
        return str(path[0]) if path else ""


def _uid(text: str) -> str | None:
    try:
        return str(uuid.UUID(text))
    except ValueError:
        return None
