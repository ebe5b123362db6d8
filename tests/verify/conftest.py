"""A season of every kind of entry, for tests that look whether the record agrees with itself."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from django.db import transaction
from pytest_django.plugin import DjangoDbBlocker

from tests import factories as f
from tests.standing import programme, standing
from tests.verify.season import Season, season

__all__ = ["entered", "programme", "standing", "whole"]


@pytest.fixture(scope="module")
def entered(django_db_setup: None, django_db_blocker: DjangoDbBlocker) -> Iterator[Season]:
    """Entered once a module; each test goes back to it when it ends."""
    with django_db_blocker.unblock(), transaction.atomic():
        yield season(f.programme())
        transaction.set_rollback(True)


@pytest.fixture
def whole(entered: Season, db: None) -> Season:
    return entered
