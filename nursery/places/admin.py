"""The back office of places."""

from __future__ import annotations

from typing import Any

from django import forms
from django.contrib import admin

from nursery.core.admin import RecordAdmin, RegisterAdmin, RegisterForm
from nursery.places.models import Bay, Nursery, Plot, Reef, Site, Structure, StructureStep, System


@admin.register(Reef)
class ReefAdmin(RegisterAdmin):
    """Reefs."""

    list_display = ("code", "name", "closed_on")
    search_fields = ("code", "name")


class NurseryForm(RegisterForm):
    """A nursery, with the letters that codes of ramets cut there begin with."""

    series = forms.CharField(
        required=False,
        max_length=4,
        help_text="one to four letters that codes of ramets cut here begin with",
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        known = self.instance.series if self.instance.pk else None
        self.fields["series"].initial = known.prefix if known else ""


@admin.register(Nursery)
class NurseryAdmin(RegisterAdmin):
    """Nurseries."""

    form = NurseryForm
    list_display = ("code", "name", "kind", "series", "closed_on")
    search_fields = ("code", "name")
    list_select_related = ("series",)

    def get_fields(self, request: Any, obj: Any = None) -> Any:
        return [*super().get_fields(request, obj), "series"]


@admin.register(System)
class SystemAdmin(RegisterAdmin):
    """Bodies of shared water."""

    list_display = ("code", "name", "nursery", "closed_on")
    search_fields = ("code", "name")
    list_select_related = ("nursery",)


@admin.register(Bay)
class BayAdmin(RegisterAdmin):
    """Tanks, raceways and sea-bed blocks."""

    list_display = ("code", "name", "kind", "system", "closed_on")
    search_fields = ("code", "name")
    list_select_related = ("system",)


@admin.register(Site)
class SiteAdmin(RegisterAdmin):
    """Outplant sites."""

    list_display = ("code", "name", "reef", "closed_on")
    search_fields = ("code", "name")
    list_select_related = ("reef",)


@admin.register(Plot)
class PlotAdmin(RegisterAdmin):
    """Plots of outplant sites."""

    list_display = ("code", "name", "site", "depth_m", "closed_on")
    search_fields = ("code", "name")
    list_select_related = ("site",)


class StructureForm(RegisterForm):
    """A structure; blocked cells are written as text."""

    blocked = forms.CharField(
        required=False, help_text="names of cells that hold nothing: A1 K1 A11 K11, or A1:A3"
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if self.instance.pk:
            self.initial["blocked"] = " ".join(self.instance.blocked)


@admin.register(Structure)
class StructureAdmin(RegisterAdmin):
    """What holds ramets. Where one stands is told by structure moves, not here."""

    form = StructureForm
    list_display = ("code", "name", "kind", "rows", "columns", "nursery", "closed_on")
    search_fields = ("code", "name")
    list_select_related = ("nursery",)


@admin.register(StructureStep)
class StructureStepAdmin(RecordAdmin):
    """Where structures stood."""

    list_display = ("structure", "order", "event", "bay", "parent", "plot", "live")
    search_fields = ("structure__code",)
    list_select_related = ("structure", "event", "bay", "parent", "plot")
