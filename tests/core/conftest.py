"""One of everything, for tests that are about something else."""

import pytest

from tests import factories as f


@pytest.fixture
def programme(db: None) -> f.Programme:
    return f.programme()
