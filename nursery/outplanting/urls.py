"""Addresses of plots, outplantings, visits, entries of every kind, and the find field."""

from django.urls import path

from nursery.outplanting.views import (
    correcting,
    diving,
    entering,
    entry,
    find,
    lists,
    manifests,
    pages,
    settling,
    undoing,
    watching,
)

urlpatterns = [
    path("find/", find.FindPage.as_view(), name="find"),
    path("find/near/", find.NearPage.as_view(), name="find-near"),
    path("plots/<str:code>/", pages.PlotPage.as_view(), name="plot"),
    path("outplantings/", lists.OutplantingList.as_view(), name="outplantings"),
    path("manifests/", manifests.ManifestList.as_view(), name="manifests"),
    path("manifests/new/", manifests.DraftPage.as_view(), name="manifest-new"),
    path("manifests/<str:code>/", manifests.ManifestPage.as_view(), name="manifest"),
    path(
        "manifests/<str:code>/audits/<int:number>/",
        manifests.AuditPage.as_view(),
        name="manifest-audit",
    ),
    path("visits/", lists.VisitList.as_view(), name="visits"),
    path("dive/", diving.DivePage.as_view(), name="dive"),
    path("watch/", watching.WatchPage.as_view(), name="watch"),
    path("watch/<str:code>/", watching.WatchPlotPage.as_view(), name="watch-plot"),
    path("watch/<str:code>/<uuid:uid>/", watching.WatchSentPage.as_view(), name="watch-sent"),
    path("enter/", entering.EnterPage.as_view(), name="enter"),
    path("enter/<str:kind>/", entering.EnterKindPage.as_view(), name="enter-kind"),
    path("undo/", undoing.UndoLast.as_view(), name="undo"),
    path("unsettled/", settling.UnsettledPage.as_view(), name="unsettled"),
    path("unsettled/count/", settling.UnsettledCount.as_view(), name="unsettled-count"),
    path("unsettled/settled/", settling.SettledPage.as_view(), name="settled"),
    path("events/", lists.EventList.as_view(), name="events"),
    path("events/<str:uid>/", entry.EventPage.as_view(), name="event"),
    path("events/<str:uid>/void/", correcting.VoidPage.as_view(), name="void"),
    path("events/<str:uid>/amend/", correcting.AmendPage.as_view(), name="amend"),
    path("events/<str:uid>/restore/", correcting.RestorePage.as_view(), name="restore"),
    path("events/<str:uid>/undo-amendment/", correcting.UndoPage.as_view(), name="undo-amendment"),
]
