"""All addresses of the register, and a constant one: what asking anything at all costs."""

from __future__ import annotations

from django.urls import URLPattern, URLResolver, include, path
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView


class Constant(APIView):
    """Answers the same to everyone who may read, past all middleware and authentication."""

    def get(self, request: Request) -> Response:
        return Response({"answer": "always this"})


urlpatterns: list[URLPattern | URLResolver] = [
    path("api/constant/", Constant.as_view()),
    path("", include("restoration.urls")),
]
