"""The geometry of small maps: true to scale, north up, everything within the frame."""

import math
import re

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from nursery.core.geodesy import Point, distance_m
from nursery.core.small_maps import Place, SmallMap, small_map

points = st.builds(Point, st.floats(-60, 60), st.floats(-170, 170))
near = st.tuples(st.floats(-0.3, 0.3), st.floats(-0.3, 0.3))


def spot(drawn: SmallMap, n: int) -> tuple[float, float]:
    mark = drawn.marks[n]
    return float(mark.x), float(mark.y)


def metres_a_unit(drawn: SmallMap) -> float:
    """What the scale of the map says."""
    number, unit = drawn.scale_text.split("\u00a0")
    width = re.search(r"h-([\d.]+)", drawn.scale_d)
    assert width is not None
    return float(number) * (1000 if unit == "km" else 1) / float(width.group(1))


def of(*at: Point) -> SmallMap:
    return small_map([Place(point, f"{n}", "site") for n, point in enumerate(at, 1)], [])


@given(points, near)
def test_the_scale_tells_the_distance_on_the_ellipsoid(
    begin: Point, off: tuple[float, float]
) -> None:
    end = Point(begin.latitude + off[0], begin.longitude + off[1])
    true = distance_m(begin, end)
    assume(true > 500)
    drawn = of(begin, end)
    told = math.dist(spot(drawn, 0), spot(drawn, 1)) * metres_a_unit(drawn)
    # The drawing is rounded to hundredths, and the Earth is no sphere.
    assert told == pytest.approx(true, rel=0.02)


def test_north_is_up_and_east_is_right() -> None:
    drawn = of(Point(-10.9, 86.3), Point(-10.8, 86.4))
    (x, y), (east, north) = spot(drawn, 0), spot(drawn, 1)
    assert east > x
    assert north < y


@given(st.lists(st.tuples(points, near), min_size=1, max_size=8))
def test_every_place_and_its_word_lie_within_the_frame(
    given_places: list[tuple[Point, tuple[float, float]]],
) -> None:
    first = given_places[0][0]
    at = [Point(first.latitude + a, first.longitude + b) for _, (a, b) in given_places]
    drawn = of(*at)
    for mark in drawn.marks:
        assert 0 < float(mark.x) < float(drawn.width)
        assert 0 < float(mark.y) < float(drawn.height)
        assert 10 < float(mark.label_y) < float(drawn.height)


def test_words_turn_to_the_middle_and_do_not_lie_on_each_other() -> None:
    same = Point(7.1, 134.5)
    drawn = of(same, same, Point(7.1, 134.6))
    assert {mark.anchor for mark in drawn.marks} == {"start", "end"}
    first, second, _ = drawn.marks
    assert abs(float(first.label_y) - float(second.label_y)) >= 17


def test_lines_lead_from_place_to_place() -> None:
    places = [Place(Point(7.0, 134.5), "a", "colony"), Place(Point(7.2, 134.6), "b", "site")]
    drawn = small_map(places, [(0, 1), (1, 0)])
    there, back = drawn.ways
    start, end = drawn.marks
    assert there.startswith(f"M{start.x} {start.y}Q")
    assert there.endswith(f" {end.x} {end.y}")
    assert back.startswith(f"M{end.x} {end.y}Q")
    # There and back are bent to opposite sides.
    assert there.partition("Q")[2].split()[:2] != back.partition("Q")[2].split()[:2]


def test_the_graticule_is_named_in_degrees_and_minutes() -> None:
    drawn = of(Point(-10.9142, 86.4287), Point(-10.98, 86.27))
    names = {rule.text for rule in drawn.rules}
    assert "86°20′\u00a0E" in names
    assert "10°55′\u00a0S" in names


def test_a_place_alone_still_has_a_map() -> None:
    drawn = of(Point(0, 0))
    assert spot(drawn, 0)[0] == float(drawn.width) / 2
    assert metres_a_unit(drawn) < 20


def test_no_place_has_no_map() -> None:
    with pytest.raises(ValueError, match="needs a place"):
        small_map([], [])
