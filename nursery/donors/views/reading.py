"""What a half-filled form says: read back in plain words, with what to mind before it is sent."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from django.utils.translation import gettext as _

from nursery.core.actor import Actor
from nursery.core.cautions import CAUTIONS
from nursery.core.coordinates import format_dms
from nursery.core.dates import DateError, When, parse_when
from nursery.core.errors import Refused
from nursery.core.geodesy import Point, distance_m
from nursery.core.phrases import date_words, number
from nursery.core.quantities import QuantityError, parse_depth, parse_length
from nursery.donors import clones
from nursery.donors.covering import would_flag
from nursery.donors.models import DonorColony, Taxon
from nursery.donors.permits import Flag
from nursery.donors.positions import read_point
from nursery.places.models import Reef

SOURCE = "source"
"""Which of the two was filled in: a `new` colony, or a `known` one."""


@dataclass(slots=True)
class Reading:
    """Lines that say what was understood, what was not, and what to mind."""

    lines: list[str] = field(default_factory=list)
    faults: list[str] = field(default_factory=list)
    colony: DonorColony | None = None
    near: list[clones.Near] = field(default_factory=list)
    within_m: float = 0
    flags: list[Flag] = field(default_factory=list)
    zoanthid: Any = None


def reading_of(actor: Actor, typed: Mapping[str, Any], permits: Sequence[str]) -> Reading:
    """Read a form so far. Queries: a few, whatever is in it."""
    found = Reading(within_m=clones.warned_within_m())
    known = typed.get(SOURCE) == "known"
    colony = _colony(_text(typed, "colony")) if known else None
    if known and colony is None and _text(typed, "colony"):
        found.faults.append(
            _("There is no donor colony %(code)s.") % {"code": _text(typed, "colony")}
        )
    found.colony = colony
    taxon = colony.taxon if colony else _row(Taxon, _text(typed, "taxon"))
    reef = colony.reef if colony else _row(Reef, _text(typed, "reef"))
    point = _point(found, typed, reef)
    _measures(found, typed)
    if taxon is not None and taxon.group == Taxon.Group.ZOANTHID:
        found.zoanthid = CAUTIONS["zoanthid"]
    if point is not None and taxon is not None and not known:
        found.near = clones.near(actor, taxon, point)
    when = _when(found, _text(typed, "when"))
    if when is not None and taxon is not None and reef is not None:
        count = _text(typed, "count")
        pieces = int(count) if count.isdecimal() and len(count) < 7 else 0
        found.flags = would_flag(permits, when, taxon, reef, pieces)
    return found


def _text(typed: Mapping[str, Any], name: str) -> str:
    return str(typed.get(name) or "").strip().replace("\x00", "")[:200]


def _colony(code: str) -> DonorColony | None:
    rows = DonorColony.objects.select_related("taxon", "reef", "genet__canonical")
    return rows.filter(code=code.upper()[:40]).first() if code else None


def _row(model: Any, code: str) -> Any:
    return model.objects.filter(code=code.upper()[:40]).first() if code else None


def _point(found: Reading, typed: Mapping[str, Any], reef: Reef | None) -> Point | None:
    latitude, longitude = _text(typed, "latitude"), _text(typed, "longitude")
    if not latitude or not longitude:
        return None
    try:
        point = read_point(latitude, longitude, reef)
    except Refused as refusal:
        found.faults += [problem.message for problem in refusal.problems]
        return None
    found.lines.append(
        _("Position: %(dms)s, that is %(latitude)s, %(longitude)s in degrees.")
        % {
            "dms": format_dms(point, 1),
            "latitude": f"{point.latitude:.6f}",
            "longitude": f"{point.longitude:.6f}",
        }
    )
    if reef is not None and reef.latitude is not None and reef.longitude is not None:
        away = distance_m(point, Point(float(reef.latitude), float(reef.longitude)))
        far = (
            _("%(n)s m") % {"n": number(round(away))}
            if away < 1000
            else _("%(n)s km") % {"n": number(away / 1000, 1)}
        )
        found.lines.append(
            _("That is %(far)s from the middle of %(reef)s.") % {"far": far, "reef": reef.name}
        )
    return point


def _measures(found: Reading, typed: Mapping[str, Any]) -> None:
    for name, parse, line in (
        ("depth", parse_depth, _("Depth: %(n)s m.")),
        ("size", lambda text: parse_length(text, "cm") * 100, _("Colony: %(n)s cm across.")),
        ("piece_size", lambda text: parse_length(text, "cm") * 100, _("Pieces: %(n)s cm long.")),
    ):
        text = _text(typed, name)
        if not text:
            continue
        try:
            found.lines.append(line % {"n": number(parse(text), 1)})
        except QuantityError as error:
            found.faults.append(error.message)


def _when(found: Reading, text: str) -> When | None:
    if not text:
        return None
    try:
        when = parse_when(text)
    except DateError as error:
        found.faults.append(str(error))
        return None
    found.lines.append(_("Day: %(day)s.") % {"day": date_words(when)})
    return when
