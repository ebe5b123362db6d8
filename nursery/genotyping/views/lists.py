"""Lists of samples, panels and tables of genotypes."""

from __future__ import annotations

from typing import Any, ClassVar

from django.db.models import Count, QuerySet
from django.urls import reverse
from django.utils.html import format_html
from django.utils.safestring import SafeString
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext_lazy

from nursery.core.actor import Role
from nursery.core.phrases import in_words, link, ramet_link
from nursery.core.views import kin
from nursery.core.views.base import Link
from nursery.core.views.lists import Listing
from nursery.core.views.tables import Column
from nursery.donors.views.lists import event_link, genet_link
from nursery.genotyping.filters import OfPanelFilters, SampleFilters
from nursery.genotyping.models import GenotypeTable, Panel, Sample
from nursery.places.views.lists import CLOSED, code_column


def taken_of(row: Sample) -> SafeString:
    """The ramet or the donor colony that a sample was taken from."""
    if row.ramet is not None:
        return ramet_link(row.ramet.code)
    return format_html(_("colony {code}"), code=link(row.source.code, "colony", row.source.code))


def labelled(row: Sample) -> SafeString | str:
    """The genet that its source is labelled as."""
    genet = row.source.genet
    return genet_link(genet) if genet is not None else _("not known")


def panel_link(row: Any) -> SafeString:
    return link(row.panel, "panel", row.panel.code)


def table_link(row: GenotypeTable) -> SafeString:
    return link(row, "genotypes", row.uid)


class LeadingOn(Listing):
    """A list with a way to the page by which more of it is entered, for those who may."""

    template_name = "genotyping/list.html"

    def onward(self) -> Link | None:
        """Where more is entered; None for those who may not."""
        return None

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        return super().get_context_data(onward=self.onward(), **kwargs)


class SampleList(LeadingOn):
    """Tissue for the laboratory: of what it is, and how far it is."""

    place = "genets"
    model = Sample
    filterset_class = SampleFilters
    happened = "event__live"
    title = gettext_lazy("Samples")
    names = ngettext_lazy("sample", "samples")
    empty = gettext_lazy(
        "Tissue taken for the laboratory belongs here. Field and nursery staff enter it."
    )
    kin = kin.GENETS
    ordering_fields: ClassVar = {
        "code": "code",
        "taken": "event__earliest",
        "sent_on": "sent_on",
        "received_on": "received_on",
    }
    default_ordering = ("-event__earliest", "-pk")
    columns = (
        code_column("sample"),
        Column(gettext_lazy("Of"), taken_of),
        Column(gettext_lazy("Genet"), labelled),
        Column(gettext_lazy("Taken"), lambda row: event_link(row.event), "taken"),
        Column(gettext_lazy("Label"), lambda row: row.label),
        Column(gettext_lazy("Laboratory"), lambda row: row.laboratory),
        Column(gettext_lazy("Sent"), lambda row: in_words(row.sent_on), "sent_on"),
        Column(gettext_lazy("Received"), lambda row: in_words(row.received_on), "received_on"),
        Column(gettext_lazy("Tables"), lambda row: row.tables, number=True),
    )

    def get_queryset(self) -> QuerySet[Any]:
        rows = Sample.objects.annotate(tables=Count("rows"))
        return rows.select_related("event", "ramet__genet__canonical", "colony__genet__canonical")

    def onward(self) -> Link | None:
        if not self.actor.leads and not self.actor.has(Role.FIELD, Role.NURSERY):
            return None
        return Link(_("Take samples"), reverse("take-samples"))


class PanelList(LeadingOn):
    """The loci that individuals are told apart by."""

    place = "genets"
    model = Panel
    title = gettext_lazy("Panels")
    names = ngettext_lazy("panel", "panels")
    empty = gettext_lazy(
        "The loci that the laboratory types belong here. A programme lead enters them."
    )
    kin = kin.GENETS
    ordering_fields: ClassVar = {"code": "code", "name": "name", "made_on": "made_on"}
    columns = (
        code_column("panel"),
        Column(gettext_lazy("Name"), lambda row: row.name, "name"),
        Column(gettext_lazy("Loci"), lambda row: f"{len(row.loci):,} {row.get_marker_display()}"),
        Column(gettext_lazy("Since"), lambda row: in_words(row.made_on), "made_on"),
        Column(gettext_lazy("Tables"), lambda row: row.found, number=True),
        CLOSED,
    )

    def get_queryset(self) -> QuerySet[Any]:
        return Panel.objects.annotate(found=Count("tables"))

    def onward(self) -> Link | None:
        return (
            Link(_("Enter a panel"), reverse("new", args=["panels"])) if self.actor.leads else None
        )


class TableList(LeadingOn):
    """Tables of genotypes, as they came from the laboratory."""

    place = "genets"
    model = GenotypeTable
    key = "uid"
    filterset_class = OfPanelFilters
    title = gettext_lazy("Genotypes")
    names = ngettext_lazy("table", "tables")
    empty = gettext_lazy("Tables from the laboratory belong here. A programme lead imports them.")
    kin = kin.GENETS
    ordering_fields: ClassVar = {"imported_at": "imported_at"}
    default_ordering = ("-pk",)
    columns = (
        Column(gettext_lazy("Table"), table_link),
        Column(gettext_lazy("Panel"), panel_link),
        Column(gettext_lazy("Samples"), lambda row: row.size, number=True),
        Column(gettext_lazy("Imported"), lambda row: in_words(row.imported_at), "imported_at"),
        Column(gettext_lazy("By"), lambda row: str(row.imported_by)),
    )

    def get_queryset(self) -> QuerySet[Any]:
        rows = GenotypeTable.objects.defer("calls").annotate(size=Count("rows"))
        return rows.select_related("panel", "imported_by")

    def onward(self) -> Link | None:
        if not self.actor.leads:
            return None
        return Link(_("Import a table"), reverse("import-genotypes"))
