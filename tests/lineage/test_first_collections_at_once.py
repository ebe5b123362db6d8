"""Two phones at once: the same entry is written once, and two colonies get two codes."""

from __future__ import annotations

from functools import partial
from uuid import uuid4

import pytest

from nursery.core.recording import Recorded
from nursery.donors.models import Collection, DonorColony
from nursery.lineage.actions.aboard import register_and_collect
from tests import factories as make
from tests.lineage.test_first_collections import given
from tests.together import at_once, codes

pytestmark = pytest.mark.django_db(transaction=True)

ROUNDS = 6


@pytest.fixture
def programme(transactional_db: None) -> make.Programme:
    """Committed, so that other connections see it."""
    return make.programme()


def test_the_same_entry_sent_twice_at_once_is_written_once(programme: make.Programme) -> None:
    for n in range(1, ROUNDS + 1):
        said = given(programme, uid=str(uuid4()))
        answers = at_once([partial(register_and_collect, programme.lead, said)] * 2)
        assert codes(answers) == []
        written = [answer for answer in answers if isinstance(answer, Recorded)]
        assert sorted(answer.fresh for answer in written) == [False, True]
        assert Collection.objects.count() == n
        assert DonorColony.objects.filter(code__startswith=programme.reef.code).count() == n


def test_two_boats_at_a_reef_get_two_codes(programme: make.Programme) -> None:
    for n in range(1, ROUNDS + 1):
        acts = [partial(register_and_collect, programme.lead, given(programme)) for _ in range(2)]
        assert codes(at_once(acts)) == []
        assert Collection.objects.count() == 2 * n
