"""The list of ramets and those of cuttings."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, ClassVar

from django.db.models import QuerySet
from django.utils.html import format_html
from django.utils.safestring import SafeString
from django.utils.translation import gettext, ngettext_lazy
from django.utils.translation import gettext_lazy as _

from nursery.core.actor import Role
from nursery.core.phrases import in_words, listed, ramet_link
from nursery.core.spoken import shown
from nursery.core.views import kin
from nursery.core.views.lists import Listing
from nursery.core.views.picking import Act, entry_of, form_for
from nursery.core.views.tables import Column
from nursery.donors.templatetags.genet_marks import genet_mark
from nursery.donors.views.lists import event_link, genet_link, permits_of, taxon_link
from nursery.lineage.filters import FragmentationFilters, RametFilters
from nursery.lineage.models import Fragmentation, Ramet, Source
from nursery.lineage.queries import place_view
from nursery.lineage.views.descent import where
from nursery.lineage.words import Cause, Life, Place


def genet_or_not(row: Any) -> SafeString | str:
    """The genet of a ramet or cutting, or that none is known."""
    if row.genet is None:
        return format_html(gettext("{genet} not known"), genet=genet_mark(None))
    return genet_link(row.genet)


def life_words(row: Ramet) -> str:
    """Whether a ramet lives, and how it ended if not."""
    cause = shown(Cause(row.cause)) if row.cause is not None else ""
    known = cause and row.cause != Cause.UNKNOWN
    life = shown(Life(row.life))
    return f"{life} ({cause})" if known else life


def now_in(row: Ramet) -> SafeString | str:
    """Where a ramet is, or was when it ended."""
    return where(place_view(Place(row.place), row.structure, row.row, row.column, row.plot))


RAMET = Column(_("Ramet"), lambda row: ramet_link(row.code), "code")


class RametList(Listing):
    """Ramets, living and ended."""

    place = "nursery"
    model = Ramet
    filterset_class = RametFilters
    title = _("Ramets")
    names = ngettext_lazy("ramet", "ramets")
    empty = _("Ramets come with collections, cuttings and stock entries. There is none yet.")
    kin = kin.NURSERY
    ordering_fields: ClassVar = {
        "code": "code",
        "generation": "generation",
        "born": "born__earliest",
    }
    default_ordering = ("pk",)
    acts = (
        Act("cut", _("Cut"), form_for("cut", "mother")),
        Act("dive", _("Plant"), form_for("dive", "named", " "), frozenset({Role.FIELD})),
        Act("manifest", _("Put on a manifest"), form_for("manifest-new", "lines", " ")),
        Act("move", _("Move"), entry_of("move", "ramets", "ramet, structure, cell")),
        Act("end", _("End"), entry_of("ending", "ramets", "ramet, fate, cause")),
        Act("relabel", _("Relabel"), entry_of("relabelling", "ramets", "ramet")),
    )
    columns = (
        RAMET,
        Column(_("Taxon"), taxon_link),
        Column(_("Genet"), genet_or_not),
        Column(_("Generation"), lambda row: row.generation, "generation", number=True),
        Column(_("In the record since"), lambda row: in_words(row.born.when), "born"),
        Column(_("State"), life_words),
        Column(_("Place"), now_in),
    )

    def get_queryset(self) -> QuerySet[Any]:
        return Ramet.objects.select_related(
            "taxon", "genet__canonical", "born", "structure__nursery", "plot__site"
        )


class FragmentationList(Listing):
    """Cuttings: what was cut from what, when and by whom."""

    place = "nursery"
    model = Fragmentation
    filterset_class = FragmentationFilters
    title = _("Cuttings")
    names = ngettext_lazy("cutting", "cuttings")
    empty = _("Cuttings of ramets into new ones belong here. Nursery staff enter them.")
    kin = kin.NURSERY
    ordering_fields: ClassVar = {
        "when": "event__earliest",
        "recorded_at": "event__recorded_at",
        "children": "children_count",
    }
    default_ordering = ("-event__earliest", "-event_id")
    columns = (
        Column(_("When"), lambda row: event_link(row.event), "when"),
        Column(_("Cut from"), lambda row: mothers(row.mothers)),
        Column(_("Children"), lambda row: row.children_count, "children", number=True),
        Column(_("Taxon"), taxon_link),
        Column(_("Genet"), genet_or_not),
        Column(_("Generation"), lambda row: row.generation, number=True),
        Column(_("Hands"), lambda row: listed(row.event.people)),
        Column(_("Permits"), lambda row: permits_of(row.event)),
    )

    def get_queryset(self) -> QuerySet[Any]:
        return Fragmentation.objects.select_related(
            "event", "taxon", "genet__canonical"
        ).prefetch_related("event__permit_links__permit")

    def complete(self, rows: Sequence[Any]) -> None:
        found: dict[int, list[str]] = {row.pk: [] for row in rows}
        sources = Source.objects.filter(fragmentation__in=found).order_by("pk")
        for cutting, code in sources.values_list("fragmentation_id", "ramet__code"):
            found[cutting].append(code)
        for row in rows:
            row.mothers = found[row.pk]


MOST_MOTHERS = 3


def mothers(codes: Sequence[str]) -> SafeString | str:
    """The first mothers of a cutting, and how many more there are."""
    if not codes:
        return ""
    found = format_html("{}", ramet_link(codes[0]))
    for code in codes[1:MOST_MOTHERS]:
        found = format_html("{}, {}", found, ramet_link(code))
    more = len(codes) - MOST_MOTHERS
    if more <= 0:
        return found
    return format_html(gettext("{names} and {n} more"), names=found, n=more)
