"""What the numbers are: each with its formula, its source and how to read it."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.utils.translation import gettext as _
from rest_framework.request import Request

from nursery.core.filters import refuse_unknown
from nursery.core.views.base import Page
from nursery.diversity.measures import ALL, SYMBOLS


class MeasuresPage(Page):
    """Every measure of diversity that is shown on any page."""

    place = "genets"
    template_name = "diversity/measures.html"

    def get(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        refuse_unknown(Request(request), ())
        return super().get(request, *args, **kwargs)

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        return super().get_context_data(measures=ALL, symbols=_(SYMBOLS), **kwargs)
