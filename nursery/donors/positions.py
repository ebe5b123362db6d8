"""The one door to exact positions: who may see them, and what everybody else sees instead.

A donor colony's place is an invitation to strip it. Its row holds the position on a fixed coarse
grid; the exact one is read here only, for field staff and leads.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal

from django.conf import settings

from nursery.core.actor import Actor, Role
from nursery.core.coordinates import CoordinateError, Generalised, generalise, parse_position
from nursery.core.errors import Problem, Refused
from nursery.core.geodesy import Point
from nursery.core.models import Event
from nursery.donors.models import Collection, DonorColony
from nursery.donors.position_model import Position
from nursery.places.models import Reef

SEES_EXACT = (Role.FIELD, Role.LEAD)


@dataclass(frozen=True, slots=True)
class Seen:
    """A position as one person may see it: WGS 84, decimal degrees; uncertainty in metres.

    `statement` says how it was generalised, empty where it is exact.
    """

    latitude: Decimal
    longitude: Decimal
    uncertainty_m: int | None
    exact: bool
    statement: str = ""

    @property
    def point(self) -> Point:
        return Point(float(self.latitude), float(self.longitude))


def may_see_exact(actor: Actor) -> bool:
    """Whether the person works with exact positions: field staff and programme leads."""
    return actor.has(*SEES_EXACT)


def of_colonies(actor: Actor, colonies: Iterable[DonorColony]) -> dict[int, Seen]:
    """Positions of colonies by their ids, each as the actor may see it, where one is known."""
    rows = list(colonies)
    seen = {row.pk: shown for row in rows if (shown := _rounded(row)) is not None}
    if may_see_exact(actor):
        exact = Position.objects.filter(colony__in=[row.pk for row in rows]).order_by("pk")
        seen |= {row.colony_id: _exact(row) for row in exact if row.colony_id is not None}
    return seen


def of_collections(actor: Actor, collections: Iterable[Collection]) -> dict[int, Seen]:
    """Positions of collections by their event ids, each as the actor may see it."""
    rows = list(collections)
    seen = {row.pk: shown for row in rows if (shown := _rounded(row)) is not None}
    if may_see_exact(actor):
        exact = Position.objects.filter(event__in=[row.pk for row in rows]).order_by("pk")
        seen |= {row.event_id: _exact(row) for row in exact if row.event_id is not None}
    return seen


def read_point(latitude: str, longitude: str, reef: Reef | None) -> Point:
    """A position as people write it, checked against the reef for swapped values.

    Raises Refused with the reason; the message does not repeat the position.
    """
    near = None
    if reef is not None and reef.latitude is not None and reef.longitude is not None:
        near = Point(float(reef.latitude), float(reef.longitude))
    try:
        return parse_position(latitude, longitude, near=near)
    except CoordinateError as error:
        field = error.field if error.field in ("latitude", "longitude") else "latitude"
        message = str(error)
        for typed in (latitude.strip(), longitude.strip()):
            # The sentence begins with what was typed, which may be exact: it stays out of it.
            for form in filter(None, (repr(typed), typed)):
                message = message.replace(form, "This", 1) if message.startswith(form) else message
        raise Refused(Problem(error.code, message, (field,))) from None


def keep_for_colony(
    actor: Actor, colony: DonorColony, point: Point, uncertainty_m: int | None
) -> Generalised:
    """Keep a colony's exact position, and the rounded one on its row (not yet saved)."""
    coarse = _on_grid(point)
    colony.rounded_latitude = coarse.latitude
    colony.rounded_longitude = coarse.longitude
    colony.uncertainty_m = coarse.added_uncertainty_m + (uncertainty_m or 0)
    colony.generalisation = coarse.statement
    Position.objects.create(
        colony=colony, uncertainty_m=uncertainty_m, recorded_by_id=actor.user_id, **_stored(point)
    )
    return coarse


def keep_for_collection(
    actor: Actor, event: Event, collection: Collection, point: Point, uncertainty_m: int | None
) -> None:
    """Keep a collection's exact position, and the rounded one on its row (not yet saved)."""
    coarse = _on_grid(point)
    collection.rounded_latitude = coarse.latitude
    collection.rounded_longitude = coarse.longitude
    collection.uncertainty_m = coarse.added_uncertainty_m + (uncertainty_m or 0)
    Position.objects.create(
        event=event, uncertainty_m=uncertainty_m, recorded_by_id=actor.user_id, **_stored(point)
    )


def _on_grid(point: Point) -> Generalised:
    return generalise(point, Decimal(str(settings.DONOR_POSITION_GRID_DEGREES)))


def _stored(point: Point) -> dict[str, Decimal]:
    step = Decimal("0.0000001")
    return {
        "latitude": Decimal(repr(point.latitude)).quantize(step),
        "longitude": Decimal(repr(point.longitude)).quantize(step),
    }


def _exact(row: Position) -> Seen:
    return Seen(row.latitude, row.longitude, row.uncertainty_m, exact=True)


def _rounded(row: DonorColony | Collection) -> Seen | None:
    if row.rounded_latitude is None or row.rounded_longitude is None:
        return None
    statement = row.generalisation if isinstance(row, DonorColony) else ""
    return Seen(
        row.rounded_latitude,
        row.rounded_longitude,
        row.uncertainty_m,
        exact=False,
        statement=statement or "Coordinates rounded to a fixed grid.",
    )
