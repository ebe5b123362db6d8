"""Points on the Earth and the distance between them, on the WGS 84 ellipsoid.

Pure: plain values in and out. Latitude and longitude are in degrees, north and east positive.
"""

import math
from dataclasses import dataclass

from geographiclib.geodesic import Geodesic


@dataclass(frozen=True, slots=True)
class Point:
    """A position in degrees: latitude −90 to 90, longitude −180 to 180.

    Raises ValueError outside these, and for what is not a finite number.
    """

    latitude: float
    longitude: float

    def __post_init__(self) -> None:
        if not (math.isfinite(self.latitude) and abs(self.latitude) <= 90):
            raise ValueError(f"A latitude is from -90 to 90 degrees: {self.latitude}.")
        if not (math.isfinite(self.longitude) and abs(self.longitude) <= 180):
            raise ValueError(f"A longitude is from -180 to 180 degrees: {self.longitude}.")


def distance_m(a: Point, b: Point) -> float:
    """The length in metres of the shortest way from ``a`` to ``b`` on the ellipsoid.

    Karney 2013, Journal of Geodesy 87:43, by geographiclib; exact to some nanometres.
    """
    line = Geodesic.WGS84.Inverse(
        a.latitude, a.longitude, b.latitude, b.longitude, Geodesic.DISTANCE
    )
    return float(line["s12"])
