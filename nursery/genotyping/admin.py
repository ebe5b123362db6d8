"""The back office of samples and genotypes. What was decided is only shown."""

from __future__ import annotations

from django.contrib import admin

from nursery.core.admin import RecordAdmin, RegisterAdmin
from nursery.genotyping.models import Decision, GenotypeTable, Panel, Proposal, Sample


@admin.register(Panel)
class PanelAdmin(RegisterAdmin):
    """Panels of loci."""

    list_display = ("code", "name", "marker", "made_on", "closed_on")
    search_fields = ("code", "name")


@admin.register(Sample)
class SampleAdmin(RecordAdmin):
    """Samples: entered by their samplings, edited on their pages."""

    list_display = ("code", "label", "ramet", "colony", "laboratory", "sent_on", "received_on")
    search_fields = ("code", "label")
    list_select_related = ("ramet", "colony")


@admin.register(GenotypeTable)
class GenotypeTableAdmin(RecordAdmin):
    """Tables of genotypes."""

    list_display = ("panel", "name", "imported_at", "imported_by", "digest")
    list_select_related = ("panel", "imported_by")


@admin.register(Proposal)
class ProposalAdmin(RecordAdmin):
    """Proposals which samples match."""

    list_display = ("panel", "table", "threshold", "minimum", "made_at", "made_by")
    list_select_related = ("panel", "table", "made_by")


@admin.register(Decision)
class DecisionAdmin(RecordAdmin):
    """Decisions about groups that match."""

    list_display = ("group", "verdict", "genet", "reason", "decided_at", "decided_by")
    list_select_related = ("group", "genet", "decided_by")
