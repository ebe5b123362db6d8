"""Addresses of taxa, permits, genets, donor colonies and collections."""

from django.urls import path

from nursery.donors.views import lists, pages

urlpatterns = [
    path("colonies/", lists.ColonyList.as_view(), name="colonies"),
    path("colonies/<str:code>/", pages.ColonyPage.as_view(), name="colony"),
    path("collections/", lists.CollectionList.as_view(), name="collections"),
    path("taxa/", lists.TaxonList.as_view(), name="taxa"),
    path("taxa/<str:code>/", pages.TaxonPage.as_view(), name="taxon"),
    path("permits/", lists.PermitList.as_view(), name="permits"),
    path("permits/<str:code>/", pages.PermitPage.as_view(), name="permit"),
    path("genets/", lists.GenetList.as_view(), name="genets"),
    path("genets/<str:code>/", pages.GenetPage.as_view(), name="genet"),
]
