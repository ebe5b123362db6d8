"""What stands in the way is told truly, and at the same cost however much of it there is."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from nursery.core.errors import Refused
from nursery.core.models import Event
from nursery.lineage.late import InTheWay
from nursery.lineage.models import Ramet
from nursery.outplanting.actions.correct import void
from nursery.outplanting.corrections import VoidIn
from nursery.places.models import Structure
from tests import factories as f
from tests.lineage.ends import end
from tests.lineage.identities import statements
from tests.refusals import refused


def voided(programme: f.Programme, event: Event) -> None:
    void(programme.lead, VoidIn(event=event.uid, reason="a slip"))


def test_a_void_says_what_could_not_stand_without_it(programme: f.Programme) -> None:
    child = f.cut(programme.lead, [programme.mother()], 1)[0]
    f.planting(programme.lead, programme.plot, [child])
    with refused("behind_later_entry", by=InTheWay) as caught:
        voided(programme, child.born)
    assert caught.value.problems[0].message == (
        f"{child.code} has a later entry: outplanting on 1 June 2021. Without this fragmentation "
        "on 1 March 2021 it could not stand. Void or amend that one first."
    )


def test_a_void_says_which_cell_was_given_away_since(programme: f.Programme) -> None:
    mother, other = programme.mother(), programme.mother()
    place = {"structure": programme.plate.code, "cell": "A1"}
    f.move(programme.lead, [{"ramet": mother.code, **place}], when="2021-02-01")
    child = f.cut(programme.lead, [], 1, used_up=[mother])[0]
    f.move(programme.lead, [{"ramet": other.code, **place}], when="2021-04-01")
    with refused("cell_was_held", by=InTheWay) as caught:
        voided(programme, child.born)
    assert caught.value.problems[0].message == (
        f"{programme.plate.code} A1 was held by {other.code} since 1 April 2021, so {mother.code} "
        "could not stay there without this fragmentation on 1 March 2021. Void or amend that "
        "entry first."
    )


def test_a_late_entry_says_what_it_would_come_before(programme: f.Programme) -> None:
    mother = programme.mother()
    row = {"ramet": mother.code, "structure": programme.plate.code}
    f.move(programme.lead, [row], when="2021-04-01")
    with refused("behind_later_entry", by=InTheWay) as caught:
        f.cut(programme.lead, [], 1, used_up=[mother], when="2021-03-01")
    assert "would come before it" in caught.value.problems[0].message
    assert "1 April 2021" in caught.value.problems[0].message
    assert "1 March 2021" in caught.value.problems[0].message


def children(programme: f.Programme, number: int) -> list[Ramet]:
    plate = f.structure(programme.lead, programme.bay, kind="plate", rows=5, columns=10)
    return f.cut(programme.lead, [programme.mother()], number, into=plate)


def move_dead(programme: f.Programme, ramets: list[Ramet], plate: Structure) -> None:
    end(programme.lead, ramets)
    rows = [{"ramet": ramet.code} for ramet in ramets]
    f.move(programme.lead, rows, when="2022-01-01", packed=True)


def move_into_taken_cells(programme: f.Programme, ramets: list[Ramet], plate: Structure) -> None:
    rows = [
        {"ramet": ramet.code, "structure": plate.code, "cell": str(ramet.cell)} for ramet in ramets
    ]
    f.move(programme.lead, rows, when="2022-01-01")


def void_planted(programme: f.Programme, ramets: list[Ramet], plate: Structure) -> None:
    f.planting(programme.lead, programme.plot, ramets)
    voided(programme, ramets[0].born)


@pytest.mark.parametrize("act", [move_dead, move_into_taken_cells, void_planted])
def test_a_refusal_of_many_costs_no_more_than_one_of_few(
    programme: f.Programme, act: Callable[[f.Programme, list[Ramet], Structure], None]
) -> None:
    counts = []
    for number in (3, 40):
        ramets = children(programme, number)
        full = children(programme, number)[0].structure
        assert full is not None
        with CaptureQueriesContext(connection) as queries, pytest.raises(Refused) as caught:
            act(programme, ramets, full)
        assert len(caught.value.problems) == number
        counts.append(statements(queries))
    assert counts[0] == counts[1]
