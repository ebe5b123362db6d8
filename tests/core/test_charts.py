"""The geometry of charts: scales, round ticks, paths, and labels that keep their distance."""

import math
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from nursery.core.charts import (
    LABEL_GAP,
    Line,
    Scale,
    apart,
    ceiling,
    line_chart,
    path,
    round_step,
    short,
    tick_text,
    ticks,
)

values = st.floats(0.001, 1e6)


def test_a_scale_leads_its_ends_to_its_ends() -> None:
    scale = Scale(10, 30, 200, 0)
    assert [scale.at(value) for value in (10, 20, 30)] == [200, 100, 0]


def test_a_scale_of_one_value_puts_it_in_the_middle() -> None:
    assert Scale(4, 4, 0, 100).at(4) == 50


@pytest.mark.parametrize(
    ("value", "text"), [(1.0, "1"), (1.005, "1"), (12.346, "12.35"), (-0.001, "0"), (0.5, "0.5")]
)
def test_numbers_of_attributes_are_short_and_plain(value: float, text: str) -> None:
    assert short(value) == text


@given(values, st.integers(3, 12))
def test_ticks_are_round_ascending_and_few(high: float, most: int) -> None:
    found = ticks(0, high, most)
    assert found[0] == 0
    assert found == sorted(set(found))
    assert 2 <= len(found) <= most + 1
    assert found[-1] <= high * (1 + 1e-6)
    step = round_step(high, most)
    lead = step / 10 ** math.floor(math.log10(step) + 1e-9)
    assert round(lead, 6) in (1, 2, 5)


def test_ticks_of_a_known_axis() -> None:
    assert ticks(0, 44) == [0, 10, 20, 30, 40]
    assert ticks(0, 3) == [0, 1, 2, 3]
    assert ticks(2.5, 9) == [4, 6, 8]


@given(values)
def test_an_axis_holds_its_highest_value_and_little_more(high: float) -> None:
    top = ceiling(high)
    assert high <= top * (1 + 1e-9)
    assert top - high <= round_step(high, 5) * (1 + 1e-6)


def test_an_axis_of_nothing_still_has_an_end() -> None:
    assert ceiling(0) == 1


@pytest.mark.parametrize("span", [0, -1, math.inf, math.nan])
def test_a_span_that_cannot_be_parted_is_refused(span: float) -> None:
    with pytest.raises(ValueError, match="span"):
        round_step(span, 5)


def test_ticks_are_written_as_people_read_them() -> None:
    assert [tick_text(value) for value in (0, 0.5, 0.1 * 3, 1500, 2e6)] == [
        "0",
        "0.5",
        "0.3",
        "1,500",
        "2,000,000",
    ]


def test_a_path_goes_through_its_points() -> None:
    assert path([(0, 1.5), (10, 2)]) == "M0,1.5 10,2"
    assert path([]) == ""


@given(st.lists(st.floats(-50, 250), min_size=1, max_size=12), st.floats(0, 40), st.floats(60, 200))
def test_labels_keep_their_distance_within_their_stretch(
    wanted: list[float], least: float, high: float
) -> None:
    found = apart(wanted, least, 0, high)
    assert len(found) == len(wanted)
    gap = min(least, high / (len(wanted) - 1)) if len(wanted) > 1 else 0
    ranked = sorted(found)
    assert all(after - before >= gap - 1e-6 for before, after in pairwise(ranked))
    assert all(-1e-6 <= place <= high + 1e-6 for place in found)


def test_labels_that_have_room_stay_where_they_want_to_be() -> None:
    assert apart([80, 10, 40], 15, 0, 100) == [80, 10, 40]
    assert apart([50, 50], 10, 0, 100) == [50, 60]
    assert apart([], 10, 0, 100) == []


def test_a_chart_begins_at_nothing_and_names_its_lines_where_they_end() -> None:
    drawn = line_chart(
        "Genets",
        "ramets",
        "genets",
        [
            Line("alive", [(1, 1), (10, 8)], dots=[(10, 8)]),
            Line("none", []),
            Line("planted", [(1, 1), (20, 9)]),
        ],
    )
    assert [line.name for line in drawn.lines] == ["alive", "planted"]
    assert [line.number for line in drawn.lines] == [0, 2]
    assert drawn.ticks_up[0].at == drawn.bottom
    assert drawn.ticks_across[0].at == drawn.left
    alive, planted = drawn.lines
    assert planted.end_x == drawn.right
    assert alive.dots == [(alive.end_x, alive.end_y)]
    assert float(alive.label_y) - float(planted.label_y) >= LABEL_GAP


def test_a_chart_without_lines_has_axes_all_the_same() -> None:
    drawn = line_chart("Nothing", "ramets", "genets", [])
    assert not drawn.lines
    assert [tick.text for tick in drawn.ticks_up] == ["0", "0.2", "0.4", "0.6", "0.8", "1"]
