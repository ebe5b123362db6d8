"""One of everything, for tests that are about something else: a folder's conftest takes it in."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from django.db import transaction
from pytest_django.plugin import DjangoDbBlocker

from tests import factories as f


@pytest.fixture(scope="module")
def standing(django_db_setup: None, django_db_blocker: DjangoDbBlocker) -> Iterator[f.Programme]:
    """A programme that all tests of a module stand on; each goes back to it when it ends.

    Not for tests that commit: they make a programme of their own.
    """
    with django_db_blocker.unblock(), transaction.atomic():
        yield f.programme()
        transaction.set_rollback(True)


@pytest.fixture
def programme(standing: f.Programme, db: None) -> f.Programme:
    return standing
