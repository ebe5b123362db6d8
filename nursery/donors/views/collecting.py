"""A colony and its collection on one screen, for wet hands on a boat."""

from __future__ import annotations

import uuid
from collections.abc import Mapping, Sequence
from typing import Any

from django.db.models import QuerySet
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect, QueryDict
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from rest_framework.request import Request

from nursery.core.actor import Actor, Role, require
from nursery.core.errors import Problem, Refused, Trouble
from nursery.core.filters import refuse_unknown
from nursery.core.inputs import read
from nursery.core.models import Event, EventKind
from nursery.core.recording import Recorded
from nursery.core.views.base import Page
from nursery.core.views.entered import tell
from nursery.core.views.returned import entered_before, names_in, returned
from nursery.donors.models import Collection, DonorColony, Taxon
from nursery.donors.permits import permits_to_choose
from nursery.donors.photos import MOST_AT_ONCE, too_many
from nursery.donors.pictures import Picture, clean
from nursery.donors.views.reading import SOURCE, reading_of
from nursery.lineage.actions.aboard import collect_again, register_and_collect
from nursery.lineage.inputs import CollectionIn
from nursery.lineage.inputs.aboard import FirstCollectionIn
from nursery.places.models import Reef

ACT = "register donor colonies and enter collections"
MOST_OFFERED = 200
"""The most colonies that the field for one on record offers by itself; any other can be typed."""
_OF_COLONY = ("code", "name", "taxon", "reef", "size")
_OF_BOTH = (
    *("latitude", "longitude", "uncertainty_m", "depth", "piece_size", "share_taken"),
    *("count", "when", "note"),
)
_RENAMED = {"depth_m": "depth", "size_cm": "size", "genet": "code", "uid": ""}
_BESIDE = frozenset({*_OF_COLONY, *_OF_BOTH, "colony", "permits", "done_by", "photos", "says"})


