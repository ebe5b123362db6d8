"""What is under way from the reef: the list of bags of a trip, and cutting aboard."""

from __future__ import annotations

import datetime
import re
import uuid
from collections.abc import Mapping
from functools import cached_property
from typing import Any

from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from rest_framework.request import Request

from nursery.core.actor import Role, require
from nursery.core.errors import Problem, Refused, Trouble, Unknown
from nursery.core.filters import refuse_unknown
from nursery.core.inputs import read
from nursery.core.models import Event, EventKind
from nursery.core.views.base import Page
from nursery.core.views.entered import tell
from nursery.core.views.returned import entered_before, names_in, returned
from nursery.donors.models import Taxon
from nursery.lineage.actions import cut
from nursery.lineage.bags import Bag, bag_of, bags_of, days
from nursery.lineage.inputs import FragmentationIn

ACT_CUT = "cut ramets"


class BagsPage(Page):
    """The bags of one day's trip: what is in each, for paper too."""

    place = "colonies"
    template_name = "lineage/bags.html"

    def get(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        refuse_unknown(Request(request), {"on"})
        return super().get(request, *args, **kwargs)

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        known = days()
        day = _day(self.request.GET.get("on", "")) or (known[0] if known else None)
        bags = bags_of(day) if day is not None else []
        inside = [len(bag.inside) for bag in bags]
        actor = self.actor
        return super().get_context_data(
            day=day,
            days=[each for each in known if each != day],
            bags=bags,
            pieces=sum(inside),
            may_cut=actor.leads or actor.has(Role.FIELD, Role.NURSERY),
            may_take_in=actor.leads or actor.has(Role.FIELD, Role.NURSERY),
            zoanthid=any(bag.collection.taxon.group == Taxon.Group.ZOANTHID for bag in bags),
            **kwargs,
        )


class BagPage(Page):
    """What the pages of one bag have in common."""

    http_method_names = ["get", "head", "post"]

    @cached_property
    def bag(self) -> Bag:
        event = Event.objects.filter(
            uid=self.kwargs["uid"], kind=EventKind.COLLECTION, live=True
        ).first()
        if event is None:
            raise Unknown(Problem("unknown_collection", _("There is no such collection.")))
        return bag_of(event)

    @property
    def source(self) -> str:
        """Where the bag's pieces were taken."""
        row = self.bag.collection
        return str(row.colony or row.reef)


class CutAboardPage(BagPage):
    """Cuts pieces of a bag before they reach a nursery; what is made stays in the bag."""

    place = "colonies"
    template_name = "lineage/cut_aboard.html"

    def get(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        require(self.actor, Role.FIELD, Role.NURSERY, act=ACT_CUT)
        refuse_unknown(Request(request), ())
        return self._form(
            {
                "uid": str(uuid.uuid4()),
                "when": timezone.localdate().isoformat(),
                "done_by": ", ".join(self.bag.collection.event.people),
                "used_up": "on",
            },
            [],
        )

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        require(self.actor, Role.FIELD, Role.NURSERY, act=ACT_CUT)
        typed, sources = request.POST.dict(), request.POST.getlist("sources")
        try:
            recorded = cut(self.actor, self._given(typed, sources))
        except Trouble as trouble:
            known = entered_before(trouble, typed, typed.get("uid"))
            return self._form(typed, sources, trouble, known)
        made = recorded.event.fragmentation.children_count
        words = ngettext("%(n)d piece cut aboard", "%(n)d pieces cut aboard", made)
        tell(request, [recorded], words % {"n": made})
        day = self.bag.collection.event.earliest.isoformat()
        return HttpResponseRedirect(f"{reverse('bags')}?on={day}")

    def _given(self, typed: Mapping[str, str], sources: list[str]) -> FragmentationIn:
        inside = {row.code for row in (*self.bag.pieces, *self.bag.cut_aboard)}
        strange = [code for code in sources if code not in inside]
        if strange:
            message = _("%(code)s is not in this bag.") % {"code": strange[0]}
            raise Refused(Problem("not_of_collection", message, ("sources",)))
        tags = [tag for tag in re.split(r"[\s,;]+", typed.get("tags", "")) if tag]
        count = typed.get("count", "").strip()
        data: dict[str, Any] = {
            "uid": typed.get("uid") or None,
            "when": typed.get("when", ""),
            "note": typed.get("note", ""),
            "done_by": names_in(typed.get("done_by", "")),
            "sources": [
                {"ramet": code, "used_up": typed.get("used_up") == "on"} for code in sources
            ],
        }
        if tags:
            data["children"] = [{"tag": tag} for tag in tags]
        if count:
            data["count"] = count
        return read(FragmentationIn, data)

    def _form(
        self,
        typed: Mapping[str, str],
        sources: list[str],
        trouble: Trouble | None = None,
        known: Event | None = None,
    ) -> HttpResponse:
        back = returned(trouble, _blank_of)
        shown = {"sources", "count", "tags", "when", "done_by", "note"}
        group = self.bag.collection.taxon.group
        context = self.get_context_data(
            bag=self.bag,
            source=self.source,
            typed=typed,
            chosen=set(sources),
            told=back.told,
            problems=back.above(shown),
            faults=back.faults,
            entered=known,
            zoanthid=group == Taxon.Group.ZOANTHID,
        )
        return self.render_to_response(context, status=back.status)


def _blank_of(problem: Problem) -> str:
    name = str(problem.path[0]) if problem.path else "count"
    return {"children": "tags", "uid": ""}.get(name, name)


def _day(text: str) -> datetime.date | None:
    try:
        return datetime.date.fromisoformat(text.strip())
    except ValueError:
        return None
