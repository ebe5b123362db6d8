"""Where the find field leads."""

from __future__ import annotations

from typing import Any
from urllib.parse import urlencode

from django.contrib import messages
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.urls import reverse
from rest_framework.request import Request

from nursery.core.filters import refuse_unknown
from nursery.core.views.base import Page
from nursery.core.views.tables import address, without_empty
from nursery.outplanting.find import PERSON, Found, Hit, find, suggest


class FindPage(Page):
    """One thing of that name: its page. Several: a list of them. None: near ones that exist."""

    template_name = "outplanting/find.html"

    def get(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        filled = without_empty(request.GET)
        if filled is not None:
            return HttpResponseRedirect(address(request.path, filled))
        refuse_unknown(Request(request), ["q"])
        found = find(self.actor, request.GET.get("q", ""))
        if found.exact and len(found.hits) == 1 and found.hits[0].sure:
            (hit,) = found.hits
            if hit.past:
                # An old tag: its ramet's page does not say that it was asked for by that.
                messages.info(request, f"{found.text}: {hit.why}.")
            return HttpResponseRedirect(href(hit))
        return self.render_to_response(self.get_context_data(found=found))

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        found: Found = kwargs["found"]
        return super().get_context_data(
            hits=[(hit, href(hit)) for hit in found.hits],
            near=[(code, reverse("ramet", args=[code])) for code in found.near],
            **kwargs,
        )


class NearPage(Page):
    """What is offered while somebody types: a piece of HTML, no page."""

    template_name = "outplanting/near.html"

    def get(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        refuse_unknown(Request(request), ["q"])
        hits = suggest(self.actor, request.GET.get("q", ""))
        return self.render_to_response({"hits": [(hit, href(hit)) for hit in hits]})


def href(hit: Hit) -> str:
    """The page of what was found."""
    if hit.kind == PERSON:
        return f"{reverse('events')}?{urlencode({'recorded_by': hit.code})}"
    return reverse(hit.kind, args=[hit.code])
