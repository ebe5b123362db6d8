"""What the database itself refuses of plantings and visits, whoever writes past the actions."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

import pytest
from django.db import IntegrityError, transaction

from nursery.lineage.models import Ramet
from nursery.lineage.words import Cause
from nursery.outplanting.models import Condition, Observation, Outplant, Visit
from tests import factories as f


@contextmanager
def breaks(constraint: str) -> Iterator[None]:
    with pytest.raises(IntegrityError) as caught, transaction.atomic():
        yield
    text = str(caught.value)
    assert constraint in text or "UNIQUE constraint failed" in text, text


@pytest.fixture
def outplant(programme: f.Programme) -> Ramet:
    return programme.outplants()[0]


@pytest.fixture
def visit(programme: f.Programme, outplant: Ramet) -> Visit:
    return f.visit(programme.lead, programme.site, {outplant: "alive"})


def test_a_ramet_is_planted_once_by_an_outplanting(outplant: Ramet) -> None:
    row = Outplant.objects.get(ramet=outplant)
    with breaks("outplanting_outplant_once"):
        Outplant.objects.create(outplanting=row.outplanting, ramet=outplant)


def test_a_visit_is_to_a_site_or_to_a_reef(programme: f.Programme, visit: Visit) -> None:
    for values in ({"site": None}, {"reef": programme.reef}):
        with breaks("outplanting_visit_site_or_reef"):
            Visit.objects.filter(pk=visit.pk).update(**values)


def test_an_observation_is_of_one_thing(programme: f.Programme, visit: Visit) -> None:
    for values in ({"ramet": None}, {"colony": programme.colony}):
        with breaks("outplanting_observation_of_one_thing"):
            Observation.objects.filter(visit=visit).update(**values)


def test_only_what_was_seen_dead_has_a_cause_of_death(visit: Visit) -> None:
    for condition in (Condition.ALIVE, Condition.MISSING):
        with breaks("outplanting_observation_cause_of_death"):
            Observation.objects.filter(visit=visit).update(condition=condition, cause=Cause.STORM)


def test_a_ramet_is_seen_once_on_a_visit(visit: Visit, outplant: Ramet) -> None:
    with breaks("outplanting_observation_ramet_once"):
        Observation.objects.create(visit=visit, ramet=outplant, condition=Condition.DEAD)


def test_a_colony_is_seen_once_on_a_visit(programme: f.Programme, visit: Visit) -> None:
    values = {"visit": visit, "colony": programme.colony, "condition": Condition.ALIVE}
    Observation.objects.create(**values)
    with breaks("outplanting_observation_colony_once"):
        Observation.objects.create(**values)
