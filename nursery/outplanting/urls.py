"""Addresses of plots, outplantings, visits, entries of every kind, and the find field."""

from django.urls import path

from nursery.outplanting.views import find, lists, pages

urlpatterns = [
    path("find/", find.FindPage.as_view(), name="find"),
    path("plots/<str:code>/", pages.PlotPage.as_view(), name="plot"),
    path("outplantings/", lists.OutplantingList.as_view(), name="outplantings"),
    path("visits/", lists.VisitList.as_view(), name="visits"),
    path("events/", lists.EventList.as_view(), name="events"),
    path("events/<str:uid>/", pages.EventPage.as_view(), name="event"),
]
