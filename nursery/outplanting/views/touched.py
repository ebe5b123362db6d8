"""What an entry touched, row by row; of a void entry, what its void took out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from django.db.models import Q, QuerySet
from django.utils.html import format_html
from django.utils.safestring import SafeString
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from nursery.core.models import Correction, Event, EventKind, Mend
from nursery.core.phrases import joined, link, number, ramet_link
from nursery.core.spoken import shown
from nursery.core.views.tables import Column
from nursery.donors.views.lists import genet_link, taxon_link
from nursery.genotyping.models import Sample
from nursery.genotyping.views.lists import taken_of
from nursery.husbandry.models import Finding
from nursery.husbandry.queries import causes_of
from nursery.lineage.models import Step, Tag
from nursery.lineage.queries import place_view
from nursery.lineage.views.descent import where
from nursery.lineage.views.lists import genet_or_not, life_words
from nursery.lineage.views.telling import cause_words, what_words
from nursery.lineage.words import Cause, Origin, Place
from nursery.outplanting.models import Fixing, Observation, Outplant
from nursery.places.cells import Cell
from nursery.places.models import StructureStep


@dataclass(frozen=True, slots=True)
class Undone:
    """Which rows of an event are shown: the live ones, or those that its last void took out."""

    live: bool
    known: bool = False
    steps: Sequence[int] = ()
    structure_steps: Sequence[int] = ()
    tags: Sequence[int] = ()
    tags_ended: Sequence[int] = ()

    @classmethod
    def of(cls, event: Event, corrections: Sequence[Correction]) -> Undone:
        if event.live:
            return cls(True)
        last = next((row for row in reversed(corrections) if row.mend == Mend.VOIDED), None)
        if last is None:
            return cls(False)
        took = last.undone
        return cls(
            False,
            True,
            took.get("steps", ()),
            took.get("structure_steps", ()),
            took.get("tags", ()),
            [row[0] for row in took.get("tags_ended", ())],
        )

    def which(self, ids: Sequence[int]) -> Q:
        """The rows of one table, whose ids the void took down."""
        if self.live:
            return Q(live=True)
        return Q(pk__in=ids) if self.known else Q()

    def tags_of(self, event: Event) -> QuerySet[Tag]:
        """The tags that the event put on or took off."""
        if self.live:
            rows = Tag.objects.filter(Q(event=event) | Q(ended_by=event), live=True)
        else:
            rows = Tag.objects.filter(Q(event=event) | Q(pk__in=[*self.tags, *self.tags_ended]))
        return rows.select_related("ramet").order_by("pk")


@dataclass(frozen=True, slots=True)
class Touched:
    """Rows, their columns, and what they are."""

    rows: QuerySet[Any]
    columns: Sequence[Column]
    caption: str


RAMET = Column(gettext_lazy("Ramet"), lambda row: ramet_link(row.ramet.code))
GENET = Column(gettext_lazy("Genet"), lambda row: genet_or_not(row.ramet))
TAXON = Column(gettext_lazy("Taxon"), lambda row: taxon_link(row.ramet))
STATE = Column(gettext_lazy("State now"), lambda row: life_words(row.ramet))


def touched(event: Event, kind: EventKind, undone: Undone) -> Touched | None:
    """The rows of what an entry touched; None where it is about no single ramet or structure."""
    match kind:
        case EventKind.GENET_MERGE:
            return None
        case EventKind.STRUCTURE_MOVE:
            return Touched(
                structure_rows(event, undone),
                [STRUCTURE, STANDS],
                _("Structures that were set up or moved"),
            )
        case EventKind.VISIT:
            return _seen_on(event)
        case EventKind.CHECK:
            return _found_by(event, undone)
        case EventKind.OUTPLANTING:
            return _planted_by(event, undone)
        case EventKind.SAMPLING:
            return _taken_by(event)
        case EventKind.TAGGING:
            return Touched(
                undone.tags_of(event),
                [
                    RAMET,
                    Column(_("Tag"), lambda row: row.text),
                    Column(_("What"), lambda row: _tagged(row, event, undone)),
                ],
                _("Tags that were put on or came off"),
            )
    more = [BORN_AS, PARENTS] if kind is EventKind.STOCK_ENTRY else []
    steps = Step.objects.filter(undone.which(undone.steps), event=event).select_related(
        "ramet__taxon", "ramet__genet__canonical", "structure__nursery", "plot__site"
    )
    if kind is EventKind.STOCK_ENTRY:
        steps = steps.prefetch_related("ramet__parents__genet__canonical")
    return Touched(
        steps.order_by("pk"),
        [
            RAMET,
            GENET,
            *more,
            Column(_("What"), _step),
            Column(_("Place"), _step_place),
            *_state(undone),
        ],
        _("Ramets that it touched"),
    )


def _state(undone: Undone) -> list[Column]:
    """What is true now stands beside no row that is void."""
    return [STATE] if undone.live else []


def structure_rows(event: Event, undone: Undone) -> QuerySet[StructureStep]:
    """Where structures stand by this event."""
    return (
        StructureStep.objects.filter(undone.which(undone.structure_steps), event=event)
        .select_related("structure", "bay", "parent", "plot")
        .order_by("pk")
    )


def _seen_on(event: Event) -> Touched:
    return Touched(
        Observation.objects.filter(visit=event.visit)
        .select_related("ramet__genet__canonical", "colony__genet__canonical", "plot")
        .order_by("pk"),
        [
            Column(_("Seen"), _seen),
            Column(_("Genet"), lambda row: genet_or_not(row.ramet or row.colony)),
            Column(
                _("Plot"), lambda row: link(row.plot, "plot", row.plot.code) if row.plot else ""
            ),
            Column(_("Condition"), _condition),
            Column(_("Tissue lost, %"), lambda row: number(row.tissue_lost), number=True),
            Column(_("Size, cm"), lambda row: number(row.size_cm), number=True),
            Column(_("Note"), lambda row: row.note),
        ],
        _("What was seen"),
    )


def _found_by(event: Event, undone: Undone) -> Touched:
    causes = causes_of([event.pk])

    def state(row: Finding) -> str:
        return f"{row.get_state_display()}{cause_words(causes.get((event.pk, row.ramet_id)))}"

    return Touched(
        Finding.objects.filter(during=event.pk)
        .select_related("ramet__taxon", "ramet__genet__canonical")
        .order_by("pk"),
        [
            RAMET,
            GENET,
            Column(_("Found"), state),
            Column(_("Size, cm"), lambda row: number(row.size_cm), number=True),
            Column(_("Note"), lambda row: row.note),
            *_state(undone),
        ],
        _("What was found"),
    )


def _taken_by(event: Event) -> Touched:
    return Touched(
        Sample.objects.filter(event=event)
        .select_related("ramet__genet__canonical", "colony__genet__canonical")
        .order_by("pk"),
        [
            Column(_("Sample"), lambda row: link(row.code, "sample", row.code)),
            Column(_("Of"), taken_of),
            Column(_("Genet"), lambda row: genet_or_not(row.source)),
            Column(_("Label"), lambda row: row.label),
            Column(_("Laboratory"), lambda row: row.laboratory),
        ],
        _("Samples that were taken"),
    )


def _planted_by(event: Event, undone: Undone) -> Touched:
    return Touched(
        Outplant.objects.filter(outplanting=event.outplanting)
        .select_related("ramet__taxon", "ramet__genet__canonical", "structure")
        .order_by("pk"),
        [
            RAMET,
            GENET,
            TAXON,
            Column(_("On"), planted_on),
            Column(_("Position"), position_in_plot),
            *_state(undone),
        ],
        _("Ramets that were planted"),
    )


def planted_on(row: Outplant) -> SafeString | str:
    """The rock or frame that an outplant was planted on, and its socket."""
    if row.structure is None:
        return ""
    code = row.structure.code
    socket = Cell(row.row, row.column).name if row.row and row.column else ""
    return link(f"{code} {socket}".strip(), "structure", code)


def position_in_plot(row: Outplant) -> str:
    """The plot's own labels for where an outplant is, and how it is held."""
    fixing = cluster = ""
    if row.fixing is not None:
        fixing = _("held by %(fixing)s") % {"fixing": shown(Fixing(row.fixing))}
    if row.cluster:
        cluster = _("cluster %(cluster)s") % {"cluster": row.cluster}
    return ", ".join(part for part in (row.position, cluster, fixing) if part)


