"""Positions as people write them, and as they are shown."""

from decimal import Decimal

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from nursery.core.coordinates import (
    ADDED_UNCERTAINTY_M,
    CoordinateError,
    Point,
    format_dms,
    format_iso6709,
    generalise,
    parse_iso6709,
    parse_latitude,
    parse_longitude,
    parse_position,
)
from nursery.core.geodesy import distance_m

points = st.builds(Point, st.floats(-90, 90), st.floats(-180, 180))
grids = st.sampled_from(sorted(ADDED_UNCERTAINTY_M))

REEF = Point(12.5083, -68.25)


def _refusal(lat: str, lon: str, near: Point | None = None) -> tuple[str, str]:
    with pytest.raises(CoordinateError) as refused:
        parse_position(lat, lon, near)
    assert str(refused.value) == refused.value.message
    return refused.value.code, refused.value.field


# --- one value -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "text",
    [
        "12.508333333333333",
        "12,508333333333333",
        "+12.508333333333333",
        "12.508333333333333°",
        "12.508333333333333 N",
        "N 12.508333333333333°",
        "n12,508333333333333",
        "12 30.5",
        "12° 30.5'",
        "12°30.5′N",
        "12º30,5’ N",
        "N 12 30.5",
        "12:30.5",
        "12 30 30",
        "12°30'30\"",
        "12°30′30″ N",
        "12° 30’ 30” n",
        "N12 30 30.0",
        "12:30:30N",
        "12°30'30''N",
        " 12 ° 30 ' 30 \" N ",
    ],
)
def test_a_latitude_is_read_however_it_is_spelled(text: str) -> None:
    assert parse_latitude(text) == pytest.approx(12.508333333333333, abs=1e-12)


@pytest.mark.parametrize(
    "text",
    [
        "-68.25",
        "−68.25",
        "–68,25",
        "68.25 W",
        "w68.25",
        "-68 15",
        "68°15′ W",
        "68°15'00\" w",
        "W 68 15 0.0",
    ],
)
def test_west_is_negative_however_it_is_spelled(text: str) -> None:
    assert parse_longitude(text) == -68.25


def test_south_is_negative() -> None:
    assert parse_latitude("16°30′ S") == -16.5


def test_a_minus_counts_for_the_minutes_too() -> None:
    assert parse_latitude("-0 30") == -0.5


@pytest.mark.parametrize("text", ["-0", "0 S", "-0.0", "0°0'0\" S"])
def test_zero_has_no_sign(text: str) -> None:
    assert str(parse_latitude(text)) == "0.0"


@pytest.mark.parametrize(
    "text",
    [
        "",
        "north",
        "N",
        "°",
        "nan",
        "inf",
        "-inf",
        "NaN N",
        "1e1",
        "12.5.5",
        "12,5,5",
        "12.5 30",
        "12 30.5 30",
        "12 60",
        "12 30 60",
        "12 75 10",
        "-12 N",
        "+12 S",
        "N 12 N",
        "N 12 S",
        "--12",
        "12 30 30 30",
        "12'30",
        '12"',
        "12d30m",
        "١٢",
        "1234",
        "12 -30",
    ],
)
def test_what_is_not_a_latitude_is_malformed(text: str) -> None:
    assert _refusal(text, "-68.25") == ("coordinate_malformed", "latitude")


def test_a_malformed_longitude_names_its_field() -> None:
    assert _refusal("12.5", "west") == ("coordinate_malformed", "longitude")


@pytest.mark.parametrize(("text", "value"), [("90", 90.0), ("-90", -90.0), ("90 0 0 S", -90.0)])
def test_the_poles_are_latitudes(text: str, value: float) -> None:
    assert parse_latitude(text) == value


@pytest.mark.parametrize("text", ["90.0001", "-91", "90 0 0.1", "123"])
def test_a_latitude_out_of_range(text: str) -> None:
    with pytest.raises(CoordinateError) as refused:
        parse_latitude(text)
    assert (refused.value.code, refused.value.field) == ("latitude_out_of_range", "latitude")


