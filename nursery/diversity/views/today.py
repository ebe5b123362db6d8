"""The first page: what stands, and what needs a hand."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest
from django.http.response import HttpResponseBase
from rest_framework.request import Request

from nursery.core.filters import refuse_unknown
from nursery.core.views import kin
from nursery.core.views.base import Page
from nursery.core.views.lists import kin_links
from nursery.diversity.today import today


class TodayPage(Page):
    """What needs a hand."""

    place = "today"
    template_name = "diversity/today.html"

    def get(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        refuse_unknown(Request(request), ())
        return super().get(request, *args, **kwargs)

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        return super().get_context_data(
            today=today(self.actor), kin=kin_links(kin.TODAY, self.request.path), **kwargs
        )
