"""Lists of outplantings, of visits, and of all entries of every kind."""

from __future__ import annotations

from typing import Any, ClassVar

from django.db.models import Count, QuerySet
from django.utils.html import format_html
from django.utils.safestring import SafeString
from django.utils.translation import gettext_lazy as _
from django.utils.translation import ngettext_lazy

from nursery.core.api.views import EventFilters
from nursery.core.models import Event
from nursery.core.phrases import in_words, link, listed
from nursery.core.views import kin
from nursery.core.views.lists import Listing
from nursery.core.views.tables import Column
from nursery.donors.views.lists import event_link, permits_of
from nursery.outplanting.filters import OutplantingFilters, VisitFilters
from nursery.outplanting.models import Outplanting, Visit


def visited(row: Visit) -> SafeString | str:
    """The site or reef that a visit went to."""
    if row.site is not None:
        return link(row.site, "site", row.site.code)
    return link(row.reef, "reef", row.reef.code) if row.reef is not None else ""


class EventList(Listing):
    """Everything that happened, the newest first."""

    place = "today"
    model = Event
    key = "uid"
    filterset_class = EventFilters
    title = _("All entries")
    names = ngettext_lazy("entry", "entries")
    empty = _("What happens is entered by field and nursery staff. Nothing has been yet.")
    kin = kin.TODAY
    ordering_fields: ClassVar = {"when": "earliest", "recorded_at": "recorded_at"}
    default_ordering = ("-earliest", "-pk")
    columns = (
        Column(_("When"), event_link, "when"),
        Column(_("What"), lambda row: _void_struck(row)),
        Column(_("Hands"), lambda row: listed(row.people)),
        Column(_("Permits"), permits_of),
        Column(_("Entered"), lambda row: in_words(row.recorded_at), "recorded_at"),
        Column(_("Entered by"), lambda row: str(row.recorded_by)),
    )

    def get_queryset(self) -> QuerySet[Any]:
        return Event.objects.select_related("recorded_by").prefetch_related("permit_links__permit")


class OutplantingList(Listing):
    """What was planted where."""

    place = "reef"
    model = Outplanting
    filterset_class = OutplantingFilters
    title = _("Outplantings")
    names = ngettext_lazy("outplanting", "outplantings")
    empty = _("Plantings of ramets on the reef belong here. Field staff enter them.")
    kin = kin.REEF
    ordering_fields: ClassVar = {"when": "event__earliest", "recorded_at": "event__recorded_at"}
    default_ordering = ("-event__earliest", "-event_id")
    columns = (
        Column(_("When"), lambda row: event_link(row.event), "when"),
        Column(_("Plot"), lambda row: plot_link(row.plot)),
        Column(_("Ramets"), lambda row: row.ramet_count, number=True),
        Column(_("Hands"), lambda row: listed(row.event.people)),
        Column(_("Permits"), lambda row: permits_of(row.event)),
    )

    def get_queryset(self) -> QuerySet[Any]:
        return (
            Outplanting.objects.select_related("event", "plot__site")
            .prefetch_related("event__permit_links__permit")
            .annotate(ramet_count=Count("outplants", distinct=True))
        )


class VisitList(Listing):
    """Who looked where, and at how many."""

    place = "reef"
    model = Visit
    filterset_class = VisitFilters
    title = _("Visits")
    names = ngettext_lazy("visit", "visits")
    empty = _("Trips to look at outplants and donor colonies belong here. Field staff enter them.")
    kin = kin.REEF
    ordering_fields: ClassVar = {"when": "event__earliest", "recorded_at": "event__recorded_at"}
    default_ordering = ("-event__earliest", "-event_id")
    columns = (
        Column(_("When"), lambda row: event_link(row.event), "when"),
        Column(_("To"), visited),
        Column(_("Observations"), lambda row: row.observation_count, number=True),
        Column(_("Hands"), lambda row: listed(row.event.people)),
    )

    def get_queryset(self) -> QuerySet[Any]:
        return Visit.objects.select_related("event", "site", "reef").annotate(
            observation_count=Count("observations", distinct=True)
        )


def _void_struck(row: Event) -> SafeString | str:
    """The kind of an entry, struck where it did not happen."""
    kind = row.get_kind_display()
    return kind if row.live else format_html("<s>{}</s>", kind)


def plot_link(plot: Any) -> SafeString:
    """A plot and its site, each leading to its page."""
    return format_html(
        "{}, {}", link(plot, "plot", plot.code), link(plot.site, "site", plot.site.code)
    )
