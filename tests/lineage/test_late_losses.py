"""What is entered late about structures that were lost: it is taken where it can have been so."""

from __future__ import annotations

import pytest

from nursery.lineage.words import Life
from nursery.outplanting.unsettled import unsettled
from nursery.places.models import Structure
from tests import factories as f
from tests.lineage.ends import lose, now
from tests.refusals import refused

pytestmark = pytest.mark.django_db

LOST = "2021-04-01"


@pytest.fixture
def rock(programme: f.Programme) -> Structure:
    """A rock in cell A1 of the plate."""
    made = f.structure(programme.lead, kind="rock", rows=1, columns=3)
    place = {"structure": made.code, "parent": programme.plate.code, "cell": "A1"}
    f.move_structures(programme.lead, [place])
    return made


def test_nothing_goes_into_a_structure_between_its_loss_and_its_finding(
    programme: f.Programme,
) -> None:
    mother = programme.mother()
    lose(programme.lead, programme.plate, when=LOST)
    found = {"structure": programme.plate.code, "bay": programme.bay.code}
    f.move_structures(programme.lead, [found], when="2021-05-20")
    row = {"ramet": mother.code, "structure": programme.plate.code}
    with refused("structure_lost"):
        f.move(programme.lead, [row], when="2021-04-15")
    f.move(programme.lead, [row], when="2021-05-21")


def test_no_structure_goes_into_a_lost_one(programme: f.Programme) -> None:
    tray = f.tray(programme.lead)
    lose(programme.lead, programme.plate, when=LOST)
    row = {"structure": tray.code, "parent": programme.plate.code, "cell": "A1"}
    with refused("structure_lost"):
        f.move_structures(programme.lead, [row], when="2021-04-15")


def test_what_is_entered_late_into_a_lost_structure_is_to_be_settled(
    programme: f.Programme,
) -> None:
    mother = programme.mother()
    lose(programme.lead, programme.plate, when=LOST)
    row = {"ramet": mother.code, "structure": programme.plate.code}
    f.move(programme.lead, [row], when="2021-03-15")
    assert now(mother).life == Life.LIVING
    found = unsettled(programme.lead, ["in_lost_structure"])
    assert [row.thing for row in found] == [programme.plate.code]


def test_a_ramet_does_not_leave_before_the_loss_that_it_ended_by(
    programme: f.Programme,
) -> None:
    child = f.cut(programme.lead, [programme.mother()], 1, into=programme.plate)[0]
    lose(programme.lead, programme.plate, when=LOST)
    row = {"ramet": child.code, "structure": programme.tray.code}
    with refused("behind_later_entry") as caught:
        f.move(programme.lead, [row], when="2021-03-15")
    assert "1 April 2021" in caught.value.problems[0].message


def test_a_structure_does_not_leave_before_it_was_lost_with_what_it_stood_in(
    programme: f.Programme, rock: Structure
) -> None:
    lose(programme.lead, programme.plate, when=LOST)
    row = {"structure": rock.code, "bay": programme.bay.code}
    with refused("behind_later_entry") as caught:
        f.move_structures(programme.lead, [row], when="2021-03-15")
    assert "1 April 2021" in caught.value.problems[0].message
