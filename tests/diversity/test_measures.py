"""What is told of each measure stands with what works it out."""

import re
from dataclasses import fields

import pytest

from nursery.core import geodesy
from nursery.diversity import clonality, indices, intervals, overlap, unseen
from nursery.diversity.measures import ALL, MEASURES, Measure
from nursery.diversity.summary import Indices

HOMES = (indices, clonality, unseen, intervals, overlap, geodesy)
IN_OTHER_WORDS = {
    "hill_0",
    "hill_1",
    "hill_2",
    "hill_interval",
    "hill_profile",
    "pareto_beta",
    "chao1",
    "distance_m",
}
"""Their formula is a case of the function's, or stands there in words."""


def told_by(measure: Measure) -> str:
    """The docstring of the function that works a measure out, on one line."""
    name = "hill" if re.fullmatch(r"hill_\d", measure.key) else measure.key
    function = next(vars(home)[name] for home in HOMES if name in vars(home))
    assert function.__doc__ is not None
    return re.sub(r"\s+", " ", function.__doc__)


def test_every_index_of_a_report_is_told_once() -> None:
    names = {field.name for field in fields(Indices)} - {"ramets", "genets"}
    assert {measure.key for measure in MEASURES} == names
    assert len({measure.key for measure in ALL}) == len(ALL)


@pytest.mark.parametrize("measure", ALL, ids=lambda measure: measure.key)
def test_a_source_is_that_of_the_computation(measure: Measure) -> None:
    told = told_by(measure)
    years = re.findall(r"\b(?:18|19|20)\d\d\b", measure.source)
    assert years
    for part in (*years, *re.findall(r"\b\d+:\d+\b", measure.source)):
        assert part in told


@pytest.mark.parametrize(
    "measure",
    [each for each in ALL if each.key not in IN_OTHER_WORDS],
    ids=lambda measure: measure.key,
)
def test_a_formula_is_that_of_the_docstring(measure: Measure) -> None:
    assert re.split(r"; |, ", measure.formula)[0] in told_by(measure)


def test_the_interval_is_told_with_its_seed_and_number_of_samples() -> None:
    (interval,) = [measure for measure in ALL if measure.key == "hill_interval"]
    assert f"seed {intervals.SEED}" in interval.formula
    assert f" {intervals.SAMPLES} samples" in interval.formula
