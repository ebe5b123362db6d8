"""Settings are read strictly: a typing error is named, never taken for the default."""

import pytest
from django.core.exceptions import ImproperlyConfigured

from restoration.environment import Environment


@pytest.mark.parametrize(("written", "meant"), [("1", True), ("Yes", True), ("off", False)])
def test_a_flag_is_read_in_the_usual_spellings(written: str, meant: bool) -> None:
    assert Environment({"DEBUG": written}).flag("DEBUG", default=not meant) is meant


def test_an_empty_variable_counts_as_not_set() -> None:
    empty = Environment({"DEBUG": "", "POOL": " ", "HOSTS": ""})
    assert empty.flag("DEBUG", default=True) is True
    assert empty.whole("POOL", 10) == 10
    assert empty.names("HOSTS", ("localhost",)) == ["localhost"]


def test_a_misspelt_flag_is_refused_by_name() -> None:
    with pytest.raises(ImproperlyConfigured, match="DEBUG"):
        Environment({"DEBUG": "maybe"}).flag("DEBUG", default=False)


@pytest.mark.parametrize("written", ["-1", "1.5", "many"])
def test_a_number_of_connections_is_whole_and_not_negative(written: str) -> None:
    with pytest.raises(ImproperlyConfigured, match="POOL"):
        Environment({"POOL": written}).whole("POOL", 10)


@pytest.mark.parametrize("written", ["0", "-0.01", "nan", "inf", "wide"])
def test_a_grid_is_a_finite_number_above_zero(written: str) -> None:
    with pytest.raises(ImproperlyConfigured, match="GRID"):
        Environment({"GRID": written}).positive("GRID", 0.01)


def test_names_are_parted_at_commas_without_blanks() -> None:
    variables = Environment({"HOSTS": " register.example, ,reef.example "})
    assert variables.names("HOSTS") == ["register.example", "reef.example"]
