"""The one door to exact positions: who may see them, and what everybody else sees instead.

A donor colony's place is an invitation to strip it. Its row holds the position on a fixed coarse
grid; the exact one is read here only, for field staff and leads.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from django.conf import settings
from django.db.models import QuerySet
from django.db.models.expressions import Combinable
from django.db.models.functions import JSONArray

from nursery.core.actor import Actor, Role
from nursery.core.coordinates import CoordinateError, Generalised, generalise, parse_position
from nursery.core.errors import Problem, Refused
from nursery.core.geodesy import Point
from nursery.core.models import Event
from nursery.donors.models import Collection, DonorColony
from nursery.donors.position_model import Position
from nursery.places.models import Reef

SEES_EXACT = (Role.FIELD, Role.LEAD)
_STORED = Decimal("0.0000001")
"""The last place of an exact position: about a centimetre."""
_ROUNDED = ("rounded_latitude", "rounded_longitude", "uncertainty_m")
"""What everybody may see of a position, in the rows of colonies and collections."""


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


def exact_rows(
    actor: Actor, of_colonies: Combinable, of_collections: Combinable
) -> dict[str, tuple[QuerySet[Position], JSONArray]]:
    """Exact positions as rows for a larger statement; none where the actor may not see them.

    The conditions say which, by a position's `colony` and by the `event` of a collection.
    `read_exact` reads the rows.
    """
    if not may_see_exact(actor):
        return {}
    values = ("latitude", "longitude", "uncertainty_m")
    return {
        "colony_positions": (
            Position.objects.filter(of_colonies),
            JSONArray("pk", "colony_id", *values),
        ),
        "collection_positions": (
            Position.objects.filter(of_collections),
            JSONArray("pk", "event_id", *values),
        ),
    }


def read_exact(actor: Actor, rows: list[list[Any]]) -> dict[int, Seen]:
    """Exact positions by the ids of what they are of, out of rows of one kind of `exact_rows`;
    none where the actor may not see them."""
    if not may_see_exact(actor):
        return {}
    return {
        of: Seen(
            Decimal(latitude).quantize(_STORED), Decimal(longitude).quantize(_STORED), unsure, True
        )
        for _, of, latitude, longitude, unsure in sorted(rows)
    }


def rounded(
    latitude: Decimal | None,
    longitude: Decimal | None,
    uncertainty_m: int | None,
    statement: str = "",
) -> Seen | None:
    """What everybody may see of a position that was put on the grid; None where there is none."""
    if latitude is None or longitude is None:
        return None
    return Seen(
        latitude,
        longitude,
        uncertainty_m,
        exact=False,
        statement=statement or "Coordinates rounded to a fixed grid.",
    )


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


def misrounded() -> tuple[list[int], list[int]]:
    """The ids of colonies, and of collections' events, whose rounded position or uncertainty does
    not follow from the exact position in force, or which have one of the two alone."""
    of_colony = DonorColony.objects.order_by("pk").values_list("pk", *_ROUNDED)
    of_event = Collection.objects.order_by("pk").values_list("pk", *_ROUNDED)
    return (
        _misfits(of_colony, Position.objects.filter(colony__isnull=False), "colony_id"),
        _misfits(of_event, Position.objects.filter(event__isnull=False), "event_id"),
    )


def _misfits(written: QuerySet[Any, Any], positions: QuerySet[Position], column: str) -> list[int]:
    exact = {
        row[0]: row[1:]
        for row in positions.order_by("pk").values_list(
            column, "latitude", "longitude", "uncertainty_m"
        )
    }
    found = [pk for pk, *row in written.iterator() if not _fits(row, exact.pop(pk, None))]
    return sorted([*found, *exact])


def _fits(written: Sequence[Any], exact: Sequence[Any] | None) -> bool:
    """Whether a position is on the grid where the exact one puts it. What was typed may have lain
    up to half a place beside what is stored, and so on the other side of a line of the grid."""
    if exact is None:
        return all(value is None for value in written)
    latitude, longitude, uncertainty_m = exact
    half = _STORED / 2
    for north in (0, -half, half):
        for east in (0, -half, half):
            coarse = _on_grid(_near(latitude + north, longitude + east))
            right = (
                coarse.latitude,
                coarse.longitude,
                coarse.added_uncertainty_m + (uncertainty_m or 0),
            )
            if tuple(written) == right:
                return True
    return False


def _near(latitude: Decimal, longitude: Decimal) -> Point:
    north, east = float(latitude), float(longitude)
    return Point(max(min(north, 90.0), -90.0), max(min(east, 180.0), -180.0))


def _on_grid(point: Point) -> Generalised:
    return generalise(point, Decimal(str(settings.DONOR_POSITION_GRID_DEGREES)))


def _stored(point: Point) -> dict[str, Decimal]:
    return {
        "latitude": Decimal(repr(point.latitude)).quantize(_STORED),
        "longitude": Decimal(repr(point.longitude)).quantize(_STORED),
    }


def _exact(row: Position) -> Seen:
    return Seen(row.latitude, row.longitude, row.uncertainty_m, exact=True)


def _rounded(row: DonorColony | Collection) -> Seen | None:
    statement = row.generalisation if isinstance(row, DonorColony) else ""
    return rounded(row.rounded_latitude, row.rounded_longitude, row.uncertainty_m, statement)
