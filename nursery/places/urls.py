"""Addresses of places."""

from django.urls import path

from nursery.places.views import asked, cutting, label, lists, pages, plate

urlpatterns = [
    path("reefs/", lists.ReefList.as_view(), name="reefs"),
    path("reefs/<str:code>/", pages.ReefPage.as_view(), name="reef"),
    path("nurseries/", lists.NurseryList.as_view(), name="nurseries"),
    path("nurseries/<str:code>/", pages.NurseryPage.as_view(), name="nursery"),
    path("systems/", lists.SystemList.as_view(), name="systems"),
    path("systems/<str:code>/", pages.SystemPage.as_view(), name="system"),
    path("bays/", lists.BayList.as_view(), name="bays"),
    path("bays/<str:code>/", pages.BayPage.as_view(), name="bay"),
    path("structures/", lists.StructureList.as_view(), name="structures"),
    path("structures/<str:code>/", plate.StructurePage.as_view(), name="structure"),
    path("structures/<str:code>/cells/", asked.CellsAsked.as_view(), name="structure-cells"),
    path("structures/<str:code>/label/", label.LabelPage.as_view(), name="structure-label"),
    path("cut/", cutting.CutPage.as_view(), name="cut"),
    path("named/", asked.NamedAsked.as_view(), name="named"),
    path("waiting/", asked.WaitingAsked.as_view(), name="waiting"),
    path("sites/", lists.SiteList.as_view(), name="sites"),
    path("plots/", lists.PlotList.as_view(), name="plots"),
]
