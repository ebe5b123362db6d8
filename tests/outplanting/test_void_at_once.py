"""Voiding and entering at once: one wins, the other is refused with a reason, the record agrees
with itself, and nobody waits for ever."""

from __future__ import annotations

import os
import random
from collections.abc import Callable
from functools import partial
from typing import Any
from uuid import uuid4

import pytest

from nursery.core.inputs import read
from nursery.core.models import Correction, Event
from nursery.lineage.actions import move
from nursery.lineage.inputs import MoveIn
from nursery.lineage.models import Ramet
from nursery.outplanting.actions.correct import Outcome, amend, restore, void
from nursery.outplanting.corrections import AmendIn, RestoreIn, VoidIn
from tests import factories as f
from tests.together import at_once, codes
from tests.verified import nothing_wrong

pytestmark = pytest.mark.django_db(transaction=True)

ROUNDS = 8
SEEDED_ROUNDS = int(os.environ.get("SEEDED_ROUNDS", "150"))
"""How many rounds of acts by chance; SEEDED_ROUNDS=1000 for the long run."""


@pytest.fixture
def programme(transactional_db: None) -> f.Programme:
    """Committed, so that other connections see it."""
    return f.programme()


def voiding(programme: f.Programme, event: Event, together: bool = False) -> Outcome:
    return void(programme.lead, VoidIn(event=event.uid, reason="a slip", together=together))


def test_a_cutting_is_voided_or_its_child_is_planted(programme: f.Programme) -> None:
    mother = programme.mother()
    for _ in range(ROUNDS):
        child = f.cut(programme.lead, [mother], into=programme.plate)[0]
        acts: list[Callable[[], Any]] = [
            partial(voiding, programme, child.born),
            partial(f.planting, programme.lead, programme.plot, [child]),
        ]
        found = codes(at_once(acts))
        assert found in (["behind_later_entry"], ["never_born"], ["unknown_ramet"])
        assert Event.objects.get(pk=child.born_id).live == (found == ["behind_later_entry"])
    nothing_wrong()


def test_an_entry_is_voided_once(programme: f.Programme) -> None:
    for mother in programme.mothers(ROUNDS):
        child = f.cut(programme.lead, [mother])[0]
        answers = at_once([partial(voiding, programme, child.born)] * 2)
        assert codes(answers) == ["voided_already"]
        assert Correction.objects.filter(event=child.born).count() == 1
    nothing_wrong()


def test_a_cell_is_given_back_or_taken_by_another(programme: f.Programme) -> None:
    """A mother that was used up comes back into her cell, or another is put there."""
    for _ in range(ROUNDS):
        plate = f.structure(programme.lead, programme.bay)
        place = {"structure": plate.code, "cell": "A1"}
        mother, other = programme.mothers(2)
        f.move(programme.lead, [{"ramet": mother.code, **place}], when="2021-02-01")
        child = f.cut(programme.lead, [], used_up=[mother])[0]
        acts: list[Callable[[], Any]] = [
            partial(voiding, programme, child.born),
            partial(f.move, programme.lead, [{"ramet": other.code, **place}], when="2021-04-01"),
        ]
        assert codes(at_once(acts)) in (["cell_was_held"], ["cell_occupied"])
    nothing_wrong()


def test_an_entry_sent_ten_times_at_once_is_entered_once(programme: f.Programme) -> None:
    mother = programme.mother()
    given = read(
        MoveIn,
        {
            "uid": str(uuid4()),
            "when": f.CUT,
            "ramets": [{"ramet": mother.code, "structure": programme.plate.code}],
        },
    )
    answers: list[Any] = at_once([partial(move, programme.lead, given)] * 10)
    assert codes(answers) == []
    assert sum(answer.fresh for answer in answers) == 1
    assert Event.objects.filter(uid=given.uid).count() == 1


def test_a_late_cutting_has_all_its_structures_before_it_takes_codes(
    programme: f.Programme,
) -> None:
    """It was once refused by the database as a deadlock: whoever had the code series wanted a
    plate in which a mother had been, and whoever had that plate wanted the series."""
    other = f.structure(programme.lead, programme.bay)
    f.cut(programme.lead, [programme.mother()], into=other, when="2021-05-01")
    for _ in range(ROUNDS):
        once, now = programme.mothers(2)
        places = [{"structure": programme.plate.code}, {"structure": programme.tray.code}]
        for day, place in zip(("2021-02-01", "2021-02-02"), places, strict=True):
            f.move(programme.lead, [{"ramet": once.code, **place}], when=day)
        acts: list[Callable[[], Any]] = [
            partial(f.cut, programme.lead, [once], into=other, when="2021-03-01"),
            partial(f.cut, programme.lead, [now], into=programme.plate, when="2021-06-01"),
        ]
        assert codes(at_once(acts)) == []
    nothing_wrong()


def test_whatever_is_done_at_once_nobody_waits_for_ever(programme: f.Programme) -> None:
    """Seeded rounds of two or three acts by chance on a few ramets, cells and entries."""
    rng = random.Random(20260925)
    stock = programme.mothers(6)
    for _ in range(SEEDED_ROUNDS):
        at_once([_by_chance(programme, rng, stock) for _ in range(rng.randint(2, 3))])
    nothing_wrong()


def _by_chance(programme: f.Programme, rng: random.Random, stock: list[Ramet]) -> Callable[[], Any]:
    by = programme.lead
    ramets = rng.sample(list(Ramet.objects.exclude(life=4)) or stock, 2)
    when = f"2021-{rng.randint(3, 12):02}-{rng.randint(1, 28):02}"
    cells = [{"structure": programme.plate.code, "cell": cell} for cell in ("A1", "B1", "C1")]
    events = list(Event.objects.filter(kind__in=[3, 4, 6]).order_by("-pk")[:8])
    event = rng.choice(events) if events else None
    acts: list[Callable[[], Any]] = [
        partial(f.cut, by, ramets, into=programme.tray, when=when),
        partial(f.cut, by, ramets[:1], children=[rng.choice(cells)], when=when),
        partial(f.cut, by, [], used_up=ramets[:1], into=programme.tray, when=when),
        partial(
            f.move, by, [{"ramet": row.code, **rng.choice(cells)} for row in ramets], when=when
        ),
        partial(f.planting, by, programme.plot, ramets[:1], when=when),
    ]
    if event is not None:
        acts += [
            partial(void, by, VoidIn(event=event.uid, reason="a slip", together=True)),
            partial(restore, by, RestoreIn(event=event.uid, reason="after all")),
            partial(amend, by, read(AmendIn, {"event": event.uid, "reason": "r", "when": when})),
        ]
    return rng.choice(acts)
