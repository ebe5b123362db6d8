"""The back office of donor registers. Exact positions are neither shown nor edited here."""

from __future__ import annotations

from typing import Any

from django.contrib import admin

from nursery.core.admin import RecordAdmin, RegisterAdmin
from nursery.donors.models import Collection, DonorColony, Genet, Permit, Taxon


@admin.register(Taxon)
class TaxonAdmin(RegisterAdmin):
    """Species and genera."""

    list_display = ("code", "name", "rank", "group", "closed_on")
    search_fields = ("code", "name")


@admin.register(Permit)
class PermitAdmin(RegisterAdmin):
    """What authorities allow."""

    list_display = ("code", "title", "authority", "valid_from", "valid_until", "closed_on")
    search_fields = ("code", "title", "authority")


@admin.register(Genet)
class GenetAdmin(RegisterAdmin):
    """Genetic individuals."""

    list_display = ("code", "name", "taxon", "status", "confirmed_on", "canonical")
    search_fields = ("code", "name")
    list_select_related = ("taxon", "canonical")


@admin.register(DonorColony)
class DonorColonyAdmin(RegisterAdmin):
    """Wild colonies. A new one without a genet gets a presumed one of its own."""

    list_display = ("code", "name", "taxon", "genet", "reef", "closed_on")
    search_fields = ("code", "name")
    list_select_related = ("taxon", "genet", "reef")

    def formfield_for_dbfield(self, db_field: Any, request: Any, **kwargs: Any) -> Any:
        field = super().formfield_for_dbfield(db_field, request, **kwargs)
        if db_field.name == "genet":
            field.required = False
            field.help_text = "left empty: a new presumed genet of its own"
        return field


@admin.register(Collection)
class CollectionAdmin(RecordAdmin):
    """What was taken, and from where as far as everybody may know."""

    list_display = ("event", "colony", "reef", "taxon", "pieces")
    search_fields = ("event__uid", "colony__code", "reef__code")
    list_select_related = ("event", "colony", "reef", "taxon")