@pytest.mark.parametrize("text", ["180.0001", "-181", "360", "191.75"])
def test_a_longitude_out_of_range(text: str) -> None:
    with pytest.raises(CoordinateError) as refused:
        parse_longitude(text)
    assert (refused.value.code, refused.value.field) == ("longitude_out_of_range", "longitude")


@given(st.floats(-90, 90))
def test_every_latitude_survives_being_written_in_decimals(value: float) -> None:
    text = f"{value:.15f}"
    assert parse_latitude(text) == float(text)


@given(points)
def test_every_position_survives_degrees_minutes_and_seconds(point: Point) -> None:
    latitude, longitude = format_dms(point, decimals=6).split(" ")
    back = parse_position(latitude, longitude)
    assert back.latitude == pytest.approx(point.latitude, abs=1e-9)
    assert back.longitude == pytest.approx(point.longitude, abs=1e-9)


# --- a pair --------------------------------------------------------------------------------------


def test_a_position_is_a_latitude_and_a_longitude() -> None:
    assert parse_position("12.5083", "-68.25") == REEF


@pytest.mark.parametrize(
    ("lat", "lon"), [("-144.425", "-37.951"), ("144°25'", "37°57' S"), ("180", "0"), ("90.5", "90")]
)
def test_a_latitude_over_90_that_would_be_a_longitude_is_swapped(lat: str, lon: str) -> None:
    code, _ = _refusal(lat, lon)
    assert code == "coordinates_swapped"


@pytest.mark.parametrize(
    ("lat", "lon", "field"),
    [
        ("68.25 W", "12.5083 N", "latitude"),
        ("68.25 W", "12.5083", "latitude"),
        ("12.5083", "N 68.25", "longitude"),
    ],
)
def test_a_letter_of_the_other_field_is_swapped(lat: str, lon: str, field: str) -> None:
    assert _refusal(lat, lon) == ("coordinates_swapped", field)


@pytest.mark.parametrize(
    ("lat", "lon", "expected"),
    [
        ("95", "120", ("latitude_out_of_range", "latitude")),
        ("200", "12", ("latitude_out_of_range", "latitude")),
        ("12", "200", ("longitude_out_of_range", "longitude")),
    ],
)
def test_out_of_range_both_ways_is_not_called_swapped(
    lat: str, lon: str, expected: tuple[str, str]
) -> None:
    assert _refusal(lat, lon) == expected


def test_a_pair_that_fits_a_known_place_only_the_other_way_round_is_swapped() -> None:
    assert _refusal("-68.25", "12.5083", near=REEF) == ("coordinates_swapped", "position")


def test_the_same_pair_is_taken_where_no_place_is_known() -> None:
    assert parse_position("-68.25", "12.5083") == Point(-68.25, 12.5083)


def test_a_pair_far_from_a_known_place_both_ways_is_taken() -> None:
    assert parse_position("24.6", "-81.4", near=REEF) == Point(24.6, -81.4)


def test_a_pair_near_a_known_place_both_ways_is_taken() -> None:
    near = Point(12.0, 12.1)
    assert parse_position("12.1", "12.0", near=near) == Point(12.1, 12.0)


def test_how_near_is_near_can_be_said() -> None:
    near = Point(12.0, 12.5)
    assert parse_position("12.5", "12.0", near=near) == Point(12.5, 12.0)
    with pytest.raises(CoordinateError, match="swapped"):
        parse_position("12.5", "12.0", near=near, within_m=1000.0)


def test_a_longitude_that_is_no_latitude_is_never_swapped() -> None:
    assert parse_position("12.5", "144.4", near=Point(80.0, 12.5)) == Point(12.5, 144.4)


@given(points, points)
def test_a_pair_close_to_its_place_is_never_refused(point: Point, near: Point) -> None:
    assume(distance_m(point, near) <= 200_000 or abs(point.longitude) > 90)
    text = (f"{point.latitude:.12f}", f"{point.longitude:.12f}")
    assert parse_position(*text, near=near).latitude == float(text[0])


# --- ISO 6709 ------------------------------------------------------------------------------------

