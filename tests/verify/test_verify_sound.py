"""Nothing is found where all was entered, voided, restored and amended through the actions."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import timedelta

import pytest
from django.db import transaction
from hypothesis import given, settings

from nursery.core.errors import Refused
from nursery.core.inputs import read
from nursery.core.models import Event
from nursery.outplanting.actions.correct import amend, restore, undo_amendment
from nursery.outplanting.corrections import AmendIn, RestoreIn
from tests import factories as f
from tests.lineage.programmes import Act, plans, programme_done
from tests.verified import nothing_wrong
from tests.verify.season import Season, voided

pytestmark = pytest.mark.django_db


@contextmanager
def undone_after() -> Iterator[None]:
    with transaction.atomic():
        yield
        transaction.set_rollback(True)


def test_nothing_is_found_in_an_empty_record() -> None:
    nothing_wrong()


def test_nothing_is_found_after_a_season_of_every_kind_of_entry(whole: Season) -> None:
    nothing_wrong()


def test_nothing_is_found_after_any_void_nor_after_its_restoration(whole: Season) -> None:
    by = whole.programme.lead
    for event in Event.objects.filter(live=True).order_by("pk"):
        with undone_after():
            before = set(Event.objects.filter(live=True).values_list("pk", flat=True))
            voided(by, event, together=True)
            nothing_wrong()
            gone = Event.objects.filter(pk__in=before, live=False)
            for one in gone.order_by("moment", "pk"):
                restore(by, RestoreIn(event=one.uid, reason="it was after all"))
            nothing_wrong()
            assert set(Event.objects.filter(live=True).values_list("pk", flat=True)) == before


def test_nothing_is_found_after_an_amendment_of_any_date_nor_after_its_undoing(
    whole: Season,
) -> None:
    by = whole.programme.lead
    amended = 0
    for number, event in enumerate(Event.objects.filter(live=True).order_by("pk")):
        day = event.earliest + timedelta(days=40 if number % 2 else -1)
        words = {"event": str(event.uid), "reason": "another day", "when": day.isoformat()}
        with undone_after():
            try:
                amend(by, read(AmendIn, words))
            except Refused:
                continue
            amended += 1
            nothing_wrong()
            undo_amendment(by, event.uid, "not so")
            nothing_wrong()
    assert amended > 2


@given(plan=plans)
@settings(max_examples=10)
def test_nothing_is_found_after_any_programme(standing: f.Programme, plan: list[Act]) -> None:
    with programme_done(standing, plan):
        nothing_wrong()
