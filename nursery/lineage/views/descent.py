"""Descendants as pages tell them: how many live, what became of the others, and where they are."""

from __future__ import annotations

from collections.abc import Mapping

from django.utils.html import format_html
from django.utils.safestring import SafeString
from django.utils.translation import gettext as _
from django.utils.translation import ngettext_lazy

from nursery.core.phrases import counted, link, listed
from nursery.core.spoken import shown
from nursery.core.views.base import Link
from nursery.core.views.register import Section
from nursery.core.views.tables import Column, table
from nursery.lineage.queries import Descent, PlaceCount, PlaceView
from nursery.lineage.words import Life, Place


def where(place: PlaceCount | PlaceView) -> SafeString | str:
    """A place, leading to its page."""
    match place:
        case PlaceCount(structure=str(code)) | PlaceView(structure=str(code)):
            name = place.name if isinstance(place, PlaceView) else code
            at = place.nursery
            way = link(name, "structure", code)
            if not at:
                return way
            return format_html(_("{what} at {where}"), what=way, where=link(at, "nursery", at))
        case PlaceCount(plot=str(plot), site=str(site)) | PlaceView(plot=str(plot), site=str(site)):
            return format_html(
                _("plot {plot}, {site}"),
                plot=link(plot, "plot", plot),
                site=link(site, "site", site),
            )
    kind = place.place if isinstance(place, PlaceCount) else place.kind
    return _("packed for a journey") if kind is Place.PACKED else _("no place")


def lives_in_words(by_life: Mapping[str, int]) -> str:
    """How many are in each state: `98 living, 12 dead and 7 used up`."""
    return listed(f"{n:,} {shown(Life.of(word))}" for word, n in by_life.items())


def sentence(descent: Descent, what: str) -> str:
    """The numbers of a descent in one sentence; `what` names where they come from."""
    if not descent.total:
        return _("No ramet of %(what)s is in the record.") % {"what": what}
    ramets = counted(descent.total, ngettext_lazy("ramet comes", "ramets come"))
    told = {"ramets": ramets, "what": what, "lives": lives_in_words(descent.by_life)}
    return _("%(ramets)s from %(what)s: %(lives)s.") % told


def places_section(descent: Descent, more: Link | None) -> Section:
    """Where the descendants are, or were when they ended."""
    return Section(
        _("Where they are"),
        table(
            [
                Column(_("Place"), where),
                Column(_("Living"), lambda row: row.living, number=True),
                Column(_("Ended there"), lambda row: row.ended, number=True),
            ],
            descent.by_place,
            _("Descendants by place"),
            _("There are none."),
            compact=True,
        ),
        more=more if descent.total else None,
    )
