"""The record is looked at as it stood when that began, while others go on writing."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor

import pytest
from django.db import connection

from nursery.lineage.models import Ramet
from nursery.lineage.words import Life
from nursery.outplanting.verify import verify
from tests import factories as f

pytestmark = pytest.mark.django_db(transaction=True)


def test_what_is_written_meanwhile_is_not_seen_and_is_the_next_time() -> None:
    first, second = f.programme().mothers(2)
    Ramet.objects.filter(pk=first.pk).update(life=Life.LOST)

    def write() -> None:
        Ramet.objects.filter(pk=second.pk).update(code="NONE")
        connection.close()

    looking = verify(["histories", "codes"])
    assert next(looking).rule == "ramet_life"
    with ThreadPoolExecutor(1) as another:
        another.submit(write).result()
    assert list(looking) == []
    assert [difference.rule for difference in verify(["codes"])] == ["code"]


def test_the_view_is_given_back_where_nobody_looks_to_the_end() -> None:
    mother = f.programme().mother()
    Ramet.objects.filter(pk=mother.pk).update(life=Life.LOST)
    looking = verify()
    next(looking)
    looking.close()
    Ramet.objects.filter(pk=mother.pk).update(life=Life.LIVING)
    assert list(verify()) == []
