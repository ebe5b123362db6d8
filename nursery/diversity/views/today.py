"""The first page: what stands, and what needs a hand."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.utils.translation import gettext as _
from django.utils.translation import ngettext_lazy
from rest_framework.request import Request

from nursery.core.actor import Role
from nursery.core.filters import refuse_unknown
from nursery.core.phrases import counted, listed, number
from nursery.core.views import kin
from nursery.core.views.base import Page
from nursery.core.views.lists import kin_links
from nursery.diversity.today import MOST_NAMED, READY_DAYS, Today, today
from nursery.diversity.views.audit import rule_name
from nursery.diversity.views.matrix import beside


class TodayPage(Page):
    """What needs a hand."""

    place = "today"
    template_name = "diversity/today.html"

    def get(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        refuse_unknown(Request(request), ())
        return super().get(request, *args, **kwargs)

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        found = today(self.actor)
        return super().get_context_data(
            today=found,
            below=[
                {"site": row.site, "rules": ", ".join(rule_name(rule) for rule in row.rules)}
                for row in found.below
            ],
            says=says(found),
            risks_say=beside(found.keeping),
            risky=found.keeping.at_risk[:MOST_NAMED],
            ready_total=sum(row.ramets for row in found.ready),
            ready_days=READY_DAYS,
            ready_before=found.day - timedelta(days=READY_DAYS),
            due_days=settings.CHECK_DUE_DAYS,
            may_enter=self.actor.leads or self.actor.has(Role.FIELD, Role.NURSERY),
            kin=kin_links(kin.TODAY, self.request.path),
            **kwargs,
        )


def says(found: Today) -> str:
    """What stands, in one sentence."""
    here = found.standing
    if not here.living:
        return _("No ramet lives in the record yet.")
    places = []
    if here.in_nurseries:
        nurseries = counted(here.nurseries, ngettext_lazy("nursery", "nurseries"))
        places.append(
            _("%(n)s in %(nurseries)s") % {"n": number(here.in_nurseries), "nurseries": nurseries}
        )
    if here.on_sites:
        sites = counted(here.sites, ngettext_lazy("site", "sites"))
        places.append(_("%(n)s on %(sites)s") % {"n": number(here.on_sites), "sites": sites})
    if here.packed:
        places.append(_("%(n)s packed for a journey") % {"n": number(here.packed)})
    if here.placeless:
        places.append(_("%(n)s without a place") % {"n": number(here.placeless)})
    text = _("%(ramets)s, of %(genets)s: %(places)s.") % {
        "ramets": counted(here.living, ngettext_lazy("ramet lives", "ramets live")),
        "genets": counted(here.genets, ngettext_lazy("genet", "genets")),
        "places": listed(places),
    }
    if here.without_genet:
        unknown = _("Of %(n)s the genet is not known.") % {"n": number(here.without_genet)}
        return f"{text} {unknown}"
    return text
