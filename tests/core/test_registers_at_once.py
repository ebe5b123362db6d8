"""Two people at one register at once."""

from __future__ import annotations

from functools import partial
from typing import Any

import pytest

from nursery.core import registers
from nursery.core.errors import Refused
from nursery.core.models import Change
from nursery.donors.models import DonorColony, Genet
from nursery.places.models import Nursery, Reef
from tests import factories as f
from tests.together import at_once, codes

pytestmark = pytest.mark.django_db(transaction=True)

ROUNDS = 8


def test_of_two_edits_of_one_version_one_is_a_conflict() -> None:
    lead = f.lead()
    reef = f.reef(lead)
    for version in range(1, ROUNDS + 1):
        answers = at_once(
            [
                partial(registers.edit, lead, reef, {"name": name}, version)
                for name in (f"One {version}", f"Two {version}")
            ]
        )
        assert codes(answers) == ["edited_meanwhile"]
    assert Reef.objects.get().version == ROUNDS + 1


def test_two_edits_of_different_fields_are_both_kept() -> None:
    lead = f.lead()
    reef = f.reef(lead)
    for n in range(ROUNDS):
        answers = at_once(
            [
                partial(registers.edit, lead, reef, {"name": f"Name {n}"}),
                partial(registers.edit, lead, reef, {"note": f"Note {n}"}),
            ]
        )
        assert codes(answers) == []
        stored = Reef.objects.get()
        assert (stored.name, stored.note) == (f"Name {n}", f"Note {n}")
    assert Change.objects.filter(register="places.reef").count() == 1 + 2 * ROUNDS


def test_one_code_is_given_to_one_row() -> None:
    lead = f.lead()
    for n in range(ROUNDS):
        answers = at_once([partial(f.reef, lead, code=f"R{n}", name=name) for name in ("a", "b")])
        assert codes(answers) == ["code_taken"]
        assert Reef.objects.filter(code=f"R{n}").count() == 1


def test_one_colony_is_entered_once_with_one_genet() -> None:
    lead = f.lead()
    taxon, reef = f.taxon(lead), f.reef(lead)
    for n in range(ROUNDS):
        answers = at_once([partial(f.colony, lead, taxon, reef, code=f"D{n}")] * 2)
        assert codes(answers) == ["code_taken"]
    assert DonorColony.objects.count() == Genet.objects.count() == ROUNDS


def test_one_series_is_opened_once() -> None:
    lead = f.lead()
    for n in range(ROUNDS):
        answers: list[Nursery | Any] = at_once(
            [partial(f.nursery, lead, series=f"Q{'ABCDEFGH'[n]}") for _ in range(2)]
        )
        assert not any(isinstance(answer, Refused) for answer in answers)
        assert len({answer.series_id for answer in answers}) == 1
