"""Addresses of ramets and cuttings."""

from django.urls import path

from nursery.lineage.views import bags, intake, lists, pages

urlpatterns = [
    path("bags/", bags.BagsPage.as_view(), name="bags"),
    path("bags/<uuid:uid>/cut/", bags.CutAboardPage.as_view(), name="cut-aboard"),
    path("bags/<uuid:uid>/intake/", intake.IntakePage.as_view(), name="intake"),
    path("bags/<uuid:uid>/intake/cells/", intake.CellsPage.as_view(), name="intake-cells"),
    path("ramets/", lists.RametList.as_view(), name="ramets"),
    path("ramets/<str:code>/", pages.RametPage.as_view(), name="ramet"),
    path("fragmentations/", lists.FragmentationList.as_view(), name="fragmentations"),
]
