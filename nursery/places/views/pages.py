"""One page for each reef, nursery, system, bay and structure."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import ngettext_lazy

from nursery.core.phrases import counted, day, link, number
from nursery.core.views.base import Link
from nursery.core.views.register import Fact, RegisterPage, Section
from nursery.core.views.tables import Column, table
from nursery.donors.models import DonorColony
from nursery.lineage.living import COLONY, living, living_by
from nursery.places.models import Bay, Nursery, Reef, Structure, System
from nursery.places.views.lists import LIVING, code_column, count_living, size, stands_in

MOST_SHOWN = 20
"""The most rows that a page shows of a list that has a page of its own."""


def all_of(list_name: str, filter_name: str, code: str, words: str) -> Link:
    """The way to a whole list, filtered."""
    return Link(words, f"{reverse(list_name)}?{filter_name}={code}")


class ReefPage(RegisterPage):
    """A reef with its colonies and sites."""

    place = "colonies"
    model = Reef
    name = "reef"

    def says(self) -> str:
        colonies = counted(
            self.row.colonies.count(), ngettext_lazy("donor colony", "donor colonies")
        )
        told = {"colonies": colonies, "reef": self.row.name}
        return _("%(colonies)s of the register stand on %(reef)s.") % told

    def facts(self) -> Sequence[Fact]:
        return public_facts(self.row)

    def sections(self) -> Sequence[Section]:
        colonies = list(
            DonorColony.objects.filter(reef=self.row)
            .select_related("taxon")
            .order_by("code")[:MOST_SHOWN]
        )
        count_living(colonies, COLONY)
        sites = list(self.row.sites.order_by("code"))
        count_living(sites, "plot__site")
        return [
            Section(
                _("Donor colonies"),
                table(
                    [
                        code_column("colony"),
                        Column(_("Name"), lambda row: row.name),
                        Column(_("Taxon"), lambda row: link(row.taxon, "taxon", row.taxon.code)),
                        Column(_("Living descendants"), lambda row: row.living_now, number=True),
                    ],
                    colonies,
                    _("Donor colonies on this reef"),
                    _("No donor colony of this reef is in the register."),
                ),
                more=all_of(
                    "colonies", "reef", self.row.code, _("All donor colonies of this reef")
                ),
            ),
            Section(
                _("Outplant sites"),
                table(
                    [code_column("site"), Column(_("Name"), lambda row: row.name), LIVING],
                    sites,
                    _("Outplant sites at this reef"),
                    _("No outplant site lies at this reef."),
                ),
            ),
        ]


class NurseryPage(RegisterPage):
    """A nursery with its water and structures."""

    place = "nursery"
    model = Nursery
    name = "nursery"
    joined = ("series",)

    def says(self) -> str:
        n = living().filter(structure__nursery=self.row).count()
        told = {"ramets": counted(n, ngettext_lazy("ramet", "ramets")), "nursery": self.row.name}
        return _("%(ramets)s live at %(nursery)s.") % told

    def facts(self) -> Sequence[Fact]:
        return [
            Fact(_("Kind"), self.row.get_kind_display()),
            Fact(_("Time zone"), self.row.timezone),
            Fact(_("Codes of ramets cut here"), f"{self.row.series}…" if self.row.series else ""),
            *public_facts(self.row),
        ]

    def sections(self) -> Sequence[Section]:
        systems = list(self.row.systems.order_by("code"))
        structures = list(self.row.structures.select_related("bay", "parent", "plot")[:MOST_SHOWN])
        count_living(systems, "structure__bay__system")
        count_living(structures, "structure")
        return [
            Section(
                _("Systems"),
                table(
                    [code_column("system"), Column(_("Name"), lambda row: row.name), LIVING],
                    systems,
                    _("Systems of this nursery"),
                    _("No body of water of this nursery is in the register."),
                ),
            ),
            structures_section(
                structures, all_of("structures", "nursery", self.row.code, _("All its structures"))
            ),
        ]


class SystemPage(RegisterPage):
    """A system: everything in it shares water."""

    place = "nursery"
    model = System
    name = "system"
    joined = ("nursery",)

    def says(self) -> str:
        n = living().filter(structure__bay__system=self.row).count()
        told = {"ramets": counted(n, ngettext_lazy("ramet", "ramets")), "system": self.row.name}
        return _("%(ramets)s share the water of %(system)s.") % told

    def facts(self) -> Sequence[Fact]:
        nursery = self.row.nursery
        return [
            Fact(_("Nursery"), link(nursery, "nursery", nursery.code)),
            *common_facts(self.row),
        ]

    def sections(self) -> Sequence[Section]:
        bays = list(self.row.bays.order_by("code"))
        count_living(bays, "structure__bay")
        return [
            Section(
                _("Bays"),
                table(
                    [
                        code_column("bay"),
                        Column(_("Name"), lambda row: row.name),
                        Column(_("Kind"), lambda row: row.get_kind_display()),
                        LIVING,
                    ],
                    bays,
                    _("Bays of this system"),
                    _("No bay of this system is in the register."),
                ),
                more=all_of("ramets", "system", self.row.code, _("All ramets in this water")),
            )
        ]


class BayPage(RegisterPage):
    """A bay with the structures that stand in it."""

    place = "nursery"
    model = Bay
    name = "bay"
    joined = ("system__nursery",)

    def says(self) -> str:
        n = living_by("structure__bay", [self.row.pk]).get(self.row.pk, 0)
        told = {"ramets": counted(n, ngettext_lazy("ramet", "ramets")), "bay": self.row}
        return _("%(ramets)s live on the structures in %(bay)s.") % told

    def facts(self) -> Sequence[Fact]:
        system = self.row.system
        return [
            Fact(_("Kind"), self.row.get_kind_display()),
            Fact(_("System"), link(system, "system", system.code)),
            Fact(_("Nursery"), link(system.nursery, "nursery", system.nursery.code)),
            *common_facts(self.row),
        ]

    def sections(self) -> Sequence[Section]:
        structures = list(self.row.structures.select_related("bay", "parent", "plot"))
        count_living(structures, "structure")
        return [structures_section(structures)]


def structures_section(structures: Sequence[Structure], more: Link | None = None) -> Section:
    """Structures that stand somewhere."""
    return Section(
        _("Structures"),
        table(
            [
                code_column("structure"),
                Column(_("Name"), lambda row: row.name),
                Column(_("Kind"), lambda row: row.get_kind_display()),
                Column(_("Cells"), size),
                Column(_("Stands in"), stands_in),
                LIVING,
            ],
            structures,
            _("Structures here"),
            _("No structure stands here."),
        ),
        more=more,
    )


def common_facts(row: Any) -> list[Fact]:
    """What every register row may have."""
    return [
        Fact(_("Closed"), day(row.closed_on) if row.closed_on else ""),
        Fact(_("Note"), row.note),
    ]


def public_facts(row: Any) -> list[Fact]:
    """A public position, as on a chart, and what every row may have."""
    known = row.latitude is not None and row.longitude is not None
    position = f"{number(row.latitude)}, {number(row.longitude)} (WGS 84)" if known else ""
    return [Fact(_("Position"), position), *common_facts(row)]