class CollectPage(Page):
    """Register a colony (or name one on record) and what was taken of it, in one press."""

    http_method_names = ["get", "head", "post"]
    place = "colonies"
    template_name = "donors/collect.html"

    def get(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        require(self.actor, Role.FIELD, act=ACT)
        refuse_unknown(Request(request), {"colony"})
        typed = _usual(self.actor)
        colony = request.GET.get("colony", "").strip()
        if colony:
            typed |= {SOURCE: "known", "colony": colony}
        return self._form(typed, typed.pop("permits", []))

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        require(self.actor, Role.FIELD, act=ACT)
        typed = request.POST.dict()
        permits = request.POST.getlist("permits")
        try:
            recorded = self._entered(typed, request.POST)
        except Trouble as trouble:
            known = entered_before(trouble, typed, typed.get("uid"))
            return self._form(typed, permits, trouble, known)
        collection = Collection.objects.select_related("colony").get(event=recorded.event)
        pieces = ngettext("%(n)d piece", "%(n)d pieces", collection.pieces)
        words = {"pieces": pieces % {"n": collection.pieces}, "colony": collection.colony}
        tell(request, [recorded], _("%(pieces)s collected from %(colony)s") % words)
        return HttpResponseRedirect(reverse("event", args=[recorded.event.uid]))

    def _entered(self, typed: Mapping[str, str], sent: QueryDict) -> Recorded:
        """Read everything before anything is refused, so that one answer tells all that is wrong;
        then enter it."""
        problems: list[Problem] = []
        pictures = _pictures(self.request, problems)
        known = typed.get(SOURCE) == "known"
        given: FirstCollectionIn | CollectionIn | None = None
        try:
            data = _data(typed, sent, known)
            given = read(CollectionIn, data) if known else read(FirstCollectionIn, data)
        except Refused as refusal:
            problems = [*refusal.problems, *problems]
        if problems or given is None:
            raise Refused(problems)
        says = typed.get("says", "")
        if isinstance(given, CollectionIn):
            return collect_again(self.actor, given, pictures, says)
        return register_and_collect(self.actor, given, pictures, says)

    def _form(
        self,
        typed: Mapping[str, Any],
        permits: Sequence[str],
        trouble: Trouble | None = None,
        known: Event | None = None,
    ) -> HttpResponse:
        back = returned(trouble, _blank_of)
        context = self.get_context_data(
            typed=typed,
            source=typed.get(SOURCE) or "new",
            named_permits=set(permits),
            told=back.told,
            problems=back.told.get("", []),
            faults=back.faults,
            entered=known,
            chosen=bool(self.request.FILES),
            most_photos=MOST_AT_ONCE,
            taxa=_open(Taxon),
            reefs=_open(Reef),
            permits=permits_to_choose(permits),
            colonies=_colonies(),
            reading=reading_of(self.actor, typed, permits),
        )
        return self.render_to_response(context, status=back.status)


class ReadingPage(Page):
    """What was understood of what stands in the form so far, and what to mind. Stores nothing.

    It is asked by POST: an address would put the position into the server's log.
    """

    http_method_names = ["post"]
    place = "colonies"
    template_name = "donors/reading.html"

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        require(self.actor, Role.FIELD, act=ACT)
        typed, permits = request.POST.dict(), request.POST.getlist("permits")
        context = self.get_context_data(reading=reading_of(self.actor, typed, permits))
        return self.render_to_response(context)


def _data(typed: Mapping[str, str], sent: QueryDict, known: bool) -> dict[str, Any]:
    names = _OF_BOTH if known else (*_OF_COLONY, *_OF_BOTH)
    data: dict[str, Any] = {
        name: text for name in names if (text := typed.get(name, "").strip()) != ""
    }
    if known:
        # Without a colony this would be a collection of loose pieces.
        data["colony"] = typed.get("colony", "").strip()
    data["uid"] = typed.get("uid") or None
    data["permits"] = sent.getlist("permits")
    data["done_by"] = names_in(typed.get("done_by", ""))
    return data


def _pictures(request: HttpRequest, problems: list[Problem]) -> list[Picture]:
    files = request.FILES.getlist("photos")
    if len(files) > MOST_AT_ONCE:
        problems.append(too_many())
        return []
    found = []
    for file in files:
        try:
            found.append(clean(file, file.size, file.name or ""))
        except Refused as refusal:
            problems += refusal.problems
    return found


def _blank_of(problem: Problem) -> str:
    """The blank beside which a problem is told, or an empty text."""
    name = str(problem.path[0]) if problem.path else ""
    name = _RENAMED.get(name, name)
    if not problem.path and problem.code == "required":
        return "count"
    return name if name in _BESIDE else ""


def _usual(actor: Actor) -> dict[str, Any]:
    """An empty form, with what was the same on this person's last collection."""
    last = (
        Event.objects.filter(
            kind=EventKind.COLLECTION,
            recorded_by=actor.user_id,
            live=True,
            collection__isnull=False,
        )
        .select_related("collection__reef", "collection__taxon")
        .prefetch_related("permit_links__permit")
        .order_by("-id")
        .first()
    )
    typed: dict[str, Any] = {
        "uid": str(uuid.uuid4()),
        SOURCE: "new",
        "when": timezone.localdate().isoformat(),
    }
    if last is not None:
        typed |= {
            "reef": last.collection.reef.code,
            "taxon": last.collection.taxon.code,
            "done_by": ", ".join(last.people),
            "permits": [entry.permit.code for entry in last.permit_links.all()],
        }
    return typed


def _open(register: type[Taxon | Reef]) -> list[tuple[str, str]]:
    """The open rows of a register to choose from, by name."""
    rows = register._default_manager.filter(closed_on=None).order_by("name")
    return list(rows.values_list("code", "name"))


def _colonies() -> QuerySet[DonorColony]:
    rows = DonorColony.objects.filter(closed_on=None).select_related("taxon")
    return rows.order_by("-pk")[:MOST_OFFERED]
