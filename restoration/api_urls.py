"""The addresses of the API."""

from django.urls import URLPattern, URLResolver, include, path, re_path
from drf_spectacular.views import SpectacularAPIView, SpectacularSwaggerView
from rest_framework.routers import SimpleRouter

from nursery.access.api import TokenViewSet
from nursery.core.api.views import ChangeViewSet, NoSuchAddress, SeriesViewSet
from nursery.diversity.api import (
    DiversityView,
    GenetBankView,
    OverlapView,
    ProposalView,
    SiteReportView,
)
from nursery.donors.api import DonorViewSet, GenetViewSet, PermitViewSet, TaxonViewSet
from nursery.donors.photo_api import PhotoViewSet
from nursery.genotyping import api as genotyping
from nursery.husbandry.api import CheckViewSet, FindingViewSet
from nursery.lineage.api import ends, events, identity
from nursery.lineage.api.ramets import (
    DonorDescendants,
    GenetDescendants,
    RametDescendants,
    RametViewSet,
)
from nursery.outplanting.api import manifests, reef
from nursery.outplanting.api.corrections import EventViewSet
from nursery.outplanting.api.unsettled import UnsettledViewSet
from nursery.places.api import (
    BayViewSet,
    NurseryViewSet,
    PlotViewSet,
    ReefViewSet,
    SiteViewSet,
    StructureViewSet,
    SystemViewSet,
)

router = SimpleRouter()
for name, viewset in (
    ("reefs", ReefViewSet),
    ("nurseries", NurseryViewSet),
    ("systems", SystemViewSet),
    ("bays", BayViewSet),
    ("structures", StructureViewSet),
    ("sites", SiteViewSet),
    ("plots", PlotViewSet),
    ("taxa", TaxonViewSet),
    ("permits", PermitViewSet),
    ("genets", GenetViewSet),
    ("donors", DonorViewSet),
    ("photos", PhotoViewSet),
    ("ramets", RametViewSet),
    ("collections", events.CollectionViewSet),
    ("intakes", events.IntakeViewSet),
    ("fragmentations", events.FragmentationViewSet),
    ("moves", events.MoveViewSet),
    ("structure-moves", events.StructureMoveViewSet),
    ("stock-entries", events.StockEntryViewSet),
    ("endings", ends.EndingViewSet),
    ("counts", ends.CountViewSet),
    ("structure-losses", ends.StructureLossViewSet),
    ("taggings", identity.TaggingViewSet),
    ("relabellings", identity.RelabellingViewSet),
    ("genet-merges", identity.GenetMergeViewSet),
    ("identifications", identity.IdentificationViewSet),
    ("checks", CheckViewSet),
    ("findings", FindingViewSet),
    ("manifests", manifests.ManifestViewSet),
    ("policies", manifests.PolicyViewSet),
    ("samples", genotyping.SampleViewSet),
    ("samplings", genotyping.SamplingViewSet),
    ("panels", genotyping.PanelViewSet),
    ("genotype-tables", genotyping.TableViewSet),
    ("match-proposals", genotyping.ProposalViewSet),
    ("outplantings", reef.OutplantingViewSet),
    ("lifts", reef.LiftViewSet),
    ("visits", reef.VisitViewSet),
    ("observations", reef.ObservationViewSet),
    ("events", EventViewSet),
    ("unsettled", UnsettledViewSet),
    ("series", SeriesViewSet),
    ("changes", ChangeViewSet),
    ("tokens", TokenViewSet),
):
    router.register(name, viewset, basename=f"api-{name}")

urlpatterns: list[URLPattern | URLResolver] = [
    path("schema/", SpectacularAPIView.as_view(), name="api-schema"),
    path(
        "docs/",
        SpectacularSwaggerView.as_view(url_name="api-schema", template_name="core/api_docs.html"),
        name="api-docs",
    ),
    path(
        "ramets/<str:code>/descendants/",
        RametDescendants.as_view({"get": "list"}),
        name="api-ramets-descendants",
    ),
    path(
        "donors/<str:code>/descendants/",
        DonorDescendants.as_view({"get": "list"}),
        name="api-donors-descendants",
    ),
    path(
        "genets/<str:code>/descendants/",
        GenetDescendants.as_view({"get": "list"}),
        name="api-genets-descendants",
    ),
    path(
        "sites/<str:code>/diversity/",
        DiversityView.as_view({"get": "retrieve"}),
        name="api-sites-diversity",
    ),
    path(
        "manifests/<str:code>/lines/",
        manifests.LineViewSet.as_view({"get": "list"}),
        name="api-manifests-lines",
    ),
    path(
        "manifests/<str:code>/audits/",
        manifests.AuditViewSet.as_view({"get": "audits", "post": "create"}),
        name="api-manifests-audits",
    ),
    path(
        "manifests/<str:code>/audits/<str:number>/",
        manifests.AuditViewSet.as_view({"get": "retrieve"}),
        name="api-manifests-audit",
    ),
    path(
        "manifests/<str:code>/sign-offs/",
        manifests.SignOffViewSet.as_view({"get": "sign_offs", "post": "create"}),
        name="api-manifests-sign-offs",
    ),
    path("proposals/", ProposalView.as_view({"post": "create"}), name="api-proposals"),
    path(
        "proposals/<str:uid>/", ProposalView.as_view({"get": "retrieve"}), name="api-proposals-one"
    ),
    path(
        "proposals/<str:uid>/draft/",
        ProposalView.as_view({"post": "draft"}),
        name="api-proposals-draft",
    ),
    path(
        "sites/<str:code>/report/",
        SiteReportView.as_view({"get": "retrieve"}),
        name="api-sites-report",
    ),
    path("overlap/", OverlapView.as_view({"get": "retrieve"}), name="api-overlap"),
    path("genet-bank/", GenetBankView.as_view({"get": "retrieve"}), name="api-genet-bank"),
    path("", include(router.urls)),
    # Last: an address that nothing answers to is told in the API's own way.
    re_path(r"", NoSuchAddress.as_view()),
]
