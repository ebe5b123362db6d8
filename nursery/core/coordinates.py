"""Positions as people write them, and how they are made vaguer before they are shown.

Read: decimal degrees, degrees and minutes, degrees with minutes and seconds; signs or the letters N
S E W before or after; ISO 6709 strings. All positions are on WGS 84. Pure: plain values in and out.
"""

import re
from dataclasses import dataclass
from decimal import ROUND_HALF_EVEN, Decimal

from nursery.core.geodesy import Point, distance_m

__all__ = [
    "ADDED_UNCERTAINTY_M",
    "CoordinateError",
    "Generalised",
    "Point",
    "format_dms",
    "format_iso6709",
    "generalise",
    "parse_iso6709",
    "parse_latitude",
    "parse_longitude",
    "parse_position",
]

ADDED_UNCERTAINTY_M: dict[Decimal, int] = {
    Decimal("0.1"): 15691,
    Decimal("0.01"): 1570,
    Decimal("0.001"): 157,
}
"""Metres to add to the uncertainty for each grid in degrees: the diagonal of a grid cell at the
equator.

Chapman 2020, Current Best Practices for Generalizing Sensitive Species Occurrence Data.
"""

SWAP_WITHIN_M = 200_000.0
"""How far from a known place a position may be before it is asked whether its two parts are
swapped."""

_LIMITS = {"latitude": 90, "longitude": 180}
_LETTERS = {"latitude": "NS", "longitude": "EW"}
_OTHER = {"latitude": "longitude", "longitude": "latitude"}

# Each mark and its look-alikes on keyboards, in PDFs and from word processors.
_LOOK_ALIKES = str.maketrans(
    dict.fromkeys("º˚", "°")
    | dict.fromkeys("′’‘´`ʹʼ", "'")
    | dict.fromkeys("″”“ʺ", '"')
    | dict.fromkeys("−–‐‑", "-")
)
_WHOLE = r"[0-9]{1,3}"
_LAST = r"[0-9]{1,3}(?:[.,][0-9]{1,15})?"
_ANGLE = re.compile(
    r"(?P<before>[NSEW]?)\s*(?P<sign>[+-]?)\s*"
    rf"(?:(?P<d>{_LAST})\s*°?"
    rf"|(?P<dm_d>{_WHOLE})(?:\s*[°:]\s*|\s+)(?P<dm_m>{_LAST})\s*'?"
    rf"|(?P<dms_d>{_WHOLE})(?:\s*[°:]\s*|\s+)(?P<dms_m>{_WHOLE})(?:\s*[':]\s*|\s+)"
    rf"(?P<dms_s>{_LAST})\s*\"?)"
    r"\s*(?P<after>[NSEW]?)",
)
_ISO6709 = re.compile(
    r"([+-])([0-9]{2}|[0-9]{4}|[0-9]{6})(\.[0-9]{1,15})?"
    r"([+-])([0-9]{3}|[0-9]{5}|[0-9]{7})(\.[0-9]{1,15})?"
    r"(?:[+-][0-9]+(?:\.[0-9]+)?)?(?:CRSWGS_84)?/"
)


class CoordinateError(ValueError):
    """A text that is not a position.

    ``code`` is one of ``coordinate_malformed``, ``latitude_out_of_range``,
    ``longitude_out_of_range``, ``coordinates_swapped``; ``field`` is ``latitude``, ``longitude``
    or, where it is the pair, ``position``; ``message`` is for people.
    """

    def __init__(self, code: str, message: str, field: str) -> None:
        super().__init__(message)
        self.code = code
        self.message = message
        self.field = field


@dataclass(frozen=True, slots=True)
class Generalised:
    """A position made vaguer: degrees on the grid, metres to add to its uncertainty, and the
    statement to publish with it (Darwin Core ``dataGeneralizations``)."""

    latitude: Decimal
    longitude: Decimal
    added_uncertainty_m: int
    statement: str


