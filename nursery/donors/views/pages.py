"""One page for each taxon, permit, genet and donor colony."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cached_property
from typing import Any

from django.db.models import Q, QuerySet
from django.utils.html import format_html
from django.utils.safestring import SafeString
from django.utils.translation import gettext as _
from django.utils.translation import ngettext_lazy

from nursery.core.actor import Role
from nursery.core.dates import latest_today
from nursery.core.phrases import counted, day, in_words, link, links, listed, number
from nursery.core.views.register import Fact, RegisterPage, Section
from nursery.core.views.tables import Column, table
from nursery.donors import positions
from nursery.donors.models import Collection, DonorColony, Genet, Permit, Taxon
from nursery.donors.photos import shown as shown_photos
from nursery.donors.positions import Seen
from nursery.donors.views.lists import (
    event_link,
    flag_words,
    genet_link,
    permits_of,
    put_flags,
    status_words,
    taken_from,
    taxon_link,
)
from nursery.genotyping.queries import confirmations_of
from nursery.genotyping.views.telling import confirmed_section
from nursery.lineage import queries as lineage
from nursery.lineage.living import COLONY, living_by, living_by_genet
from nursery.lineage.views.descent import places_section, sentence
from nursery.places.views.lists import code_column, count_living
from nursery.places.views.pages import MOST_SHOWN, all_of, common_facts


class TaxonPage(RegisterPage):
    """A species or genus, with the cautions that go with its group."""

    place = "colonies"
    model = Taxon
    name = "taxon"

    def says(self) -> str:
        n = living_by("taxon", [self.row.pk]).get(self.row.pk, 0)
        genets = counted(
            self.row.genets.filter(canonical=None).count(), ngettext_lazy("genet", "genets")
        )
        return _("%(ramets)s of %(taxon)s live; %(genets)s are known.") % {
            "ramets": counted(n, ngettext_lazy("ramet", "ramets")),
            "taxon": self.row.name,
            "genets": genets,
        }

    def facts(self) -> Sequence[Fact]:
        row = self.row
        return [
            Fact(_("Code"), row.code),
            Fact(_("Group"), row.get_group_display()),
            Fact(_("Rank"), row.get_rank_display()),
            Fact(_("AphiaID"), str(row.aphia_id or "")),
            *common_facts(row),
        ]

    def sections(self) -> Sequence[Section]:
        genets = list(
            self.row.genets.filter(canonical=None)
            .select_related("canonical")
            .order_by("code")[:MOST_SHOWN]
        )
        counts = living_by_genet(row.pk for row in genets)
        return [
            Section(
                _("Genets"),
                table(
                    [
                        Column(_("Genet"), genet_link),
                        Column(_("Status"), status_words),
                        Column(_("Living ramets"), lambda row: counts.get(row.pk, 0), number=True),
                    ],
                    genets,
                    _("Genets of this taxon"),
                    _("No genet of it is known yet."),
                ),
                more=all_of("genets", "taxon", self.row.code, _("All its genets")),
            )
        ]

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        return super().get_context_data(
            zoanthid=self.row.group == Taxon.Group.ZOANTHID, title=self.row.name, **kwargs
        )


class PermitPage(RegisterPage):
    """A permit with what it allows and what was done under it."""

    place = "colonies"
    model = Permit
    name = "permit"

    def says(self) -> str:
        row = self.row
        n = counted(
            row.event_links.filter(event__live=True).count(),
            ngettext_lazy("entry names", "entries name"),
        )
        return f"{_('%(entries)s this permit.') % {'entries': n}} {validity(row)}"

    def facts(self) -> Sequence[Fact]:
        row = self.row
        return [
            Fact(_("Title"), row.title),
            Fact(_("Authority"), row.authority),
            Fact(_("Valid from"), in_words(row.valid_from)),
            Fact(_("Valid until"), in_words(row.valid_until)),
            Fact(_("Pieces it allows"), number(row.pieces) or _("sets no number")),
            Fact(_("Taxa"), _named(row.taxa.all(), "taxon") or _("any")),
            Fact(_("Reefs"), _named(row.reefs.all(), "reef") or _("any")),
            Fact(_("Sites"), _named(row.sites.all(), "site") or _("any")),
            *common_facts(row),
        ]

    def sections(self) -> Sequence[Section]:
        entries = self.row.event_links.select_related("event").order_by("-event__earliest", "-pk")
        return [
            Section(
                _("Done under it"),
                table(
                    [
                        Column(_("When"), lambda entry: event_link(entry.event)),
                        Column(_("What"), lambda entry: entry.event.get_kind_display()),
                        Column(_("Hands"), lambda entry: listed(entry.event.people)),
                    ],
                    list(entries[:MOST_SHOWN]),
                    _("Entries under this permit"),
                    _("No entry names it yet."),
                ),
                more=all_of("events", "permit", self.row.code, _("All entries under it")),
            )
        ]

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        return super().get_context_data(permit_caution=True, **kwargs)


def validity(permit: Permit) -> str:
    """Until when a permit is good, in a sentence."""
    until = permit.valid_until
    if until is None:
        return _("It names no last day.")
    left = (until - latest_today()).days
    if left < 0:
        return _("It lapsed on %(day)s.") % {"day": day(until)}
    if left == 0:
        return _("It lapses at the end of today.")
    return _("It lapses on %(day)s, in %(days)s.") % {
        "day": day(until),
        "days": counted(left, ngettext_lazy("day", "days")),
    }


class GenetPage(RegisterPage):
    """A genetic individual: what is known of it, its colonies, and where its ramets are."""

    place = "genets"
    model = Genet
    name = "genet"
    joined = ("taxon", "canonical")
    template_name = "donors/genet.html"

    @cached_property
    def descent(self) -> lineage.Descent:
        return lineage.summary(lineage.of_genet(self.row))

    def says(self) -> str:
        return sentence(self.descent, _("genet %(genet)s") % {"genet": self.row})

    def facts(self) -> Sequence[Fact]:
        row = self.row
        synonyms = [other.code for other in row.synonyms.order_by("code")]
        return [
            Fact(_("Staff name"), row.name),
            Fact(_("Taxon"), taxon_link(row)),
            Fact(_("Status"), status_words(row)),
            Fact(_("Turned out to be it, too"), links(synonyms, "genet") if synonyms else ""),
            *common_facts(row),
        ]

    def sections(self) -> Sequence[Section]:
        same = self.row.canonical_id or self.row.pk
        colonies = DonorColony.objects.filter(Q(genet=same) | Q(genet__canonical=same))
        rows = list(colonies.select_related("reef").order_by("code"))
        count_living(rows, COLONY)
        code = self.row.code
        return [
            places_section(self.descent, all_of("ramets", "genet", code, _("All its ramets"))),
            confirmed_section(confirmations_of(self.row)),
            Section(
                _("Donor colonies"),
                table(
                    [
                        code_column("colony"),
                        Column(_("Name"), lambda row: row.name),
                        Column(_("Reef"), lambda row: link(row.reef, "reef", row.reef.code)),
                        Column(_("Found"), lambda row: in_words(row.found_on)),
                        Column(_("Living descendants"), lambda row: row.living_now, number=True),
                    ],
                    rows,
                    _("Donor colonies of this genet"),
                    _("No wild colony of it is in the register."),
                ),
            ),
        ]


class ColonyPage(RegisterPage):
    """A wild colony: where it stands (as far as one may know), what was taken, where it went."""

    place = "colonies"
    model = DonorColony
    name = "colony"
    joined = ("taxon", "genet__canonical", "reef")
    template_name = "donors/colony.html"

    def says(self) -> str:
        return sentence(self.descent, _("donor colony %(colony)s") % {"colony": self.row})

    @cached_property
    def descent(self) -> lineage.Descent:
        return lineage.summary(lineage.of_donor(self.row))

    def facts(self) -> Sequence[Fact]:
        row = self.row
        seen = positions.of_colonies(self.actor, [row]).get(row.pk)
        return [
            Fact(_("Taxon"), taxon_link(row)),
            Fact(
                _("Genet"), format_html("{} ({})", genet_link(row.genet), status_words(row.genet))
            ),
            Fact(_("Reef"), link(row.reef, "reef", row.reef.code)),
            Fact(_("Position"), position_words(seen)),
            Fact(_("Depth"), f"{number(row.depth_m)} m" if row.depth_m is not None else ""),
            Fact(_("Size"), across(row)),
            Fact(_("Found"), in_words(row.found_on)),
            *common_facts(row),
        ]

    def sections(self) -> Sequence[Section]:
        code = self.row.code
        return [
            places_section(
                self.descent, all_of("ramets", "donor", code, _("All ramets that come from it"))
            ),
            collections_section(
                Collection.objects.filter(colony=self.row),
                all_of("collections", "colony", code, _("All collections from it")),
            ),
            Section(
                _("What was seen of it"),
                table(
                    [
                        Column(_("When"), lambda row: event_link(row.visit.event)),
                        Column(_("Condition"), lambda row: row.get_condition_display()),
                        Column(
                            _("Tissue lost, %"), lambda row: number(row.tissue_lost), number=True
                        ),
                        Column(_("Size, cm"), lambda row: number(row.size_cm), number=True),
                        Column(_("Note"), lambda row: row.note),
                    ],
                    list(
                        self.row.observations.filter(visit__event__live=True)
                        .select_related("visit__event")
                        .order_by("-visit__event__earliest", "-pk")[:MOST_SHOWN]
                    ),
                    _("Observations of this colony"),
                    _("Nobody has looked at it since."),
                ),
            ),
        ]

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        return super().get_context_data(
            permit_caution=True,
            zoanthid=self.row.taxon.group == Taxon.Group.ZOANTHID,
            photos=list(shown_photos(self.row.photos.select_related("recorded_by"))),
            in_the_field=self.actor.leads or self.actor.has(Role.FIELD),
            **kwargs,
        )


def collections_section(collections: QuerySet[Collection], more: Any = None) -> Section:
    """What was taken, with permits and flags; the newest first."""
    rows = list(
        collections.select_related("event", "colony", "reef", "taxon")
        .prefetch_related("event__permit_links__permit")
        .order_by("-event__earliest", "-event_id")[:MOST_SHOWN]
    )
    put_flags(rows)
    return Section(
        _("Collections"),
        table(
            [
                Column(_("When"), lambda row: event_link(row.event)),
                Column(_("From"), taken_from),
                Column(_("Pieces"), lambda row: row.pieces, number=True),
                Column(_("Share taken, %"), lambda row: number(row.share_taken), number=True),
                Column(_("Hands"), lambda row: listed(row.event.people)),
                Column(_("Permits"), lambda row: permits_of(row.event)),
                Column(_("Flags"), lambda row: flag_words(row.flags)),
            ],
            rows,
            _("Collections"),
            _("Nothing was taken from it yet."),
        ),
        more=more,
    )


def across(row: DonorColony) -> str:
    """How large a colony is, where that is known."""
    if row.size_cm is None:
        return ""
    return _("%(n)s cm across") % {"n": number(row.size_cm)}


def position_words(seen: Seen | None) -> SafeString | str:
    """A position as one may see it: how well it is known, and how it was made coarser."""
    if seen is None:
        return _("not recorded")
    exact = _("exact") if seen.exact else _("rounded")
    if seen.uncertainty_m:
        within = {"exact": exact, "metres": number(seen.uncertainty_m)}
        exact = _("%(exact)s, within %(metres)s m") % within
    return format_html(
        '{}, {} <span class="aside">WGS 84, {}. {}</span>',
        number(seen.latitude),
        number(seen.longitude),
        exact,
        seen.statement,
    )


def _named(rows: QuerySet[Any], page: str) -> SafeString | str:
    codes = [row.code for row in rows.order_by("code")]
    return links(codes, page) if codes else ""
