"""Logging in and out, and the door of the back office."""

from __future__ import annotations

from django.conf import settings
from django.contrib.auth import views
from django.contrib.auth.views import redirect_to_login
from django.http import HttpRequest
from django.http.response import HttpResponseBase
from django.utils.decorators import method_decorator
from django.utils.translation import gettext as _
from django.views import View
from django.views.decorators.cache import never_cache

from nursery.core.errors import HeldOff, NotAllowed, Problem
from nursery.core.forms import LogInForm
from nursery.core.views.base import trouble_page


class LogIn(views.LoginView):
    """Name and password; then to where one wanted to go, else to Today."""

    template_name = "core/login.html"
    authentication_form = LogInForm
    redirect_authenticated_user = True


@method_decorator(never_cache, name="dispatch")
class LogOut(views.LogoutView):
    """Ends the session, by POST only: a link or an image in some page cannot log anybody out."""

    http_method_names = ["post"]


def held_off(
    request: HttpRequest, response: object = None, credentials: object = None
) -> HttpResponseBase:
    """What somebody sees who gave a wrong password too often: when to try again."""
    minutes = int(settings.AXES_COOLOFF_TIME.total_seconds() // 60)
    problem = Problem(
        "held_off",
        _(
            "The password was wrong too often, so this log-in is held off from this device for "
            "%(minutes)d minutes. Wait, or ask a programme lead to set the password anew."
        )
        % {"minutes": minutes},
    )
    return trouble_page(request, HeldOff(problem))


class BackOfficeDoor(View):
    """Where the back office sends whom it does not let in: there is one way to log in, not two."""

    http_method_names = ["get", "head"]

    def get(self, request: HttpRequest) -> HttpResponseBase:
        if not request.user.is_authenticated:
            return redirect_to_login(request.GET.get("next", ""))
        problem = Problem(
            "not_staff",
            _("The back office is for programme leads whose log-in is marked as staff."),
        )
        return trouble_page(request, NotAllowed(problem))
