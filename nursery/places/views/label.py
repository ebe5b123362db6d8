"""A plate's own label: what is on it, for paper."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from rest_framework.request import Request

from nursery.core.filters import refuse_unknown
from nursery.core.registers import find
from nursery.core.views.base import Page, canonical
from nursery.lineage.models import Fragmentation, Source
from nursery.lineage.plate import Bench, bench
from nursery.places.models import Structure

MOST_CUTTINGS = 4
"""How many cuttings a label has room for, the newest first."""
MOST_MOTHERS = 6


class LabelPage(Page):
    """The label of one structure: its code, what lives on it, when it was cut and from what."""

    template_name = "places/label.html"
    place = "nursery"

    def get(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        row = find(Structure, self.kwargs["code"])
        if row.code != self.kwargs["code"]:
            return canonical(request, reverse("structure-label", args=[row.code]))
        refuse_unknown(Request(request), ())
        here = bench(row)
        return self.render_to_response(
            self.get_context_data(row=row, bench=here, cuttings=cuttings_on(here))
        )


def cuttings_on(here: Bench) -> list[dict[str, Any]]:
    """The cuttings that living ramets on a structure came from, the newest first, with how many of
    each and the mothers. Two queries."""
    lots = [spot.ramet.lot for spot in here.spots if spot.ramet and spot.ramet.living]
    lots += [ramet.lot for ramet in here.loose if ramet.living]
    rows = (
        Fragmentation.objects.filter(event__uid__in={lot for lot in lots if lot})
        .select_related("event")
        .order_by("-event__moment", "-pk")
    )
    shown = list(rows)
    mothers: dict[int, list[str]] = {}
    sources = Source.objects.filter(fragmentation__in=[row.pk for row in shown[:MOST_CUTTINGS]])
    for pk, code in sources.order_by("pk").values_list("fragmentation_id", "ramet__code"):
        mothers.setdefault(pk, []).append(code)
    return [
        {
            "event": row.event,
            "n": lots.count(row.event.uid),
            "mothers": mothers.get(row.pk, [])[:MOST_MOTHERS],
            "more": max(len(mothers.get(row.pk, [])) - MOST_MOTHERS, 0),
        }
        for row in shown[:MOST_CUTTINGS]
    ]
