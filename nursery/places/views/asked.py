"""What the scripts of plates ask for: another structure's cells, what a tag names, what waits."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest, HttpResponse, JsonResponse
from django.utils import timezone
from rest_framework.request import Request

from nursery.core.errors import Trouble
from nursery.core.filters import refuse_unknown
from nursery.core.models import Event
from nursery.core.phrases import day
from nursery.core.registers import find
from nursery.core.views.base import Page
from nursery.donors.models import Taxon
from nursery.husbandry.queries import findings_of
from nursery.lineage.living import INDIVIDUAL
from nursery.lineage.models import Ramet
from nursery.lineage.plate import bench
from nursery.lineage.resolve import one
from nursery.lineage.words import Life, Place
from nursery.places.models import Structure
from nursery.places.views.grid import Drawn, genet_data

MOST_EVENTS = 12
"""Of how many entries at most the ramets are offered that have no place yet."""
MOST_WAITING = 1000


class Asked(Page):
    """An answer as JSON; what is unknown is answered with its sentence."""

    def get(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        try:
            return JsonResponse(self.answer(request))
        except Trouble as trouble:
            sentences = " ".join(problem.message for problem in trouble.problems)
            return JsonResponse({"message": sentences}, status=trouble.status)

    def answer(self, request: HttpRequest) -> dict[str, Any]:
        raise NotImplementedError


class CellsAsked(Asked):
    """The cells of a structure, as its page has them."""

    def answer(self, request: HttpRequest) -> dict[str, Any]:
        refuse_unknown(Request(request), ())
        row = find(Structure, self.kwargs["code"])
        drawn = Drawn(bench(row), findings_of(row), timezone.localdate())
        return {**drawn.data(row), "free": drawn.bench.free, "name": str(row)}


class NamedAsked(Asked):
    """The ramet that a code or a tag names."""

    def answer(self, request: HttpRequest) -> dict[str, Any]:
        refuse_unknown(Request(request), ("q",))
        pk = one(request.GET.get("q", "")).pk
        row = Ramet.objects.select_related("taxon", "structure", "genet__canonical").get(pk=pk)
        genet = row.genet.canonical or row.genet if row.genet is not None else None
        return {
            "code": row.code,
            "genet": genet.pk if genet else 0,
            **genet_data(genet.pk if genet else None, str(genet or "")),
            "taxon": row.taxon.name,
            "zoanthid": row.taxon.group == Taxon.Group.ZOANTHID,
            "living": row.living,
            "life": row.get_life_display(),
            "where": f"{row.structure} {row.cell or ''}".strip() if row.structure else "",
        }


class WaitingAsked(Asked):
    """Living ramets that are packed or have no place, by the entry that they were born by: the
    newest entries first. Two queries."""

    def answer(self, request: HttpRequest) -> dict[str, Any]:
        refuse_unknown(Request(request), ())
        waiting = (
            Ramet.objects.filter(life=Life.LIVING, place__in=[Place.PACKED, Place.NOWHERE])
            .annotate(individual=INDIVIDUAL)
            .order_by("-born", "pk")
            .values_list("born_id", "code", "individual")[:MOST_WAITING]
        )
        found: dict[int, list[tuple[str, int | None]]] = {}
        for born, code, genet in waiting:
            if born in found or len(found) < MOST_EVENTS:
                found.setdefault(born, []).append((code, genet))
        events = Event.objects.in_bulk(found)
        return {
            "entries": [
                {
                    "says": f"{event.get_kind_display()}, {day(event.latest)}",
                    "ramets": [
                        {"code": code, "genet": genet or 0, **genet_data(genet, "")}
                        for code, genet in found[pk]
                    ],
                }
                for pk, event in sorted(events.items(), reverse=True)
            ]
        }
