"""The addresses of the whole installation."""

from django.contrib import admin
from django.urls import URLPattern, URLResolver, include, path, re_path

from nursery.core.views.base import NoSuchPage
from nursery.core.views.session import BackOfficeDoor

urlpatterns: list[URLPattern | URLResolver] = [
    path("admin/login/", BackOfficeDoor.as_view()),
    path("admin/", admin.site.urls),
    path("api/", include("restoration.api_urls")),
    path("", include("nursery.core.urls")),
    path("", include("nursery.places.urls")),
    path("", include("nursery.donors.urls")),
    path("", include("nursery.lineage.urls")),
    path("", include("nursery.genotyping.urls")),
    path("", include("nursery.outplanting.urls")),
    path("", include("nursery.diversity.urls")),
    path("", include("nursery.exchange.urls")),
    # Last: an address that nothing answers to is told in our own words.
    re_path(r"", NoSuchPage.as_view()),
]

handler500 = "nursery.core.problems.server_error"
