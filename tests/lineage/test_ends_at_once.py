"""Two who end the same ramets at once: each end is told once, and nobody waits for ever."""

from __future__ import annotations

from functools import partial

import pytest

from nursery.lineage.models import Ramet, Step
from nursery.lineage.words import Life, What
from nursery.places.models import Structure
from tests import factories as f
from tests.lineage.ends import ENDED, count, end, lives, lose
from tests.together import at_once, codes

pytestmark = pytest.mark.django_db(transaction=True)

ROUNDS = 5


@pytest.fixture
def programme(transactional_db: None) -> f.Programme:
    """Committed, so that other connections see it."""
    return f.programme()


def test_a_ramet_ends_in_one_way(programme: f.Programme) -> None:
    for child in f.cut(programme.lead, [programme.mother()], ROUNDS, into=programme.plate):
        ways = ("sampled", "discarded")
        acts = [partial(end, programme.lead, [child], way) for way in ways]
        assert codes(at_once(acts)) == ["not_living"]
        assert Step.objects.filter(ramet=child, what=What.ENDED).count() == 1


def test_two_counts_of_one_lot_end_as_many_as_both_say(programme: f.Programme) -> None:
    lot = f.cut(programme.lead, [programme.mother()], 60, into=programme.tray)
    row = {"structure": programme.tray.code, "lot": str(lot[0].born.uid), "dead": 9}
    for _ in range(3):
        assert codes(at_once([partial(count, programme.lead, [row])] * 2)) == []
    assert lives(lot).count("dead") == 54
    assert codes(at_once([partial(count, programme.lead, [row])] * 2)) == ["more_than_there"] * 2


def test_the_last_of_a_lot_are_counted_once(programme: f.Programme) -> None:
    for _ in range(ROUNDS):
        lot = f.cut(programme.lead, [programme.mother()], 3, into=programme.tray)
        row = {"structure": programme.tray.code, "lot": str(lot[0].born.uid), "missing": 2}
        answers = at_once([partial(count, programme.lead, [row])] * 2)
        assert codes(answers) == ["more_than_there"]
        assert lives(lot).count("lost") == 2


def test_nothing_lives_in_a_structure_that_is_lost_as_it_is_put_there(
    programme: f.Programme,
) -> None:
    for _ in range(ROUNDS):
        tray = f.tray(programme.lead, programme.bay)
        f.cut(programme.lead, [programme.mother()], 3, into=tray)
        mothers = programme.mothers(2)
        acts = [
            partial(lose, programme.lead, tray),
            *(
                partial(
                    f.move,
                    programme.lead,
                    [{"ramet": mother.code}],
                    structure=tray.code,
                    when=ENDED,
                )
                for mother in mothers
            ),
        ]
        assert set(codes(at_once(acts))) <= {"structure_lost"}
        assert Structure.objects.get(pk=tray.pk).lost
        assert not Ramet.objects.filter(structure=tray, life=Life.LIVING).exists()


def test_a_structure_is_lost_once(programme: f.Programme) -> None:
    for _ in range(ROUNDS):
        tray = f.tray(programme.lead, programme.bay)
        lot = f.cut(programme.lead, [programme.mother()], 3, into=tray)
        assert codes(at_once([partial(lose, programme.lead, tray)] * 2)) == ["already_lost"]
        assert set(lives(lot)) == {"lost"}
