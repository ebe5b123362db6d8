"""Distances on the ellipsoid."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from nursery.core.geodesy import Point, distance_m

points = st.builds(Point, st.floats(-90, 90), st.floats(-180, 180))


def _dms(degrees: int, minutes: int, seconds: float) -> float:
    return degrees + minutes / 60 + seconds / 3600


# Published geodesic between two Australian stations: Geoscience Australia, Geocentric Datum of
# Australia technical manual, 54972.271 m on GRS 80 (which differs from WGS 84 by 0.1 mm in the
# semi-minor axis).
FLINDERS_PEAK = Point(-_dms(37, 57, 3.72030), _dms(144, 25, 29.52440))
BUNINYONG = Point(-_dms(37, 39, 10.15610), _dms(143, 55, 35.38390))


def test_the_published_line_from_flinders_peak_to_buninyong() -> None:
    assert distance_m(FLINDERS_PEAK, BUNINYONG) == pytest.approx(54972.271, abs=0.0005)


def test_a_sphere_is_not_used() -> None:
    # On a sphere of the mean radius the same line is 54925.5 m, 0.085 % too short.
    a, b = FLINDERS_PEAK, BUNINYONG
    lat_a, lat_b = math.radians(a.latitude), math.radians(b.latitude)
    half = (
        math.sin((lat_b - lat_a) / 2) ** 2
        + math.cos(lat_a)
        * math.cos(lat_b)
        * math.sin(math.radians(b.longitude - a.longitude) / 2) ** 2
    )
    sphere = 2 * 6371008.8 * math.asin(math.sqrt(half))
    assert sphere == pytest.approx(54925.5, abs=0.1)
    assert distance_m(a, b) - sphere > 46


def test_two_points_almost_opposite_each_other() -> None:
    # Where Vincenty's method fails to converge. Karney 2013, Journal of Geodesy 87:43 (the figure
    # as GeographicLib publishes it).
    assert distance_m(Point(0, 0), Point(0.5, 179.5)) == pytest.approx(19936288.579, abs=0.0005)


def test_one_degree_of_the_equator() -> None:
    # The equator of WGS 84 has the radius 6378137 m: a 360th of its length.
    assert distance_m(Point(0, 0), Point(0, 1)) == pytest.approx(111319.4908, abs=0.00005)
    assert distance_m(Point(0, 0), Point(0, 1)) == pytest.approx(math.tau * 6378137 / 360)


def test_a_quarter_of_the_meridian() -> None:
    # Quarter meridian of WGS 84, 10 001 965.729 m (from memory).
    assert distance_m(Point(0, 0), Point(90, 0)) == pytest.approx(10001965.729, abs=0.001)


def test_the_short_way_leads_over_the_180th_meridian() -> None:
    assert distance_m(Point(0, 179.5), Point(0, -179.5)) == pytest.approx(111319.4908, abs=0.00005)


@pytest.mark.parametrize("longitude", [-180.0, -7.25, 0.0, 180.0])
def test_a_pole_is_one_point_at_every_longitude(longitude: float) -> None:
    assert distance_m(Point(90, 0), Point(90, longitude)) == pytest.approx(0, abs=1e-6)


@given(points, points)
def test_there_and_back_are_equally_far(a: Point, b: Point) -> None:
    assert distance_m(a, b) == pytest.approx(distance_m(b, a), abs=1e-6)
    assert 0 <= distance_m(a, b) < 20_004_000  # half a meridian is the longest way


@given(points)
def test_a_point_is_at_no_distance_from_itself(a: Point) -> None:
    assert distance_m(a, a) == pytest.approx(0, abs=1e-6)


@pytest.mark.parametrize("latitude", [90.0001, -90.0001, 180.0, math.nan, math.inf, -math.inf])
def test_a_point_has_a_latitude(latitude: float) -> None:
    with pytest.raises(ValueError, match="latitude"):
        Point(latitude, 0.0)


@pytest.mark.parametrize("longitude", [180.0001, -180.0001, math.nan, math.inf, -math.inf])
def test_a_point_has_a_longitude(longitude: float) -> None:
    with pytest.raises(ValueError, match="longitude"):
        Point(0.0, longitude)
