"""One click undoes the last entry of this session: it voids the event, for ten minutes."""

from __future__ import annotations

from django.contrib import messages
from django.db import transaction
from django.http import HttpRequest, HttpResponse
from django.utils.translation import gettext as _

from nursery.core.errors import Problem, Refused
from nursery.core.views.appearance import back
from nursery.core.views.base import Page
from nursery.core.views.entered import forget, last_entered
from nursery.outplanting.actions.correct import void
from nursery.outplanting.corrections import VoidIn


class UndoLast(Page):
    """Voids what this session entered last, unless something was entered upon it since."""

    http_method_names = ["post"]

    def post(self, request: HttpRequest) -> HttpResponse:
        entered = last_entered(request)
        if entered is None or str(entered.uids[-1]) != request.POST.get("entry"):
            raise Refused(
                Problem(
                    "too_late_to_undo",
                    _(
                        "This can no longer be undone in one step. Open the entry and void it "
                        "there."
                    ),
                )
            )
        with transaction.atomic():
            for uid in reversed(entered.uids):
                void(self.actor, VoidIn(event=uid, reason=_("Undone right after it was entered.")))
        forget(request)
        messages.success(request, _("Undone: %(says)s.") % {"says": entered.says})
        return back(request)
