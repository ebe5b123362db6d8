"""Lists of donor registers and of collections."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, ClassVar

from django.db.models import Count, QuerySet
from django.utils.html import format_html
from django.utils.safestring import SafeString
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext_lazy

from nursery.core.filters import WholeFilter, register_filters
from nursery.core.phrases import day, in_words, link, links, listed, unbroken
from nursery.core.views import kin
from nursery.core.views.lists import Listing
from nursery.core.views.tables import Column
from nursery.donors.filters import CollectionFilters
from nursery.donors.flagged import flags_of_collections
from nursery.donors.models import Collection, DonorColony, Genet, Permit, Taxon
from nursery.donors.templatetags.genet_marks import genet_mark
from nursery.lineage.living import COLONY, living_by, living_by_genet
from nursery.places.views.lists import CLOSED, code_column, count_living


def genet_link(genet: Genet) -> SafeString:
    """A genet with its mark: the one that it turned out to be the same as, if it did."""
    row = genet.canonical or genet
    return format_html("{}\u00a0{}", genet_mark(row.pk), link(row, "genet", row.code))


def taxon_link(row: Any) -> SafeString:
    return link(row.taxon, "taxon", row.taxon.code)


class LivingFilter(WholeFilter):
    """Genets of which so many ramets live."""

    def filter(self, qs: QuerySet[Genet], value: int | None) -> Any:
        if value is None:
            return qs
        counts = living_by_genet()
        alone = qs.filter(canonical__isnull=True)
        if value == 0:
            return alone.exclude(pk__in=list(counts))
        return alone.filter(pk__in=[pk for pk, n in counts.items() if n == value])


class GenetFilters(register_filters(Genet)):  # type: ignore[misc]  # made from the model
    """Genets also by how many of their ramets live."""

    living = LivingFilter()


class TaxonList(Listing):
    """Species and genera."""

    place = "colonies"
    model = Taxon
    title = gettext_lazy("Taxa")
    names = ngettext_lazy("taxon", "taxa")
    empty = gettext_lazy(
        "Species and genera of the programme belong here. A programme lead enters them."
    )
    kin = kin.COLONIES
    ordering_fields: ClassVar = {"code": "code", "name": "name", "group": "group"}
    default_ordering = ("name", "pk")
    columns = (
        Column(gettext_lazy("Name"), lambda row: link(row.name, "taxon", row.code), "name"),
        Column(gettext_lazy("Code"), lambda row: row.code, "code"),
        Column(gettext_lazy("Group"), lambda row: row.get_group_display(), "group"),
        Column(gettext_lazy("Rank"), lambda row: row.get_rank_display()),
        Column(gettext_lazy("Living ramets"), lambda row: row.living_now, number=True),
    )

    def complete(self, rows: Sequence[Any]) -> None:
        count_living(rows, "taxon")


class PermitList(Listing):
    """What authorities allow."""

    place = "colonies"
    model = Permit
    title = gettext_lazy("Permits")
    names = ngettext_lazy("permit", "permits")
    empty = gettext_lazy(
        "Permits of the local authorities belong here. A programme lead enters them."
    )
    kin = kin.COLONIES
    ordering_fields: ClassVar = {
        "code": "code",
        "valid_until": "valid_until",
        "closed_on": "closed_on",
    }
    columns = (
        code_column("permit"),
        Column(gettext_lazy("Title"), lambda row: row.title),
        Column(gettext_lazy("Authority"), lambda row: row.authority),
        Column(gettext_lazy("From"), lambda row: in_words(row.valid_from)),
        Column(gettext_lazy("Until"), lambda row: in_words(row.valid_until), "valid_until"),
        CLOSED,
    )


class GenetList(Listing):
    """Who is who."""

    place = "genets"
    model = Genet
    filterset_class = GenetFilters
    title = gettext_lazy("Genets")
    names = ngettext_lazy("genet", "genets")
    empty = gettext_lazy("A donor colony brings its presumed genet along: enter a colony first.")
    kin = kin.GENETS
    ordering_fields: ClassVar = {
        "code": "code",
        "name": "name",
        "status": "status",
        "confirmed_on": "confirmed_on",
        "colonies": "colony_count",
    }
    columns = (
        Column(
            gettext_lazy("Genet"),
            lambda row: format_html(
                "{}\u00a0{}",
                genet_mark(row.canonical_id or row.pk),
                link(row.code, "genet", row.code),
            ),
            "code",
        ),
        Column(gettext_lazy("Staff name"), lambda row: row.name, "name"),
        Column(gettext_lazy("Taxon"), taxon_link),
        Column(gettext_lazy("Status"), lambda row: status_words(row), "status"),
        Column(
            gettext_lazy("Donor colonies"), lambda row: row.colony_count, "colonies", number=True
        ),
        Column(gettext_lazy("Living ramets"), lambda row: row.living_now, number=True),
    )

    def get_queryset(self) -> QuerySet[Any]:
        return Genet.objects.select_related("taxon", "canonical").annotate(
            colony_count=Count("colonies")
        )

    def complete(self, rows: Sequence[Any]) -> None:
        counts = living_by_genet(row.pk for row in rows)
        for row in rows:
            row.living_now = counts.get(row.pk, 0)


def status_words(genet: Genet) -> str | SafeString:
    """What is known of a genet, with panel and date where it is confirmed."""
    if genet.canonical is not None:
        same = genet.canonical
        return format_html(_("the same as {genet}"), genet=link(same.code, "genet", same.code))
    if genet.status == Genet.Status.CONFIRMED and genet.confirmed_on is not None:
        told = {"panel": genet.panel, "day": day(genet.confirmed_on)}
        return _("confirmed by %(panel)s on %(day)s") % told
    return _("presumed")


class ColonyList(Listing):
    """Wild colonies that pieces were taken from."""

    place = "colonies"
    model = DonorColony
    title = gettext_lazy("Donor colonies")
    names = ngettext_lazy("donor colony", "donor colonies")
    empty = gettext_lazy(
        "Wild colonies that pieces are taken from belong here. Field staff enter them."
    )
    kin = kin.COLONIES
    ordering_fields: ClassVar = {
        "code": "code",
        "name": "name",
        "found_on": "found_on",
        "closed_on": "closed_on",
        "depth": "depth_m",
    }
    columns = (
        code_column("colony"),
        Column(gettext_lazy("Name"), lambda row: row.name, "name"),
        Column(gettext_lazy("Taxon"), taxon_link),
        Column(gettext_lazy("Genet"), lambda row: genet_link(row.genet)),
        Column(gettext_lazy("Reef"), lambda row: link(row.reef, "reef", row.reef.code)),
        Column(gettext_lazy("Found"), lambda row: in_words(row.found_on), "found_on"),
        Column(gettext_lazy("Living descendants"), lambda row: row.living_now, number=True),
        CLOSED,
    )

    def get_queryset(self) -> QuerySet[Any]:
        return DonorColony.objects.select_related("taxon", "genet__canonical", "reef")

    def complete(self, rows: Sequence[Any]) -> None:
        counts = living_by(COLONY, [row.pk for row in rows])
        for row in rows:
            row.living_now = counts.get(row.pk, 0)


class CollectionList(Listing):
    """What was taken, from which colony, under which permits, and what is irregular about it."""

    place = "colonies"
    model = Collection
    filterset_class = CollectionFilters
    title = gettext_lazy("Collections")
    names = ngettext_lazy("collection", "collections")
    empty = gettext_lazy("Pieces taken in the wild belong here. Field staff enter them.")
    kin = kin.COLONIES
    ordering_fields: ClassVar = {
        "when": "event__earliest",
        "recorded_at": "event__recorded_at",
        "pieces": "pieces",
    }
    default_ordering = ("-event__earliest", "-event_id")
    columns = (
        Column(gettext_lazy("When"), lambda row: event_link(row.event), "when"),
        Column(gettext_lazy("From"), lambda row: taken_from(row)),
        Column(gettext_lazy("Taxon"), taxon_link),
        Column(gettext_lazy("Pieces"), lambda row: row.pieces, "pieces", number=True),
        Column(gettext_lazy("Hands"), lambda row: listed(row.event.people)),
        Column(gettext_lazy("Permits"), lambda row: permits_of(row.event)),
        Column(gettext_lazy("Flags"), lambda row: flag_words(row.flags)),
    )

    def get_queryset(self) -> QuerySet[Any]:
        return Collection.objects.select_related(
            "event", "colony", "reef", "taxon"
        ).prefetch_related("event__permit_links__permit")

    def complete(self, rows: Sequence[Any]) -> None:
        put_flags(rows)


def event_link(event: Any) -> SafeString:
    """When an event was, leading to its page; an event that was voided says so."""
    words = link(in_words(event.when), "event", event.uid)
    return words if event.live else format_html(_("{entry} (void)"), entry=words)


def taken_from(row: Collection) -> SafeString:
    """The colony of a collection, or the reef of loose pieces."""
    if row.colony is not None:
        return link(row.colony, "colony", row.colony.code)
    return format_html(_("loose, {reef}"), reef=link(row.reef, "reef", row.reef.code))


def permits_of(event: Any) -> SafeString | str:
    """The permits of an event, each leading to its page."""
    codes = [entry.permit.code for entry in event.permit_links.all()]
    if not codes:
        return _("none")
    return links(codes, "permit")


def put_flags(rows: Sequence[Any]) -> None:
    """Put `flags` on each collection."""
    found = flags_of_collections(rows)
    for row in rows:
        row.flags = found.get(row.pk, [])


def flag_words(flags: Sequence[Any]) -> SafeString | str:
    """What is irregular, in words; nothing where all is in order."""
    text = " ".join(flag.message for flag in flags)
    return format_html('<span class="flag">{}</span>', unbroken(text)) if text else ""