def _malformed(field: str, text: str) -> CoordinateError:
    return CoordinateError(
        "coordinate_malformed",
        f"{text.strip()!r} is not a {field}: write decimal degrees (12.5083), or degrees, "
        f"minutes and seconds (12°30'30\" {_LETTERS[field][0]}).",
        field,
    )


def _swapped(field: str, message: str) -> CoordinateError:
    return CoordinateError(
        "coordinates_swapped", f"{message} Are latitude and longitude swapped?", field
    )


def _degrees(degrees: str, minutes: str = "0", seconds: str = "0") -> Decimal | None:
    """The angle in degrees, without a sign; None for sixty or more minutes or seconds."""
    d, m, s = (Decimal(part.replace(",", ".")) for part in (degrees, minutes, seconds))
    if m >= 60 or s >= 60:
        return None
    return d + (m * 60 + s) / 3600


def _parse_angle(text: str, field: str) -> float:
    """Degrees of any size, signed. Refuses the letters of the other field as swapped."""
    match = _ANGLE.fullmatch(text.strip().translate(_LOOK_ALIKES).replace("''", '"').upper())
    if match is None:
        raise _malformed(field, text)
    part = match.groupdict(default="")
    if part["d"]:
        angle = _degrees(part["d"])
    elif part["dm_d"]:
        angle = _degrees(part["dm_d"], part["dm_m"])
    else:
        angle = _degrees(part["dms_d"], part["dms_m"], part["dms_s"])
    letter = part["before"] + part["after"]
    # A letter and a sign, or two letters, can contradict each other.
    if angle is None or len(letter + part["sign"]) > 1:
        raise _malformed(field, text)
    if letter and letter in _LETTERS[_OTHER[field]]:
        raise _swapped(field, f"{text.strip()} is a {_OTHER[field]}, not a {field}.")
    negative = part["sign"] == "-" or letter in ("S", "W")
    return float(-angle if negative else angle)


def _check_range(value: float, field: str) -> None:
    limit = _LIMITS[field]
    if abs(value) > limit:
        raise CoordinateError(
            f"{field}_out_of_range", f"A {field} is from -{limit} to {limit} degrees.", field
        )


def parse_latitude(text: str) -> float:
    """Read a latitude, in degrees, north positive. Raises CoordinateError."""
    value = _parse_angle(text, "latitude")
    _check_range(value, "latitude")
    return value


def parse_longitude(text: str) -> float:
    """Read a longitude, in degrees, east positive. Raises CoordinateError."""
    value = _parse_angle(text, "longitude")
    _check_range(value, "longitude")
    return value


def parse_position(
    lat_text: str, lon_text: str, near: Point | None = None, within_m: float = SWAP_WITHIN_M
) -> Point:
    """Read a latitude and a longitude.

    ``near`` is a place known to be close by (the reef, the nursery). The pair counts as swapped
    when a letter says so, when the latitude is over 90 degrees and would be right as a longitude,
    or when it is more than ``within_m`` metres from ``near`` and the other way round is not. A
    position that is far from ``near`` both ways is taken as it is. Raises CoordinateError.
    """
    latitude = _parse_angle(lat_text, "latitude")
    longitude = _parse_angle(lon_text, "longitude")
    if 90 < abs(latitude) <= 180 and abs(longitude) <= 90:
        raise _swapped("position", "A latitude is not over 90 degrees.")
    _check_range(latitude, "latitude")
    _check_range(longitude, "longitude")
    point = Point(latitude, longitude)
    if (
        near is not None
        and abs(longitude) <= 90
        and distance_m(point, near) > within_m
        and distance_m(Point(longitude, latitude), near) <= within_m
    ):
        raise _swapped("position", "This is far from where it should be.")
    return point


