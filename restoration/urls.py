"""The addresses of the whole installation."""

from django.contrib import admin
from django.urls import URLPattern, URLResolver, include, path

urlpatterns: list[URLPattern | URLResolver] = [
    path("admin/", admin.site.urls),
    path("api/", include("restoration.api_urls")),
]

handler500 = "nursery.core.problems.server_error"