STRUCTURE = Column(
    gettext_lazy("Structure"), lambda row: link(row.structure, "structure", row.structure.code)
)
BORN_AS = Column(gettext_lazy("Came as"), lambda row: shown(Origin(row.ramet.origin)))
PARENTS = Column(
    gettext_lazy("May descend from"),
    lambda row: joined(genet_link(parent.genet) for parent in row.ramet.parents.all()),
)


def _stands(row: StructureStep) -> SafeString | str:
    if row.lost:
        return _("lost")
    if row.bay is not None:
        return link(row.bay, "bay", row.bay.code)
    if row.parent is not None:
        cell = row.parent_row is not None and row.parent_column is not None
        name = Cell(row.parent_row or 0, row.parent_column or 0).name if cell else ""
        return link(f"{row.parent.code} {name}".strip(), "structure", row.parent.code)
    return link(row.plot, "plot", row.plot.code) if row.plot is not None else _("nowhere")


STANDS = Column(gettext_lazy("To"), _stands)


def _seen(row: Observation) -> SafeString | str:
    if row.ramet is not None:
        return ramet_link(row.ramet.code)
    return link(row.colony, "colony", row.colony.code) if row.colony is not None else ""


def _condition(row: Observation) -> str:
    cause = Cause(row.cause) if row.cause is not None else None
    return f"{row.get_condition_display()}{cause_words(cause)}"


def _tagged(row: Tag, event: Event, undone: Undone) -> str:
    put_on = row.event_id == event.pk
    came_off = row.ended_by_id == event.pk or row.pk in undone.tags_ended
    off = _("lost") if row.lost else _("taken off")
    if put_on and came_off:
        return _("put on and %(off)s") % {"off": off}
    return _("put on") if put_on else off


def _step(row: Step) -> str:
    return what_words(row.what, row.life, row.cause)


def _step_place(row: Step) -> SafeString | str:
    at: SafeString | str = ""
    if row.place is not None:
        at = where(place_view(Place(row.place), row.structure, row.row, row.column, row.plot))
    if row.base is None:
        return at
    base = _("base %(base)s") % {"base": row.base} if row.base else _("a base without a name")
    return format_html("{}, {}", at, base) if at else base
