"""Keeping a list under a name, renaming and sharing it, and removing it again."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.urls import Resolver404, resolve
from django.utils.translation import gettext as _

from nursery.access.inputs import KeptListIn, KeptNameIn
from nursery.access.keeping import drop_list, keep_list, rename_list
from nursery.core.errors import Problem, Refused
from nursery.core.inputs import read
from nursery.core.views.base import Page
from nursery.core.views.lists import Listing


class KeepList(Page):
    """Keeps the list that the form came from."""

    http_method_names = ["post"]

    def post(self, request: HttpRequest) -> HttpResponse:
        given = read(
            KeptListIn,
            {
                "name": request.POST.get("name", ""),
                "path": request.POST.get("path", ""),
                "query": request.POST.get("query", ""),
                "shared": request.POST.get("shared") == "on",
            },
        )
        if not _is_a_list(given.path):
            raise Refused(Problem("not_a_list", _("There is no list at this address."), ("path",)))
        kept = keep_list(self.actor, given)
        messages.success(request, _("Kept as %(name)s.") % {"name": kept.name})
        return HttpResponseRedirect(kept.href)


class RenameList(Page):
    """Gives a kept list another name, shares it or keeps it to its owner."""

    http_method_names = ["post"]

    def post(self, request: HttpRequest, pk: int) -> HttpResponse:
        posted = request.POST
        given = read(
            KeptNameIn, {"name": posted.get("name", ""), "shared": posted.get("shared") == "on"}
        )
        kept = rename_list(self.actor, pk, given)
        messages.success(request, _("Kept as %(name)s.") % {"name": kept.name})
        return HttpResponseRedirect(kept.href)


class DropList(Page):
    """Removes a kept list."""

    http_method_names = ["post"]

    def post(self, request: HttpRequest, pk: int) -> HttpResponse:
        dropped = drop_list(self.actor, pk)
        messages.success(request, _("No longer kept: %(name)s.") % {"name": dropped.name})
        return HttpResponseRedirect(dropped.path)


def _is_a_list(path: str) -> bool:
    try:
        view = resolve(path).func
    except Resolver404:
        return False
    kind = getattr(view, "view_class", None)
    return kind is not None and issubclass(kind, Listing)
