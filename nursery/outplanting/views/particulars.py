"""The particulars of each kind of entry: facts, and tables besides what it touched."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext_lazy

from nursery.core.actor import Actor
from nursery.core.models import Event, EventKind
from nursery.core.phrases import counted, link, number, ramet_link
from nursery.core.views.register import Fact, Section
from nursery.core.views.tables import Column, table
from nursery.donors.positions import of_collections
from nursery.donors.views.lists import event_link, genet_link, taken_from, taxon_link
from nursery.donors.views.pages import position_words
from nursery.lineage.models import Identification, Source, StructureCount
from nursery.lineage.views.lists import genet_or_not
from nursery.lineage.views.telling import genet_words
from nursery.outplanting.models import PlotCount
from nursery.outplanting.views.lists import plot_link, visited
from nursery.outplanting.views.touched import STANDS, STRUCTURE, Undone, structure_rows

JOINED: Mapping[EventKind, Sequence[str]] = {
    EventKind.COLLECTION: ("collection__colony", "collection__reef", "collection__taxon"),
    EventKind.INTAKE: ("intake__collection__event", "intake__nursery"),
    EventKind.FRAGMENTATION: ("fragmentation__taxon", "fragmentation__genet__canonical"),
    EventKind.OUTPLANTING: ("outplanting__plot__site", "outplanting__manifest"),
    EventKind.VISIT: ("visit__site", "visit__reef"),
    EventKind.STOCK_ENTRY: ("stock_entry__nursery",),
    EventKind.ENDING: ("ending__into",),
    EventKind.RELABELLING: ("relabelling__genet__canonical",),
    EventKind.GENET_MERGE: ("genet_merge__kept", "genet_merge__merged"),
}
"""What is read together with an entry of each kind. Of all kinds at once it would be so many
tables that PostgreSQL plans for seconds."""


def particulars(actor: Actor, event: Event, kind: EventKind) -> list[Fact]:
    """What is known of an entry beside its header."""
    match kind:
        case EventKind.COLLECTION:
            row = event.collection
            seen = of_collections(actor, [row]).get(row.pk)
            share = row.share_taken
            return [
                Fact(_("From"), taken_from(row)),
                Fact(_("Reef"), link(row.reef, "reef", row.reef.code)),
                Fact(_("Taxon"), taxon_link(row)),
                Fact(_("Pieces"), number(row.pieces)),
                Fact(_("Share of the colony"), f"{number(share)} %" if share is not None else ""),
                Fact(_("Size of a piece"), _with_unit(row.piece_size_cm, "cm")),
                Fact(_("Depth"), _with_unit(row.depth_m, "m")),
                Fact(_("Position"), position_words(seen)),
            ]
        case EventKind.INTAKE:
            intake = event.intake
            return [
                Fact(_("Of the collection of"), event_link(intake.collection.event)),
                Fact(_("At"), link(intake.nursery, "nursery", intake.nursery.code)),
            ]
        case EventKind.FRAGMENTATION:
            cutting = event.fragmentation
            return [
                Fact(_("Taxon"), taxon_link(cutting)),
                Fact(_("Genet"), genet_or_not(cutting)),
                Fact(_("Children"), number(cutting.children_count)),
                Fact(_("Generation"), number(cutting.generation) or _("not known")),
            ]
        case EventKind.OUTPLANTING:
            facts = [Fact(_("Plot"), plot_link(event.outplanting.plot))]
            manifest = event.outplanting.manifest
            if manifest is not None:
                facts.append(Fact(_("Manifest"), link(manifest, "manifest", manifest.code)))
            return facts
        case EventKind.VISIT:
            return [Fact(_("To"), visited(event.visit))]
        case EventKind.STOCK_ENTRY:
            stock = event.stock_entry
            at = stock.nursery
            return [
                Fact(_("At"), link(at, "nursery", at.code) if at is not None else ""),
                Fact(_("From the programme"), stock.programme),
            ]
        case EventKind.ENDING:
            into = event.ending.into
            return [
                Fact(_("Handed over to"), event.ending.recipient),
                Fact(_("Fused into"), ramet_link(into.code) if into is not None else ""),
            ]
        case EventKind.RELABELLING:
            return [
                Fact(_("Turned out to be"), genet_words(event.relabelling.genet)),
                _decided(event),
            ]
        case EventKind.GENET_MERGE:
            merge = event.genet_merge
            return [
                Fact(_("Known as"), link(merge.kept, "genet", merge.kept.code)),
                Fact(
                    _("Turned out to be the same"), link(merge.merged, "genet", merge.merged.code)
                ),
                _decided(event),
            ]
        case _:
            return []


def _decided(event: Event) -> Fact:
    """The group of samples that match by which it was decided, if it was."""
    row = event.decisions.select_related("group__proposal").first()
    name = _("By genotypes")
    if row is None:
        return Fact(name, "")
    group = row.group
    words = _("group %(n)s of a proposal") % {"n": group.number}
    return Fact(name, link(words, "match-group", group.proposal.uid, group.number))


def sections(event: Event, kind: EventKind, undone: Undone) -> list[Section]:
    """Tables of an entry beside the one of what it touched."""
    match kind:
        case EventKind.FRAGMENTATION:
            return [_mothers(event)]
        case EventKind.COUNT:
            return [_counts(event)]
        case EventKind.IDENTIFICATION:
            return [_identified(event)]
        case EventKind.VISIT:
            return _plot_counts(event)
        case EventKind.OUTPLANTING:
            return _structures(event, undone, _("Structures that were planted"))
        case EventKind.STRUCTURE_LOSS:
            return _structures(event, undone, _("Structures that were lost"))
        case _:
            return []


def _mothers(event: Event) -> Section:
    rows = list(
        Source.objects.filter(fragmentation=event.fragmentation)
        .select_related("ramet__genet__canonical")
        .order_by("pk")
    )
    return Section(
        _("Cut from %(ramets)s") % {"ramets": counted(len(rows), ngettext_lazy("ramet", "ramets"))},
        table(
            [
                Column(_("Ramet"), lambda row: ramet_link(row.ramet.code)),
                Column(_("Genet"), lambda row: genet_or_not(row.ramet)),
                Column(_("Left"), lambda row: _("used up") if row.used_up else _("grows on")),
            ],
            rows,
            _("Mothers of this cutting"),
        ),
    )


def _counts(event: Event) -> Section:
    rows = StructureCount.objects.filter(event=event).select_related("structure", "lot__event")
    return Section(
        _("What was counted"),
        table(
            [
                STRUCTURE,
                Column(_("Of"), _lot),
                *_NUMBERS,
                Column(_("Note"), lambda row: row.note),
            ],
            list(rows.order_by("pk")),
            _("Counts of structures"),
        ),
        says=_("A count of a lot ends as many of it; any other count changes no ramet."),
    )


_NUMBERS = (
    Column(
        gettext_lazy("Alive"),
        lambda row: _("not counted") if row.alive is None else number(row.alive),
        number=True,
    ),
    Column(gettext_lazy("Dead"), lambda row: number(row.dead), number=True),
    Column(gettext_lazy("Missing"), lambda row: number(row.missing), number=True),
)


def _lot(row: StructureCount) -> Any:
    return event_link(row.lot.event) if row.lot is not None else _("all that it holds")


def _identified(event: Event) -> Section:
    rows = Identification.objects.filter(event=event).select_related("ramet", "found")
    return Section(
        _("Found again"),
        table(
            [
                Column(_("Known ramet"), lambda row: ramet_link(row.ramet.code)),
                Column(
                    _("Was the found piece"),
                    lambda row: ramet_link(row.found.code) if row.found is not None else "",
                ),
            ],
            list(rows.order_by("pk")),
            _("Known ramets and the pieces that they turned out to be"),
        ),
    )


def _plot_counts(event: Event) -> list[Section]:
    rows = list(
        PlotCount.objects.filter(visit=event.visit)
        .select_related("plot__site", "genet__canonical", "taxon")
        .order_by("pk")
    )
    if not rows:
        return []
    return [
        Section(
            _("Counted in plots"),
            table(
                [
                    Column(_("Plot"), lambda row: link(row.plot, "plot", row.plot.code)),
                    Column(_("Of"), _counted_of),
                    *_NUMBERS,
                    Column(_("Note"), lambda row: row.note),
                ],
                rows,
                _("Counts of plots"),
            ),
            says=_("A count of a plot changes no ramet."),
        )
    ]


def _counted_of(row: PlotCount) -> Any:
    if row.genet is not None:
        return genet_link(row.genet)
    return taxon_link(row) if row.taxon is not None else _("all together")


def _structures(event: Event, undone: Undone, heading: str) -> list[Section]:
    rows = list(structure_rows(event, undone))
    return [Section(heading, table([STRUCTURE, STANDS], rows, heading))] if rows else []


def _with_unit(value: Any, unit: str) -> str:
    return f"{number(value)} {unit}" if value is not None else ""
