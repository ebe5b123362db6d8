"""Addresses of long work."""

from django.urls import path

from nursery.exchange.views import work

urlpatterns = [
    path("work/", work.WorkPage.as_view(), name="work"),
    path("work/<str:uid>/", work.TaskPage.as_view(), name="task"),
]
