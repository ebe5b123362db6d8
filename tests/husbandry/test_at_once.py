"""Two who look at the same plate at once, and one who moves what the other looks at."""

from __future__ import annotations

from functools import partial

import pytest

from nursery.husbandry.models import Finding
from nursery.lineage.models import Step
from nursery.lineage.words import What
from tests import factories as f
from tests.husbandry.plates import LATER, cut_into, lives, now, placed
from tests.lineage.ends import end
from tests.together import at_once, codes
from tests.verified import nothing_wrong

pytestmark = pytest.mark.django_db(transaction=True)

ROUNDS = 4


@pytest.fixture
def programme(transactional_db: None) -> f.Programme:
    """Committed, so that other connections see it."""
    return f.programme()


def test_two_checks_of_one_plate_are_both_kept(programme: f.Programme) -> None:
    plugs = cut_into(programme, programme.plate, 20)
    turned = list(reversed(plugs))
    acts = [
        partial(f.check, programme.lead, dict.fromkeys(plugs, "loose")),
        partial(f.check, programme.lead, dict.fromkeys(turned, "dead")),
    ]
    assert codes(at_once(acts)) == []
    assert Finding.objects.count() == 40
    assert set(lives(plugs)) in ({"dead"}, {"living"})
    nothing_wrong()


def test_one_that_lives_again_and_one_that_comes_into_its_cell(programme: f.Programme) -> None:
    """Either it has its cell again and the other is refused, or it lives without a place."""
    for _ in range(ROUNDS):
        plate = f.structure(programme.lead, programme.bay)
        (plug,) = cut_into(programme, plate, 1)
        end(programme.lead, [plug], when="2021-03-05")
        mother = programme.mother()
        acts = [
            partial(f.check, programme.lead, {plug: "loose"}, when=LATER),
            partial(placed, programme.lead, mother, plate, "A1", LATER),
        ]
        told = codes(at_once(acts))
        assert lives([plug]) == ["living"]
        if told:
            assert set(told) <= {"cell_occupied", "cell_was_held"}
            assert (now(plug).structure, now(mother).structure) == (plate, programme.tray)
        else:
            assert (now(plug).structure, now(mother).structure) == (None, plate)
    nothing_wrong()


def test_checks_across_two_plates_and_moves_between_them_do_not_wait_for_ever(
    programme: f.Programme,
) -> None:
    for _ in range(ROUNDS):
        plates = [f.structure(programme.lead, programme.bay) for _ in range(2)]
        left, right = (cut_into(programme, plate, 6) for plate in plates)
        end(programme.lead, [left[0], right[0]], when="2021-03-05")
        found = dict.fromkeys((*left, *right), "loose")
        swap = [
            {"ramet": left[1].code, "structure": plates[1].code, "cell": "B1"},
            {"ramet": right[1].code, "structure": plates[0].code, "cell": "B1"},
        ]
        acts = [
            partial(f.check, programme.lead, found, when=LATER),
            partial(f.check, programme.lead, dict(reversed(found.items())), when=LATER),
            partial(f.move, programme.lead, swap, when=LATER),
        ]
        assert codes(at_once(acts)) == []
        ids = [plug.pk for plug in found]
        assert Step.objects.filter(ramet__in=ids, what=What.CHECKED_ALIVE).count() == 24
    nothing_wrong()
