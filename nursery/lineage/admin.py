"""The back office of ramets and their ledger: only shown, for they change by what happens."""

from __future__ import annotations

from django.contrib import admin

from nursery.core.admin import RecordAdmin
from nursery.lineage.models import Fragmentation, Intake, Ramet, Source, Step, StockEntry, Tag


@admin.register(Ramet)
class RametAdmin(RecordAdmin):
    """Ramets, living and ended."""

    list_display = ("code", "taxon", "genet", "generation", "life", "place", "structure", "plot")
    list_filter = ("life", "place", "origin", "purpose")
    search_fields = ("code", "tags__text")
    list_select_related = ("taxon", "genet", "structure", "plot")


@admin.register(Step)
class StepAdmin(RecordAdmin):
    """The ledger."""

    list_display = ("ramet", "order", "what", "event", "life", "place", "live")
    list_filter = ("what", "live")
    search_fields = ("ramet__code", "event__uid")
    list_select_related = ("ramet", "event")


@admin.register(Tag)
class TagAdmin(RecordAdmin):
    """Physical tags and old labels."""

    list_display = ("text", "ramet", "since", "until")
    search_fields = ("text", "ramet__code")
    list_select_related = ("ramet",)


@admin.register(Fragmentation)
class FragmentationAdmin(RecordAdmin):
    """Cuttings."""

    list_display = ("event", "taxon", "genet", "generation", "children_count")
    search_fields = ("event__uid", "genet__code")
    list_select_related = ("event", "taxon", "genet")


@admin.register(Source)
class SourceAdmin(RecordAdmin):
    """What was cut in which cutting."""

    list_display = ("ramet", "fragmentation", "used_up")
    search_fields = ("ramet__code",)
    list_select_related = ("ramet", "fragmentation")


@admin.register(Intake)
class IntakeAdmin(RecordAdmin):
    """Collections that reached a nursery."""

    list_display = ("event", "collection", "nursery")
    search_fields = ("event__uid", "nursery__code")
    list_select_related = ("event", "collection", "nursery")


@admin.register(StockEntry)
class StockEntryAdmin(RecordAdmin):
    """Stock that stood in a nursery before its records began."""

    list_display = ("event", "nursery")
    search_fields = ("event__uid", "nursery__code")
    list_select_related = ("event", "nursery")
