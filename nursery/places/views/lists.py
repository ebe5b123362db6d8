"""Lists of places."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, ClassVar

from django.db.models import Count, QuerySet
from django.utils.safestring import SafeString
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext_lazy

from nursery.core.phrases import day, link, number
from nursery.core.views import kin
from nursery.core.views.lists import Listing
from nursery.core.views.tables import Column
from nursery.lineage.living import living_by
from nursery.places.filters import StructureFilters
from nursery.places.models import Bay, Nursery, Plot, Reef, Site, Structure, System


def code_column(name: str) -> Column:
    """The code of a register's row, leading to the page `name`."""
    return Column(gettext_lazy("Code"), lambda row: link(row.code, name, row.code), "code")


def closed(row: Any) -> str:
    """When a row was closed, or nothing while it is open."""
    return day(row.closed_on) if row.closed_on else ""


CLOSED = Column(gettext_lazy("Closed"), closed, "closed_on")
LIVING = Column(gettext_lazy("Living ramets"), lambda row: row.living_now, number=True)


def stands_in(row: Structure) -> str | SafeString:
    """Where a structure stands: bay, other structure, plot, or nowhere yet."""
    if row.bay is not None:
        return link(row.bay, "bay", row.bay.code)
    if row.parent is not None:
        cell = row.parent_cell
        text = f"{row.parent.code} {cell}" if cell else row.parent.code
        return link(text, "structure", row.parent.code)
    if row.plot is not None:
        return link(row.plot, "plot", row.plot.code)
    return _("nowhere yet")


def size(row: Structure) -> str:
    """The cells a structure has, in words."""
    grid = row.grid
    if grid is None:
        return _("open")
    told = {"columns": grid.columns, "rows": grid.rows, "cells": grid.capacity}
    return _("%(columns)d × %(rows)d, %(cells)d cells") % told


class ReefList(Listing):
    """Reefs that colonies stand on and sites lie at."""

    place = "colonies"
    model = Reef
    title = gettext_lazy("Reefs")
    names = ngettext_lazy("reef", "reefs")
    empty = gettext_lazy(
        "Reefs that donor colonies stand on belong here. A programme lead enters them."
    )
    kin = kin.COLONIES
    ordering_fields: ClassVar = {
        "code": "code",
        "name": "name",
        "closed_on": "closed_on",
        "colonies": "colony_count",
    }
    columns = (
        code_column("reef"),
        Column(gettext_lazy("Name"), lambda row: row.name, "name"),
        Column(
            gettext_lazy("Donor colonies"), lambda row: row.colony_count, "colonies", number=True
        ),
        CLOSED,
    )

    def get_queryset(self) -> QuerySet[Any]:
        return Reef.objects.annotate(colony_count=Count("colonies"))


class NurseryList(Listing):
    """Nurseries."""

    place = "nursery"
    model = Nursery
    title = gettext_lazy("Nurseries")
    names = ngettext_lazy("nursery", "nurseries")
    empty = gettext_lazy(
        "The nurseries of the programme belong here. A programme lead enters them."
    )
    kin = kin.NURSERY
    ordering_fields: ClassVar = {"code": "code", "name": "name", "closed_on": "closed_on"}
    columns = (
        code_column("nursery"),
        Column(gettext_lazy("Name"), lambda row: row.name, "name"),
        Column(gettext_lazy("Kind"), lambda row: row.get_kind_display()),
        LIVING,
        CLOSED,
    )

    def complete(self, rows: Sequence[Any]) -> None:
        count_living(rows, "structure__nursery")


class SystemList(Listing):
    """Systems: each one body of shared water."""

    place = "nursery"
    model = System
    title = gettext_lazy("Systems")
    names = ngettext_lazy("system", "systems")
    empty = gettext_lazy("Bodies of shared water belong here. A programme lead enters them.")
    kin = kin.NURSERY
    ordering_fields: ClassVar = {"code": "code", "name": "name", "closed_on": "closed_on"}
    columns = (
        code_column("system"),
        Column(gettext_lazy("Name"), lambda row: row.name, "name"),
        Column(gettext_lazy("Nursery"), lambda row: link(row.nursery, "nursery", row.nursery.code)),
        CLOSED,
    )

    def get_queryset(self) -> QuerySet[Any]:
        return System.objects.select_related("nursery")