# Examples of ISO 6709 annex H as public pages on the standard repeat them (read there, not in the
# standard itself).
ISO_EXAMPLES = [
    ("+00-025/", Point(0, -25)),  # Atlantic Ocean
    ("+46+002/", Point(46, 2)),  # France
    ("+4852+00220/", Point(48 + 52 / 60, 2 + 20 / 60)),  # Paris
    ("+48.8577+002.295/", Point(48.8577, 2.295)),  # Eiffel Tower
    ("+27.5916+086.5640+8850CRSWGS_84/", Point(27.5916, 86.5640)),  # Mount Everest
    ("+275916+0865640+8850/", Point(27 + 59 / 60 + 16 / 3600, 86 + 56 / 60 + 40 / 3600)),
    ("+90+000/", Point(90, 0)),  # North Pole
    ("-90+000+2800/", Point(-90, 0)),  # South Pole
    ("+40.75-074.00/", Point(40.75, -74)),  # New York City
    ("+352139+1384339+3776/", Point(35 + 21 / 60 + 39 / 3600, 138 + 43 / 60 + 39 / 3600)),  # Fuji
]


@pytest.mark.parametrize(("text", "expected"), ISO_EXAMPLES)
def test_the_examples_of_iso_6709_are_read(text: str, expected: Point) -> None:
    point = parse_iso6709(text)
    assert point.latitude == pytest.approx(expected.latitude, abs=1e-12)
    assert point.longitude == pytest.approx(expected.longitude, abs=1e-12)


def test_zero_of_iso_6709_has_no_sign() -> None:
    assert str(parse_iso6709("-00-000/")) == str(Point(0.0, 0.0))


def test_iso_6709_minutes_and_seconds_may_have_decimals() -> None:
    assert parse_iso6709("-1230.5+06815.25/") == Point(-(12 + 30.5 / 60), 68 + 15.25 / 60)
    assert parse_iso6709("-123030.36-0681500.0/") == Point(-(12 + 30 / 60 + 30.36 / 3600), -68.25)


@pytest.mark.parametrize(
    "text",
    [
        "",
        "/",
        "+46+002",
        "46+002/",
        "+46,002/",
        "+4+002/",
        "+46+02/",
        "+46+00220/",
        "+4852+002/",
        "+48.8577 +002.295/",
        "+46+002/x",
        "+46+002+8850CRSNAD_27/",
        "+nan+002/",
        "+460+0020/",
    ],
)
def test_what_is_not_iso_6709_is_malformed(text: str) -> None:
    with pytest.raises(CoordinateError) as refused:
        parse_iso6709(text)
    assert refused.value.code == "coordinate_malformed"


@pytest.mark.parametrize(
    ("text", "code", "field"),
    [
        ("+91+002/", "latitude_out_of_range", "latitude"),
        ("+46-181/", "longitude_out_of_range", "longitude"),
        ("+4860+00220/", "coordinate_malformed", "latitude"),
        ("+485200+0022060/", "coordinate_malformed", "longitude"),
    ],
)
def test_iso_6709_beyond_the_globe_is_refused(text: str, code: str, field: str) -> None:
    with pytest.raises(CoordinateError) as refused:
        parse_iso6709(text)
    assert (refused.value.code, refused.value.field) == (code, field)


@pytest.mark.parametrize(
    ("point", "text"),
    [
        (Point(48.8577, 2.295), "+48.8577+002.295/"),
        (Point(0, -25), "+00-025/"),
        (Point(40.75, -74), "+40.75-074/"),
        (Point(90, 0), "+90+000/"),
        (Point(-0.0, -0.0), "+00+000/"),  # the equator and the prime meridian are +
        (Point(-1e-9, -1e-9), "+00+000/"),
        (Point(0, 180), "+00-180/"),  # the 180th meridian is -
        (Point(1.5, 179.99999999), "+01.5-180/"),
        (Point(-9.9999999, 99.9999999), "-09.9999999+099.9999999/"),
    ],
)
def test_a_position_is_written_as_iso_6709(point: Point, text: str) -> None:
    assert format_iso6709(point) == text


