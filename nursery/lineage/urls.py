"""Addresses of ramets and cuttings."""

from django.urls import path

from nursery.lineage.views import lists, pages

urlpatterns = [
    path("ramets/", lists.RametList.as_view(), name="ramets"),
    path("ramets/<str:code>/", pages.RametPage.as_view(), name="ramet"),
    path("fragmentations/", lists.FragmentationList.as_view(), name="fragmentations"),
]
