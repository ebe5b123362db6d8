"""What every page stands on: somebody with a role is logged in, and troubles become pages."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, ClassVar
from zoneinfo import ZoneInfo

from django.contrib.auth.views import redirect_to_login
from django.http import HttpRequest, HttpResponsePermanentRedirect, HttpResponseRedirect
from django.http.response import HttpResponseBase
from django.shortcuts import render
from django.urls import Resolver404, resolve
from django.utils import timezone
from django.utils.cache import add_never_cache_headers
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views import View
from django.views.generic import TemplateView

from nursery.access.actors import actor_of
from nursery.core.actor import Actor, require_read
from nursery.core.errors import NotAllowed, Problem, Refused, Trouble, Unknown


@dataclass(frozen=True, slots=True)
class Link:
    """Words that lead to an address; `here` marks the page that is being looked at."""

    text: str
    href: str
    here: bool = False


class Page(TemplateView):
    """A page for people with a role. It only reads, and the browser keeps no copy of it.

    What a query or an action refuses with is shown as a page with the same status, codes and
    sentences as the API's.
    """

    http_method_names = ["get", "head"]
    place: ClassVar[str] = ""
    """Which of the five places the page belongs to."""

    @property
    def actor(self) -> Actor:
        return actor_of(self.request)

    def dispatch(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        if not request.user.is_authenticated:
            return redirect_to_login(request.get_full_path())
        try:
            require_read(self.actor)
            if self.actor.zone:
                timezone.activate(ZoneInfo(self.actor.zone))
            if any("\x00" in str(value) for value in kwargs.values()):
                # PostgreSQL cannot even be asked for such a text.
                raise Unknown(Problem("no_such_page", _("There is no page at this address.")))
            response = super().dispatch(request, *args, **kwargs)
        except Trouble as trouble:
            response = trouble_page(request, trouble, self.suggestions(trouble), self.place)
        add_never_cache_headers(response)
        return response

    def suggestions(self, trouble: Trouble) -> Sequence[Link]:
        """What may have been meant, where the trouble is that something is unknown."""
        return ()

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        return super().get_context_data(place=self.place, actor=self.actor, **kwargs)


_HEADINGS = {
    Unknown.status: gettext_lazy("There is nothing of that name"),
    NotAllowed.status: gettext_lazy("This is not open to you"),
    Refused.status: gettext_lazy("This could not be understood"),
}


def trouble_page(
    request: HttpRequest, trouble: Trouble, suggestions: Sequence[Link] = (), place: str = ""
) -> HttpResponseBase:
    """A trouble as a page: each problem's sentence with its code, and a way on."""
    no_role = trouble.code == "no_role"
    heading = _HEADINGS.get(trouble.status, trouble.title)
    page = render(
        request,
        "core/trouble.html",
        {
            "heading": _("You have no role yet") if no_role else heading,
            "trouble": trouble,
            "no_role": no_role,
            "suggestions": suggestions,
            "place": place,
        },
        status=trouble.status,
    )
    if "HX-Request" in request.headers:
        # Back must not lead to a trouble: the page that asked shows it, at its own address.
        page.headers["HX-Push-Url"] = "false"
    return page


class NoSuchPage(View):
    """Answers addresses that nothing else answers to, in a trial as in an installation.

    An address that only lacks its last slash is led on, as Django would do without this view.
    """

    def dispatch(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        if request.method in ("GET", "HEAD") and not request.path.endswith("/"):
            try:
                found = resolve(f"{request.path_info}/")
            except Resolver404:
                found = None
            if found is not None and getattr(found.func, "view_class", None) is not NoSuchPage:
                return HttpResponsePermanentRedirect(request.get_full_path(force_append_slash=True))
        if not request.user.is_authenticated:
            return redirect_to_login(request.get_full_path())
        problem = Problem("no_such_page", _("There is no page at this address."))
        return trouble_page(request, Unknown(problem))


def canonical(request: HttpRequest, path: str) -> HttpResponseRedirect:
    """The same question at the address by which the thing goes."""
    query = request.META.get("QUERY_STRING", "")
    return HttpResponseRedirect(f"{path}?{query}" if query else path)
