"""The map: sites with their plots, nurseries and reefs, and a list that says the same."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import ngettext_lazy
from rest_framework.request import Request

from nursery.core.filters import refuse_unknown
from nursery.core.geodesy import Point
from nursery.core.phrases import counted, number, percent
from nursery.core.views import kin
from nursery.core.views.base import Page
from nursery.core.views.lists import kin_links
from nursery.diversity.places_map import NurseryHere, Places, SiteHere, places


@dataclass(frozen=True, slots=True)
class Entry:
    """One place in the list beside the map; `key` names it on the map, if it is there."""

    key: str
    name: str
    code: str
    href: str
    says: str
    placed: bool
    plots: Sequence[tuple[str, str]] = ()


class MapPage(Page):
    """Where sites and nurseries are, and what lives there."""

    place = "reef"
    template_name = "diversity/map.html"

    def get(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        refuse_unknown(Request(request), ())
        return super().get(request, *args, **kwargs)

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        found = places(self.actor)
        sites = [_site_entry(row) for row in found.sites]
        nurseries = [_nursery_entry(row) for row in found.nurseries]
        return super().get_context_data(
            says=says(found),
            sites=sites,
            nurseries=nurseries,
            drawn=_drawn(found, sites, nurseries),
            kin=kin_links(kin.REEF, self.request.path),
            **kwargs,
        )


def says(found: Places) -> str:
    """What lives on the reef, at how many sites, in one sentence."""
    if not found.sites:
        return _("No site to plant on is in the register.")
    sites = counted(len(found.sites), ngettext_lazy("site", "sites"))
    if not found.living:
        return _("%(sites)s are open, and nothing lives on them yet.") % {"sites": sites}
    largest = max(found.sites, key=lambda row: (row.living, row.site.code))
    text = _("%(ramets)s of %(genets)s live on %(sites)s.") % {
        "ramets": counted(found.living, ngettext_lazy("ramet", "ramets")),
        "genets": counted(found.genets, ngettext_lazy("genet", "genets")),
        "sites": sites,
    }
    if len(found.sites) > 1:
        text += " " + _("%(share)s of them at %(site)s.") % {
            "share": percent(largest.living / found.living),
            "site": largest.site.name,
        }
    return text


def _site_entry(row: SiteHere) -> Entry:
    if not row.living:
        said = _("nothing lives here yet")
    else:
        said = _("%(ramets)s alive, of %(genets)s") % {
            "ramets": counted(row.living, ngettext_lazy("ramet", "ramets")),
            "genets": counted(row.genets, ngettext_lazy("known genet", "known genets")),
        }
        if row.effective.value is not None:
            said += _("; %(effective)s effective genets") % {
                "effective": number(row.effective.value, 1)
            }
    return Entry(
        key=f"site {row.site.code}",
        name=row.site.name,
        code=row.site.code,
        href=reverse("site", args=[row.site.code]),
        says=said,
        placed=row.at is not None,
        plots=[(each.plot.code, number(each.living)) for each in row.plots],
    )


def _nursery_entry(row: NurseryHere) -> Entry:
    kind = row.nursery.get_kind_display()
    ramets = counted(row.living, ngettext_lazy("ramet lives", "ramets live"))
    return Entry(
        key=f"nursery {row.nursery.code}",
        name=row.nursery.name,
        code=row.nursery.code,
        href=reverse("nursery", args=[row.nursery.code]),
        says=_("nursery %(kind)s: %(ramets)s") % {"kind": kind, "ramets": ramets},
        placed=row.at is not None,
    )


def _drawn(found: Places, sites: Sequence[Entry], nurseries: Sequence[Entry]) -> dict[str, Any]:
    """What the map's script draws."""
    pins = [
        _pin("site", entry, row.at, outline=row.outline)
        for entry, row in zip(sites, found.sites, strict=True)
        if row.at is not None
    ]
    pins += [
        _pin("nursery", entry, row.at)
        for entry, row in zip(nurseries, found.nurseries, strict=True)
        if row.at is not None
    ]
    reefs = [{"name": row.reef.name, "at": _spot(row.at)} for row in found.reefs]
    return {
        "pins": pins,
        "reefs": reefs,
        "tiles": settings.MAP_TILES,
        "credit": settings.MAP_CREDIT,
        "words": {
            "closer": _("Closer"),
            "further": _("Further away"),
            "open": _("Open its page"),
            "north": _("N"),
            "south": _("S"),
            "east": _("E"),
            "west": _("W"),
        },
    }


def _pin(kind: str, entry: Entry, at: Point, outline: Any = ()) -> dict[str, Any]:
    return {
        "kind": kind,
        "key": entry.key,
        "name": entry.name,
        "says": entry.says,
        "href": entry.href,
        "at": _spot(at),
        "outline": outline,
    }


def _spot(at: Point) -> list[float]:
    return [at.latitude, at.longitude]
