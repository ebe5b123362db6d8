"""Two writers at once on the reef: one plants, the other is refused with a reason."""

from __future__ import annotations

from functools import partial
from typing import Any
from uuid import uuid4

import pytest

from nursery.lineage.models import Ramet
from nursery.lineage.words import Life, Place
from nursery.outplanting.models import Outplant, Visit
from tests import factories as f
from tests.together import at_once, codes

pytestmark = pytest.mark.django_db(transaction=True)

ROUNDS = 10


@pytest.fixture
def programme(transactional_db: None) -> f.Programme:
    """Committed, so that other connections see it."""
    return f.programme()


def test_one_ramet_is_planted_once(programme: f.Programme) -> None:
    plots = [programme.plot, f.plot(programme.lead, programme.site)]
    for child in f.cut(programme.lead, [programme.mother()], ROUNDS):
        answers = at_once([partial(f.planting, programme.lead, plot, [child]) for plot in plots])
        assert codes(answers) == ["already_planted"]
        assert Outplant.objects.filter(ramet=child).count() == 1


def test_a_ramet_is_planted_or_moved_but_in_one_place(programme: f.Programme) -> None:
    for child in f.cut(programme.lead, [programme.mother()], ROUNDS, into=programme.tray):
        row = {"ramet": child.code, "structure": programme.plate.code}
        answers: list[Any] = at_once(
            [
                partial(f.planting, programme.lead, programme.plot, [child]),
                partial(f.move, programme.lead, [row], when=f.PLANTED),
            ]
        )
        assert codes(answers) in ([], ["still_planted"])
        after = Ramet.objects.get(pk=child.pk)
        assert (after.place, after.row) == (Place.PLOT, None)


def test_a_ramet_is_planted_or_used_up(programme: f.Programme) -> None:
    children = f.cut(programme.lead, [programme.mother()], ROUNDS)
    for child in children:
        answers: list[Any] = at_once(
            [
                partial(f.planting, programme.lead, programme.plot, [child]),
                partial(f.cut, programme.lead, [], used_up=[child], when=f.PLANTED),
            ]
        )
        # A living outplant may be cut to nothing, but what was used up is not planted.
        assert codes(answers) in ([], ["not_living"])
    assert set(Ramet.objects.filter(pk__in=[c.pk for c in children]).values_list("life")) == {
        (Life.USED_UP,)
    }


def test_plantings_in_opposite_order_do_not_wait_for_each_other(
    programme: f.Programme,
) -> None:
    for _ in range(4):
        children = f.cut(programme.lead, [programme.mother()], 20)
        answers = at_once(
            [
                partial(f.planting, programme.lead, programme.plot, children),
                partial(f.planting, programme.lead, programme.plot, children[::-1]),
            ]
        )
        assert codes(answers) == ["already_planted"]


def test_two_visits_in_opposite_order_do_not_wait_for_each_other(
    programme: f.Programme,
) -> None:
    outplants = programme.outplants(20)
    for _ in range(4):
        answers = at_once(
            [
                partial(f.visit, programme.lead, programme.site, dict.fromkeys(outplants, "alive")),
                partial(
                    f.visit, programme.lead, programme.site, dict.fromkeys(outplants[::-1], "dead")
                ),
            ]
        )
        assert codes(answers) == []
    steps = set(Ramet.objects.filter(plot=programme.plot).values_list("steps_taken", flat=True))
    assert steps == {2 + 8}


def test_one_visit_sent_ten_times_at_once_is_one_visit(programme: f.Programme) -> None:
    outplant = programme.outplants()[0]
    uid = str(uuid4())
    answers = at_once(
        [partial(f.visit, programme.lead, programme.site, {outplant: "alive"}, uid=uid)] * 10
    )
    assert codes(answers) == []
    assert Visit.objects.count() == 1
    assert Ramet.objects.get(pk=outplant.pk).steps_taken == 3
