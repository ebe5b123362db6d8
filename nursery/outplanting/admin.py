"""The back office of plantings and visits: only shown, for they are what happened."""

from __future__ import annotations

from django.contrib import admin

from nursery.core.admin import RecordAdmin
from nursery.outplanting.models import Observation, Outplant, Outplanting, Visit


@admin.register(Outplanting)
class OutplantingAdmin(RecordAdmin):
    """Plantings, each in one plot."""

    list_display = ("event", "plot")
    search_fields = ("event__uid", "plot__code")
    list_select_related = ("event", "plot")


@admin.register(Outplant)
class OutplantAdmin(RecordAdmin):
    """Ramets as they were planted."""

    list_display = ("ramet", "outplanting", "position", "cluster", "fixing")
    search_fields = ("ramet__code",)
    list_select_related = ("ramet", "outplanting")


@admin.register(Visit)
class VisitAdmin(RecordAdmin):
    """Trips to sites and reefs."""

    list_display = ("event", "site", "reef")
    search_fields = ("event__uid", "site__code", "reef__code")
    list_select_related = ("event", "site", "reef")


@admin.register(Observation)
class ObservationAdmin(RecordAdmin):
    """What was seen."""

    list_display = ("visit", "ramet", "colony", "condition", "cause", "size_cm")
    list_filter = ("condition",)
    search_fields = ("ramet__code", "colony__code")
    list_select_related = ("visit", "ramet", "colony")
