"""A register in which nothing was entered yet: what its pages for a lead say."""

import pytest

from nursery.core.actor import Role
from tests.pages import read, reader


@pytest.mark.django_db
def test_an_empty_record_says_how_to_begin() -> None:
    said = read(reader(Role.VIEWER), "/")
    assert "No ramet lives in the record yet." in said
    assert "Nothing that the record knows of." in said
    assert "A programme lead begins with reefs, taxa and nurseries" in said


@pytest.mark.django_db
def test_an_empty_map_says_who_enters_what() -> None:
    said = read(reader(Role.VIEWER), "/map/")
    assert "No site to plant on is in the register." in said
    assert "A programme lead enters the sites to plant on." in said
    assert "A programme lead enters the nurseries." in said
