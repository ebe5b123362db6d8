"""How the pages look to this reader: light, dark, more contrast or red; cautions folded for a day.

Both are kept in cookies of the device, for they belong to the place one stands in: the same person
reads in sunlight aboard and in a dark tank room.
"""

from __future__ import annotations

import datetime
from dataclasses import dataclass
from typing import Any

from django.http import HttpRequest, HttpResponseRedirect
from django.urls import reverse
from django.utils import timezone
from django.utils.functional import Promise
from django.utils.http import url_has_allowed_host_and_scheme
from django.utils.translation import gettext_lazy as _
from django.views import View

from nursery.core.cautions import CAUTIONS

LOOK = "look"
AWAY = "cautions"
_YEAR = 365 * 24 * 3600


@dataclass(frozen=True, slots=True)
class Look:
    """One look: its key, which stands in the cookie, and its name."""

    key: str
    name: str | Promise


LOOKS = (
    Look("", _("as the device")),
    Look("light", _("light")),
    Look("dark", _("dark")),
    Look("contrast", _("high contrast")),
    Look("red", _("red, for the dark")),
)
_KEYS = {look.key for look in LOOKS}


class ChooseLook(View):
    """Keeps the look that was chosen, and leads back."""

    http_method_names = ["post"]

    def post(self, request: HttpRequest) -> HttpResponseRedirect:
        answer = back(request)
        look = request.POST.get(LOOK, "")
        if look in _KEYS - {""}:
            answer.set_cookie(LOOK, look, max_age=_YEAR, samesite="Lax", httponly=True)
        else:
            answer.delete_cookie(LOOK, samesite="Lax")
        return answer


class PutAway(View):
    """Folds a caution until the day ends where the reader is, and leads back."""

    http_method_names = ["post"]

    def post(self, request: HttpRequest) -> HttpResponseRedirect:
        answer = back(request)
        away = put_away(request) | ({request.POST.get("caution", "")} & set(CAUTIONS))
        now = timezone.localtime()
        midnight = datetime.datetime.combine(
            now.date() + datetime.timedelta(days=1), datetime.time(), now.tzinfo
        )
        left = int((midnight - now).total_seconds())
        answer.set_cookie(AWAY, ".".join(sorted(away)), max_age=left, samesite="Lax", httponly=True)
        return answer


def put_away(request: HttpRequest) -> set[str]:
    """The keys of the cautions that this reader folded today."""
    return set(request.COOKIES.get(AWAY, "").split(".")) & set(CAUTIONS)


def look_of(request: HttpRequest) -> str:
    """The look that was chosen on this device; empty for what the device itself prefers."""
    look = request.COOKIES.get(LOOK, "")
    return look if look in _KEYS else ""


def back(request: HttpRequest) -> HttpResponseRedirect:
    """To the page that asked for this, as long as it is one of ours."""
    target = request.POST.get("next", "")
    ours = url_has_allowed_host_and_scheme(
        target, allowed_hosts={request.get_host()}, require_https=request.is_secure()
    )
    return HttpResponseRedirect(target if ours else reverse("home"))


def appearance(request: HttpRequest) -> dict[str, Any]:
    """What every page's frame needs: the look and the looks to choose from."""
    return {"look": look_of(request), "looks": LOOKS}