class BayList(Listing):
    """Bays: tanks, raceways and sea-bed blocks."""

    place = "nursery"
    model = Bay
    title = gettext_lazy("Bays")
    names = ngettext_lazy("bay", "bays")
    empty = gettext_lazy(
        "Tanks, raceways and sea-bed blocks belong here. A programme lead enters them."
    )
    kin = kin.NURSERY
    ordering_fields: ClassVar = {"code": "code", "name": "name", "closed_on": "closed_on"}
    columns = (
        code_column("bay"),
        Column(gettext_lazy("Name"), lambda row: row.name, "name"),
        Column(gettext_lazy("Kind"), lambda row: row.get_kind_display()),
        Column(gettext_lazy("System"), lambda row: link(row.system, "system", row.system.code)),
        Column(gettext_lazy("Structures"), lambda row: row.structure_count, number=True),
        CLOSED,
    )

    def get_queryset(self) -> QuerySet[Any]:
        return Bay.objects.select_related("system").annotate(structure_count=Count("structures"))


class StructureList(Listing):
    """Structures: what holds ramets."""

    place = "nursery"
    model = Structure
    filterset_class = StructureFilters
    title = gettext_lazy("Structures")
    names = ngettext_lazy("structure", "structures")
    empty = gettext_lazy(
        "Plates, tables, ropes and what else holds ramets belong here. Nursery staff enter them."
    )
    kin = kin.NURSERY
    ordering_fields: ClassVar = {"code": "code", "name": "name", "closed_on": "closed_on"}
    columns = (
        code_column("structure"),
        Column(gettext_lazy("Name"), lambda row: row.name, "name"),
        Column(gettext_lazy("Kind"), lambda row: row.get_kind_display()),
        Column(gettext_lazy("Cells"), size),
        Column(gettext_lazy("Stands in"), stands_in),
        LIVING,
        CLOSED,
    )

    def get_queryset(self) -> QuerySet[Any]:
        return Structure.objects.select_related("nursery", "bay", "parent", "plot")

    def complete(self, rows: Sequence[Any]) -> None:
        count_living(rows, "structure")


class SiteList(Listing):
    """Outplant sites."""

    place = "reef"
    model = Site
    title = gettext_lazy("Sites")
    names = ngettext_lazy("site", "sites")
    empty = gettext_lazy("Places to plant on belong here. A programme lead enters them.")
    kin = kin.REEF
    ordering_fields: ClassVar = {"code": "code", "name": "name", "closed_on": "closed_on"}
    columns = (
        code_column("site"),
        Column(gettext_lazy("Name"), lambda row: row.name, "name"),
        Column(
            gettext_lazy("Reef"),
            lambda row: link(row.reef, "reef", row.reef.code) if row.reef else "",
        ),
        Column(gettext_lazy("Plots"), lambda row: row.plot_count, number=True),
        LIVING,
        CLOSED,
    )

    def get_queryset(self) -> QuerySet[Any]:
        return Site.objects.select_related("reef").annotate(plot_count=Count("plots"))

    def complete(self, rows: Sequence[Any]) -> None:
        count_living(rows, "plot__site")


class PlotList(Listing):
    """Plots of outplant sites."""

    place = "reef"
    model = Plot
    title = gettext_lazy("Plots")
    names = ngettext_lazy("plot", "plots")
    empty = gettext_lazy(
        "Marked pieces of outplant sites belong here. A programme lead enters them."
    )
    kin = kin.REEF
    ordering_fields: ClassVar = {
        "code": "code",
        "name": "name",
        "closed_on": "closed_on",
        "depth": "depth_m",
    }
    columns = (
        code_column("plot"),
        Column(gettext_lazy("Name"), lambda row: row.name, "name"),
        Column(gettext_lazy("Site"), lambda row: link(row.site, "site", row.site.code)),
        Column(gettext_lazy("Depth, m"), lambda row: number(row.depth_m), "depth", number=True),
        Column(gettext_lazy("Area, m²"), lambda row: number(row.area_m2), number=True),
        LIVING,
        CLOSED,
    )

    def get_queryset(self) -> QuerySet[Any]:
        return Plot.objects.select_related("site")

    def complete(self, rows: Sequence[Any]) -> None:
        count_living(rows, "plot")


def count_living(rows: Sequence[Any], path: str) -> None:
    """Put `living_now` on each row: the ramets that live there, counted together."""
    counts = living_by(path, [row.pk for row in rows])
    for row in rows:
        row.living_now = counts.get(row.pk, 0)
