"""A register in which nothing was entered yet: what its first page says."""

import pytest

from nursery.core.actor import Role
from tests.pages import read, reader


@pytest.mark.django_db
def test_an_empty_record_says_how_to_begin() -> None:
    said = read(reader(Role.VIEWER), "/")
    assert "No ramet lives in the record yet." in said
    assert "Nothing that the record knows of." in said
    assert "A programme lead begins with reefs, taxa and nurseries" in said
