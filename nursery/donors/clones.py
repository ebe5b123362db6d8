"""Whether a colony that is about to be registered may be one that is on record, or a clone of it.

A colony breaks and its pieces grow on beside it: what stands a few metres from a colony of the same
taxon is often the same genet. It is registered all the same; a lead or a panel decides.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

from django.conf import settings
from django.db.models import Q
from django.utils.translation import gettext as _

from nursery.core.actor import Actor
from nursery.core.geodesy import Point, distance_m
from nursery.donors.models import DonorColony, Taxon
from nursery.donors.positions import may_see_exact, of_colonies

_DEGREE_M = 110_000.0
"""Less than a degree of latitude has anywhere, so that too much is looked at and not too little."""


@dataclass(frozen=True, slots=True)
class Near:
    """A colony of the same taxon and how far off it stands, in metres."""

    colony: DonorColony
    distance_m: float


def warned_within_m() -> float:
    """Within how many metres a colony of the same taxon is warned of."""
    return float(settings.CLONE_WARNING_M)


def near(actor: Actor, taxon: Taxon, point: Point, but: str = "") -> list[Near]:
    """Colonies of the taxon within the distance, the nearest first, less the one of code `but`.

    Two queries. Only for those who may see exact positions: to all others nothing is near, for
    distances from chosen points would give a position away.
    """
    if not may_see_exact(actor):
        return []
    within = warned_within_m()
    rows = list(
        DonorColony.objects.filter(_around(point, within), taxon=taxon)
        .exclude(code=but)
        .select_related("genet__canonical", "reef")
        .order_by("code")
    )
    seen = of_colonies(actor, rows)
    found = [
        Near(row, away)
        for row in rows
        if (at := seen.get(row.pk)) is not None
        and at.exact
        and (away := distance_m(point, at.point)) <= within
    ]
    return sorted(found, key=lambda each: each.distance_m)


def flag_of(perhaps_same: str) -> tuple[str, str] | None:
    """The code and sentence by which a collection is flagged, from what is kept with it."""
    if not perhaps_same:
        return None
    return (
        "possible_clone",
        _(
            "When this colony was registered, one of its taxon stood close by: %(colonies)s. It "
            "may be the same genet."
        )
        % {"colonies": perhaps_same},
    )


def kept_as(found: Iterable[Near], room: int) -> str:
    """The codes of near colonies in one text, as many as there is room for."""
    text = ""
    for each in found:
        longer = f"{text}, {each.colony.code}" if text else each.colony.code
        if len(longer) > room:
            break
        text = longer
    return text


def _around(point: Point, within: float) -> Q:
    """The rounded positions that what is so near may have."""
    grid = float(settings.DONOR_POSITION_GRID_DEGREES)
    high = within / _DEGREE_M + grid
    lowest, highest = point.latitude - high, point.latitude + high
    asked = Q(rounded_latitude__range=(round(lowest, 6), round(highest, 6)))
    narrow = math.cos(math.radians(min(abs(point.latitude) + high, 89.0)))
    wide = within / (_DEGREE_M * narrow) + grid
    # Near the poles, and where the longitudes begin anew, only the latitude narrows it down.
    if abs(point.latitude) > 85 or abs(point.longitude) + wide >= 180:
        return asked
    west, east = point.longitude - wide, point.longitude + wide
    return asked & Q(rounded_longitude__range=(round(west, 6), round(east, 6)))
