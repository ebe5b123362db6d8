"""Addresses of Today, of sites and of proposals."""

from django.urls import path

from nursery.diversity.views.map import MapPage
from nursery.diversity.views.matrix import BankFile, LostFile
from nursery.diversity.views.measures import MeasuresPage
from nursery.diversity.views.policy import PolicyPage
from nursery.diversity.views.proposing import NeedsPage, ProposalPage, SheetPage
from nursery.diversity.views.sheet import OverlapFile, OverlapPage, SiteFile, SiteSheet
from nursery.diversity.views.site import SitePage
from nursery.diversity.views.today import TodayPage

urlpatterns = [
    path("", TodayPage.as_view(), name="home"),
    path("map/", MapPage.as_view(), name="map"),
    path("policy/", PolicyPage.as_view(), name="policy"),
    path("proposals/", NeedsPage.as_view(), name="proposals"),
    path("proposals/<str:uid>/", ProposalPage.as_view(), name="proposal"),
    path("proposals/<str:uid>/sheet/", SheetPage.as_view(), name="proposal-sheet"),
    path("measures/", MeasuresPage.as_view(), name="measures"),
    path("overlap/", OverlapPage.as_view(), name="overlap"),
    path("overlap.csv", OverlapFile.as_view(), name="overlap-file"),
    path("genet-bank.csv", BankFile.as_view(), name="bank-file"),
    path("lost-genets.csv", LostFile.as_view(), name="lost-file"),
    path("sites/<str:code>/sheet/", SiteSheet.as_view(), name="site-sheet"),
    path("sites/<str:code>/sheet/<str:name>.csv", SiteFile.as_view(), name="site-file"),
    path("sites/<str:code>/", SitePage.as_view(), name="site"),
]
