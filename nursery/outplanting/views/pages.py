"""The page of a plot, and that of any one entry."""

from __future__ import annotations

import uuid
from collections.abc import Mapping, Sequence
from functools import cached_property
from typing import Any

from django.db.models import QuerySet
from django.http import HttpRequest, HttpResponse
from django.utils.html import format_html
from django.utils.safestring import SafeString
from rest_framework.request import Request

from nursery.core.errors import Problem, Unknown
from nursery.core.filters import refuse_unknown
from nursery.core.models import Event, EventKind
from nursery.core.phrases import counted, in_words, link, listed, number, ramet_link
from nursery.core.views.base import Page
from nursery.core.views.register import Fact, RegisterPage, Section
from nursery.core.views.tables import Column, Sheet, sheet, table
from nursery.donors.flagged import flags_of_collections
from nursery.donors.models import Taxon
from nursery.donors.positions import of_collections
from nursery.donors.views.lists import (
    event_link,
    permits_of,
    taken_from,
    taxon_link,
)
from nursery.donors.views.pages import position_words
from nursery.lineage.models import Source, Step
from nursery.lineage.queries import place_view
from nursery.lineage.views.descent import where
from nursery.lineage.views.lists import genet_or_not, life_words
from nursery.lineage.words import Cause, Life, Place, What
from nursery.outplanting.models import Fixing, Observation, Outplant
from nursery.outplanting.views.lists import plot_link, visited
from nursery.places.models import Plot, StructureStep
from nursery.places.views.pages import all_of, common_facts

PAGED = frozenset({"limit", "offset"})


class PlotPage(RegisterPage):
    """A plot with what was planted in it."""

    template_name = "outplanting/plot.html"
    place = "reef"
    model = Plot
    name = "plot"
    joined = ("site__reef",)
    parameters = PAGED

    @cached_property
    def outplants(self) -> QuerySet[Outplant]:
        return Outplant.objects.filter(
            outplanting__plot=self.row, outplanting__event__live=True
        ).select_related(
            "outplanting__event",
            "ramet__taxon",
            "ramet__genet__canonical",
            "ramet__structure__nursery",
            "ramet__plot__site",
        )

    @cached_property
    def found(self) -> Sheet:
        return sheet(self.request, self.outplants.order_by("pk"))

    def says(self) -> str:
        living = self.row.ramets.filter(life=Life.LIVING, place=Place.PLOT).count()
        return (
            f"{counted(living, 'ramet,ramets')} live in plot {self.row.code}, "
            f"of {number(self.found.count)} planted."
        )

    def facts(self) -> Sequence[Fact]:
        row = self.row
        return [
            Fact("Site", link(row.site, "site", row.site.code)),
            Fact("Depth", f"{number(row.depth_m)} m" if row.depth_m is not None else ""),
            Fact("Area", f"{number(row.area_m2)} m²" if row.area_m2 is not None else ""),
            *common_facts(row),
        ]

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        found = self.found
        return super().get_context_data(
            sheet=found,
            table=table(
                [
                    Column("Ramet", lambda row: ramet_link(row.ramet.code)),
                    Column("Genet", lambda row: genet_or_not(row.ramet)),
                    Column("Taxon", lambda row: taxon_link(row.ramet)),
                    Column("Planted", lambda row: event_link(row.outplanting.event)),
                    Column("Position", position_in_plot),
                    Column("State", lambda row: life_words(row.ramet)),
                    Column("Now", lambda row: now_elsewhere(row, self.row)),
                ],
                found.rows,
                "Outplants of this plot",
            ),
            more=all_of("ramets", "plot", self.row.code, "All ramets that are here now"),
            **kwargs,
        )


def position_in_plot(row: Outplant) -> str:
    """The plot's own labels for where an outplant is, and how it is held."""
    fixing = f"held by {Fixing(row.fixing).label}" if row.fixing is not None else ""
    cluster = f"cluster {row.cluster}" if row.cluster else ""
    return ", ".join(part for part in (row.position, cluster, fixing) if part)


def now_elsewhere(row: Outplant, plot: Plot) -> SafeString | str:
    """Where an outplant is, if that is no longer this plot."""
    ramet = row.ramet
    if ramet.plot_id == plot.pk:
        return "here"
    return where(
        place_view(Place(ramet.place), ramet.structure, ramet.row, ramet.column, ramet.plot)
    )


