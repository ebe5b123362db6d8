"""Photos: handed out to people with a role, brought to a colony, and closed."""

from __future__ import annotations

import datetime
from typing import Any

from django.contrib import messages
from django.contrib.auth.views import redirect_to_login
from django.http import FileResponse, HttpRequest, HttpResponse, HttpResponseRedirect
from django.http.response import HttpResponseBase
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views import View

from nursery.access.actors import actor_of
from nursery.core.actor import Role, require, require_read
from nursery.core.errors import Problem, Refused, Trouble, Unknown
from nursery.core.registers import find
from nursery.core.views.base import Page, trouble_page
from nursery.donors import photos
from nursery.donors.models import DonorColony, Photo
from nursery.donors.pictures import Picture, clean

KEPT_FOR = 3600
"""For how many seconds the device of the one who looked may keep a photo."""


class PhotoFile(View):
    """One photo's file, large or small. Nobody gets it without a role, under no other address."""

    http_method_names = ["get", "head"]

    def dispatch(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        if not request.user.is_authenticated:
            return redirect_to_login(request.get_full_path())
        actor = actor_of(request)
        try:
            require_read(actor)
            photo = photos.one(actor, kwargs["uid"])
            answer = file_answer(photo, small=kwargs["size"] == "small")
        except Trouble as trouble:
            return trouble_page(request, trouble, place="colonies")
        return answer


def file_answer(photo: Photo, small: bool = False) -> FileResponse:
    """The file of a photo as an answer; raises Unknown (`unknown_photo`) if it is gone."""
    field = photo.small if small else photo.file
    try:
        content = field.open("rb")
    except FileNotFoundError as error:
        message = _("The file of this photo is not in the folder of photos any more.")
        raise Unknown(Problem("unknown_photo", message)) from error
    answer = FileResponse(content, content_type="image/jpeg")
    answer["Content-Disposition"] = "inline"
    answer["X-Content-Type-Options"] = "nosniff"
    answer["Content-Security-Policy"] = "default-src 'none'; sandbox"
    answer["Cache-Control"] = f"private, max-age={KEPT_FOR}"
    return answer


class AddPhotos(Page):
    """Brings photos to a colony on record."""

    http_method_names = ["get", "head", "post"]
    place = "colonies"
    template_name = "donors/photos.html"

    def get(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        require(self.actor, Role.FIELD, act=photos.ACT)
        return self._form({"taken_on": timezone.localdate().isoformat()})

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        require(self.actor, Role.FIELD, act=photos.ACT)
        colony = find(DonorColony, self.kwargs["code"])
        typed = request.POST.dict()
        try:
            taken_on = _day(typed.get("taken_on", ""))
            kept = photos.keep(
                self.actor, _pictures(request), colony, None, taken_on, typed.get("note", "")
            )
        except Trouble as trouble:
            return self._form(typed, trouble)
        words = ngettext("%(n)d photo is kept.", "%(n)d photos are kept.", len(kept))
        messages.success(request, words % {"n": len(kept)})
        return HttpResponseRedirect(reverse("colony", args=[colony.code]) + "#photos")

    def _form(self, typed: dict[str, str], trouble: Trouble | None = None) -> HttpResponse:
        told: dict[str, list[Problem]] = {}
        for each in trouble.problems if trouble else ():
            told.setdefault(each.field, []).append(each)
        context = self.get_context_data(
            colony=find(DonorColony, self.kwargs["code"]),
            typed=typed,
            told=told,
            problems=told.get("", []),
            faults=sum(map(len, told.values())),
            most_photos=photos.MOST_AT_ONCE,
        )
        return self.render_to_response(context, status=trouble.status if trouble else 200)


class ClosePhoto(Page):
    """Closes a photo, and leads back to its colony."""

    http_method_names = ["post"]
    place = "colonies"

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        photo = photos.close(self.actor, self.kwargs["uid"])
        messages.success(request, _("The photo is closed: it is kept, and shown no more."))
        if photo.colony is None:
            return HttpResponseRedirect(reverse("collections"))
        return HttpResponseRedirect(reverse("colony", args=[photo.colony.code]) + "#photos")


def _pictures(request: HttpRequest) -> list[Picture]:
    files = request.FILES.getlist("photos")
    if not files:
        raise Refused(Problem("required", _("Choose at least one photo."), ("photos",)))
    if len(files) > photos.MOST_AT_ONCE:
        raise Refused(photos.too_many())
    found: list[Picture] = []
    problems: list[Problem] = []
    for file in files:
        try:
            found.append(clean(file, file.size, file.name or ""))
        except Refused as refusal:
            problems += refusal.problems
    if problems:
        raise Refused(problems)
    return found


def _day(text: str) -> datetime.date | None:
    if not text.strip():
        return None
    try:
        return datetime.date.fromisoformat(text.strip())
    except ValueError:
        message = _("A day is written like this: 2021-03-04.")
        raise Refused(Problem("date_malformed", message, ("taken_on",))) from None