@given(points)
def test_a_position_survives_iso_6709_to_a_centimetre(point: Point) -> None:
    assert distance_m(parse_iso6709(format_iso6709(point)), point) < 0.012


# --- for people ----------------------------------------------------------------------------------


def test_degrees_minutes_and_seconds_are_written_as_in_the_standard() -> None:
    # 50°40′46.461″N 95°48′26.533″W, ISO 6709 annex D as public pages on the standard repeat it.
    point = parse_iso6709("+504046.461-0954826.533/")
    assert format_dms(point, decimals=3) == "50°40′46.461″N 95°48′26.533″W"
    assert format_dms(point) == "50°40′46.46″N 95°48′26.53″W"
    assert format_dms(point, decimals=0) == "50°40′46″N 95°48′27″W"


@pytest.mark.parametrize(
    ("point", "text"),
    [
        (Point(0, 0), "0°00′00.00″N 0°00′00.00″E"),
        (Point(-12.99999999, 0.01), "13°00′00.00″S 0°00′36.00″E"),
        (Point(12 + 59.9999 / 3600, 180), "12°01′00.00″N 180°00′00.00″E"),
    ],
)
def test_seconds_are_never_sixty(point: Point, text: str) -> None:
    assert format_dms(point) == text


# --- made vaguer ---------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("grid", "latitude", "longitude", "added"),
    [
        # Chapman 2020, Current Best Practices for Generalizing Sensitive Species Occurrence Data:
        # uncertainty raised by 15691, 1570 or 157 m.
        ("0.1", "-12.5", "143.2", 15691),
        ("0.01", "-12.46", "143.18", 1570),
        ("0.001", "-12.457", "143.179", 157),
    ],
)
def test_a_position_is_rounded_to_the_grid(
    grid: str, latitude: str, longitude: str, added: int
) -> None:
    vague = generalise(Point(-12.45678, 143.17891), Decimal(grid))
    assert (str(vague.latitude), str(vague.longitude)) == (latitude, longitude)
    assert vague.added_uncertainty_m == added
    assert vague.statement == (
        f"Coordinates rounded to a fixed grid of {grid} degrees; "
        f"coordinate uncertainty raised by {added} m."
    )


@pytest.mark.parametrize("grid", sorted(ADDED_UNCERTAINTY_M))
def test_the_added_uncertainty_is_the_diagonal_of_the_largest_cell(grid: Decimal) -> None:
    diagonal = distance_m(Point(0, 0), Point(float(grid), float(grid)))
    assert diagonal <= ADDED_UNCERTAINTY_M[grid] <= diagonal * 1.001


@given(points, grids)
def test_the_position_shown_is_no_further_off_than_is_said(point: Point, grid: Decimal) -> None:
    vague = generalise(point, grid)
    shown = Point(float(vague.latitude), float(vague.longitude))
    assert distance_m(point, shown) <= vague.added_uncertainty_m


@given(points, grids)
def test_the_grid_is_fixed(point: Point, grid: Decimal) -> None:
    vague = generalise(point, grid)
    assert vague.latitude % grid == 0
    assert vague.longitude % grid == 0
    assert generalise(Point(float(vague.latitude), float(vague.longitude)), grid) == vague
    assert generalise(point, grid) == vague


@given(st.floats(-0.049, 0.049), st.floats(179.951, 180), st.sampled_from([1, -1]))
def test_all_that_is_near_a_grid_point_looks_the_same(
    latitude: float, longitude: float, side: int
) -> None:
    vague = generalise(Point(latitude, side * longitude), Decimal("0.1"))
    assert (str(vague.latitude), str(vague.longitude)) == ("0.0", "-180.0")


def test_a_grid_is_the_same_however_its_number_is_written() -> None:
    assert generalise(REEF, Decimal("0.10")) == generalise(REEF, Decimal("0.1"))


@pytest.mark.parametrize("grid", ["1", "0.5", "0.0001", "0", "-0.1"])
def test_another_grid_is_refused(grid: str) -> None:
    with pytest.raises(ValueError, match="grid"):
        generalise(REEF, Decimal(grid))