class EventPage(Page):
    """One entry of any kind: its header, its particulars, and everything that it touched."""

    place = "today"
    template_name = "outplanting/event.html"

    @cached_property
    def event(self) -> Event:
        """The entry of the uid in the address; raises Unknown (`unknown_event`)."""
        try:
            uid = uuid.UUID(self.kwargs["uid"])
        except ValueError:
            uid = uuid.UUID(int=0)
        rows = Event.objects.select_related(*_PARTICULARS)
        row = rows.prefetch_related("permit_links__permit").filter(uid=uid).first()
        if row is None:
            raise Unknown(Problem("unknown_event", "There is no such entry."))
        return row

    def get(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        refuse_unknown(Request(request), PAGED)
        return super().get(request, *args, **kwargs)

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        event = self.event
        kind = EventKind(event.kind)
        rows, columns, caption = touched(event, kind)
        found = sheet(self.request, rows)
        context = super().get_context_data(
            event=event,
            kind=kind,
            facts=[
                fact
                for fact in (*self._header(), *self._particulars(kind))
                if fact.value not in (None, "")
            ],
            flags=self._flags(kind),
            sheet=found,
            says=f"{counted(found.count, 'row,rows')}: {caption[0].lower()}{caption[1:]}.",
            table=table(columns, found.rows, caption, "It touched nothing."),
            sections=self._sections(kind),
            zoanthid=kind is EventKind.FRAGMENTATION
            and event.fragmentation.taxon.group == Taxon.Group.ZOANTHID,
            permit_caution=kind in (EventKind.COLLECTION, EventKind.OUTPLANTING),
            **kwargs,
        )
        return {**context, "place": _PLACES[kind]}

    def _header(self) -> list[Fact]:
        event = self.event
        return [
            Fact("When", in_words(event.when)),
            Fact("Hands", listed(event.people)),
            Fact("Permits", permits_of(event)),
            Fact("Note", event.note),
        ]

    def _particulars(self, kind: EventKind) -> list[Fact]:
        event = self.event
        match kind:
            case EventKind.COLLECTION:
                row = event.collection
                seen = of_collections(self.actor, [row]).get(row.pk)
                share = row.share_taken
                return [
                    Fact("From", taken_from(row)),
                    Fact("Reef", link(row.reef, "reef", row.reef.code)),
                    Fact("Taxon", taxon_link(row)),
                    Fact("Pieces", number(row.pieces)),
                    Fact("Share of the colony", f"{number(share)} %" if share is not None else ""),
                    Fact("Size of a piece", _with_unit(row.piece_size_cm, "cm")),
                    Fact("Depth", _with_unit(row.depth_m, "m")),
                    Fact("Position", position_words(seen)),
                ]
            case EventKind.INTAKE:
                intake = event.intake
                return [
                    Fact("Of the collection of", event_link(intake.collection.event)),
                    Fact("At", link(intake.nursery, "nursery", intake.nursery.code)),
                ]
            case EventKind.FRAGMENTATION:
                cutting = event.fragmentation
                return [
                    Fact("Taxon", taxon_link(cutting)),
                    Fact("Genet", genet_or_not(cutting)),
                    Fact("Children", number(cutting.children_count)),
                    Fact("Generation", number(cutting.generation) or "not known"),
                ]
            case EventKind.OUTPLANTING:
                return [Fact("Plot", plot_link(event.outplanting.plot))]
            case EventKind.VISIT:
                return [Fact("To", visited(event.visit))]
            case EventKind.STOCK_ENTRY:
                at = event.stock_entry.nursery
                return [Fact("At", link(at, "nursery", at.code) if at is not None else "")]
            case _:
                return []

    def _flags(self, kind: EventKind) -> Sequence[Any]:
        if kind is not EventKind.COLLECTION:
            return ()
        return flags_of_collections([self.event.collection]).get(self.event.pk, [])

    def _sections(self, kind: EventKind) -> list[Section]:
        if kind is not EventKind.FRAGMENTATION:
            return []
        sources = list(
            Source.objects.filter(fragmentation=self.event.fragmentation)
            .select_related("ramet__genet__canonical")
            .order_by("pk")
        )
        return [
            Section(
                f"Cut from {counted(len(sources), 'ramet,ramets')}",
                table(
                    [
                        Column("Ramet", lambda row: ramet_link(row.ramet.code)),
                        Column("Genet", lambda row: genet_or_not(row.ramet)),
                        Column("Left", lambda row: "used up" if row.used_up else "grows on"),
                    ],
                    sources,
                    "Mothers of this cutting",
                ),
            )
        ]


_PARTICULARS = (
    "recorded_by",
    "collection__colony",
    "collection__reef",
    "collection__taxon",
    "intake__collection__event",
    "intake__nursery",
    "fragmentation__taxon",
    "fragmentation__genet__canonical",
    "outplanting__plot__site",
    "visit__site",
    "visit__reef",
    "stock_entry__nursery",
)
_PLACES: Mapping[EventKind, str] = {
    EventKind.COLLECTION: "colonies",
    EventKind.OUTPLANTING: "reef",
    EventKind.VISIT: "reef",
    EventKind.INTAKE: "nursery",
    EventKind.FRAGMENTATION: "nursery",
    EventKind.MOVE: "nursery",
    EventKind.STRUCTURE_MOVE: "nursery",
    EventKind.STOCK_ENTRY: "nursery",
}


def _with_unit(value: Any, unit: str) -> str:
    return f"{number(value)} {unit}" if value is not None else ""


def touched(event: Event, kind: EventKind) -> tuple[QuerySet[Any], list[Column], str]:
    """The rows of what an entry touched, their columns, and what they are."""
    if kind is EventKind.STRUCTURE_MOVE:
        return (
            StructureStep.objects.filter(event=event)
            .select_related("structure", "bay", "parent", "plot")
            .order_by("pk"),
            [
                Column(
                    "Structure", lambda row: link(row.structure, "structure", row.structure.code)
                ),
                Column("To", _stands),
            ],
            "Structures that were set up or moved",
        )
    if kind is EventKind.VISIT:
        return (
            Observation.objects.filter(visit=event.visit)
            .select_related("ramet__genet__canonical", "colony__genet__canonical", "plot")
            .order_by("pk"),
            [
                Column("Seen", _seen),
                Column("Genet", lambda row: genet_or_not(row.ramet or row.colony)),
                Column(
                    "Plot", lambda row: link(row.plot, "plot", row.plot.code) if row.plot else ""
                ),
                Column("Condition", _condition),
                Column("Tissue lost, %", lambda row: number(row.tissue_lost), number=True),
                Column("Size, cm", lambda row: number(row.size_cm), number=True),
                Column("Note", lambda row: row.note),
            ],
            "What was seen",
        )
    if kind is EventKind.OUTPLANTING:
        return (
            Outplant.objects.filter(outplanting=event.outplanting)
            .select_related("ramet__taxon", "ramet__genet__canonical")
            .order_by("pk"),
            [
                Column("Ramet", lambda row: ramet_link(row.ramet.code)),
                Column("Genet", lambda row: genet_or_not(row.ramet)),
                Column("Taxon", lambda row: taxon_link(row.ramet)),
                Column("Position", position_in_plot),
                Column("State now", lambda row: life_words(row.ramet)),
            ],
            "Ramets that were planted",
        )
    return (
        Step.objects.filter(event=event)
        .select_related(
            "ramet__taxon", "ramet__genet__canonical", "structure__nursery", "plot__site"
        )
        .order_by("pk"),
        [
            Column("Ramet", lambda row: ramet_link(row.ramet.code)),
            Column("Genet", lambda row: genet_or_not(row.ramet)),
            Column("What", _step),
            Column("Place", _step_place),
            Column("State now", lambda row: life_words(row.ramet)),
        ],
        "Ramets that it touched",
    )


def _stands(row: StructureStep) -> SafeString | str:
    if row.bay is not None:
        return link(row.bay, "bay", row.bay.code)
    if row.parent is not None:
        return link(row.parent, "structure", row.parent.code)
    return link(row.plot, "plot", row.plot.code) if row.plot is not None else "nowhere"


def _seen(row: Observation) -> SafeString | str:
    if row.ramet is not None:
        return ramet_link(row.ramet.code)
    return link(row.colony, "colony", row.colony.code) if row.colony is not None else ""


def _condition(row: Observation) -> str:
    cause = Cause(row.cause).label if row.cause is not None else ""
    known = cause and row.cause != Cause.UNKNOWN
    return f"{row.get_condition_display()} ({cause})" if known else row.get_condition_display()


def _step(row: Step) -> SafeString | str:
    what = What(row.what).label
    text = f"{what} ({Cause(row.cause).label})" if row.cause is not None else what
    return text if row.live else format_html("<s>{}</s> (void)", text)


def _step_place(row: Step) -> SafeString | str:
    if row.place is None:
        return ""
    return where(place_view(Place(row.place), row.structure, row.row, row.column, row.plot))