def parse_iso6709(text: str) -> Point:
    """Read an ISO 6709 string: ``+DD.D+DDD.D/``, ``+DDMM.M+DDDMM.M/`` or ``+DDMMSS.S+DDDMMSS.S/``.

    A height and the reference system ``CRSWGS_84`` may follow and are left aside; any other system
    is refused. Source: ISO 6709:2008, annex H. Raises CoordinateError.
    """
    match = _ISO6709.fullmatch(text.strip())
    if match is None or len(match[5]) != len(match[2]) + 1:
        raise CoordinateError(
            "coordinate_malformed",
            f"{text.strip()!r} is not an ISO 6709 position on WGS 84, such as +12.5083-068.2500/.",
            "position",
        )
    latitude = _iso_angle(match[1], match[2], match[3] or "", "latitude")
    longitude = _iso_angle(match[4], match[5], match[6] or "", "longitude")
    return Point(latitude, longitude)


def _iso_angle(sign: str, whole: str, fraction: str, field: str) -> float:
    width = 2 if field == "latitude" else 3
    parts = [whole[:width], *re.findall("..", whole[width:])]
    parts[-1] += fraction
    angle = _degrees(*parts)
    if angle is None:
        raise _malformed(field, sign + whole + fraction)
    value = float(-angle if sign == "-" else angle)
    _check_range(value, field)
    return value


def format_iso6709(point: Point) -> str:
    """The ISO 6709 string in decimal degrees, to 7 decimals (about a centimetre), as short as can
    be.

    As the standard has it, the equator and the prime meridian are ``+``, the 180th meridian is
    ``-``.
    """
    latitude = round(point.latitude, 7)
    longitude = round(point.longitude, 7)
    if longitude == 180:
        longitude = -180.0
    return f"{_iso_part(latitude, 2)}{_iso_part(longitude, 3)}/"


def _iso_part(value: float, width: int) -> str:
    whole, _, fraction = f"{abs(value):.7f}".partition(".")
    fraction = fraction.rstrip("0")
    sign = "-" if value < 0 else "+"
    return f"{sign}{whole:0>{width}}{'.' if fraction else ''}{fraction}"


def format_dms(point: Point, decimals: int = 2) -> str:
    """Degrees, minutes and seconds for people: ``50°40′46.46″N 95°48′26.53″W``.

    ``decimals`` is of the seconds; 2 is about a foot. Style: ISO 6709:2008, annex D.
    """
    latitude = _dms_part(point.latitude, "NS", decimals)
    longitude = _dms_part(point.longitude, "EW", decimals)
    return f"{latitude} {longitude}"


def _dms_part(value: float, letters: str, decimals: int) -> str:
    # Rounded before it is split up, so that 59.999″ carries into the minutes.
    seconds = round(Decimal(repr(abs(value))) * 3600, decimals)
    minutes, seconds = divmod(seconds, 60)
    degrees, minutes = divmod(minutes, 60)
    width = decimals + 3 if decimals else 2
    letter = letters[1 if value < 0 else 0]
    return f"{degrees:.0f}°{minutes:02.0f}′{seconds:0{width}.{decimals}f}″{letter}"


def generalise(point: Point, grid_degrees: Decimal) -> Generalised:
    """The position on a fixed grid of 0.1, 0.01 or 0.001 degrees.

    Rounded to the grid and never shifted at random: points drawn again and again round a true place
    give it away, a grid point does not. The sign of a rounded zero is dropped and both names of the
    180th meridian become −180, for either would tell the side. Raises ValueError for another grid.
    Source: Chapman 2020, as for ADDED_UNCERTAINTY_M.
    """
    if grid_degrees not in ADDED_UNCERTAINTY_M:
        raise ValueError(f"A grid is 0.1, 0.01 or 0.001 degrees: {grid_degrees}.")
    grid = grid_degrees.normalize()
    latitude = _on_grid(point.latitude, grid)
    longitude = _on_grid(point.longitude, grid)
    if longitude == 180:
        longitude = -longitude
    added = ADDED_UNCERTAINTY_M[grid]
    return Generalised(
        latitude,
        longitude,
        added,
        f"Coordinates rounded to a fixed grid of {grid} degrees; "
        f"coordinate uncertainty raised by {added} m.",
    )


def _on_grid(value: float, grid: Decimal) -> Decimal:
    rounded = Decimal(repr(value)).quantize(grid, rounding=ROUND_HALF_EVEN)
    return abs(rounded) if rounded == 0 else rounded
