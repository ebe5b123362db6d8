"""Addresses of taxa, permits, genets, donor colonies and collections."""

from django.urls import path

from nursery.diversity.views.matrix import MatrixPage
from nursery.donors.views import collecting, descent, lists, pages, photos

urlpatterns = [
    path("colonies/", lists.ColonyList.as_view(), name="colonies"),
    path("colonies/<str:code>/", pages.ColonyPage.as_view(), name="colony"),
    path("colonies/<str:code>/descent/", descent.ColonyDescent.as_view(), name="colony-descent"),
    path("colonies/<str:code>/photos/", photos.AddPhotos.as_view(), name="add-photos"),
    path("photos/<uuid:uid>/close/", photos.ClosePhoto.as_view(), name="close-photo"),
    path("photos/<uuid:uid>/<str:size>.jpg", photos.PhotoFile.as_view(), name="photo"),
    path("collect/", collecting.CollectPage.as_view(), name="collect"),
    path("collect/reading/", collecting.ReadingPage.as_view(), name="collect-reading"),
    path("collections/", lists.CollectionList.as_view(), name="collections"),
    path("taxa/", lists.TaxonList.as_view(), name="taxa"),
    path("taxa/<str:code>/", pages.TaxonPage.as_view(), name="taxon"),
    path("permits/", lists.PermitList.as_view(), name="permits"),
    path("permits/<str:code>/", pages.PermitPage.as_view(), name="permit"),
    path("genets/", lists.GenetList.as_view(), name="genets"),
    # Before the pages of single ones, which would take it for a code.
    path("genets/matrix/", MatrixPage.as_view(), name="matrix"),
    path("genets/<str:code>/descent/", descent.GenetDescent.as_view(), name="genet-descent"),
    path("genets/<str:code>/", pages.GenetPage.as_view(), name="genet"),
]
