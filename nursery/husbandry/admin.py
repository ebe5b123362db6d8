"""The back office of checks: only shown, for they are what happened."""

from __future__ import annotations

from django.contrib import admin

from nursery.core.admin import RecordAdmin
from nursery.husbandry.models import Check, Finding


@admin.register(Check)
class CheckAdmin(RecordAdmin):
    """Looks at ramets in nurseries."""

    list_display = ("event",)
    search_fields = ("event__uid",)
    list_select_related = ("event",)


@admin.register(Finding)
class FindingAdmin(RecordAdmin):
    """How ramets were found."""

    list_display = ("during", "ramet", "state", "size_cm", "note")
    list_filter = ("state",)
    search_fields = ("ramet__code",)
    list_select_related = ("during", "ramet")
