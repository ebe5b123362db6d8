"""Structures stand in bays, in cells of others, or in plots; they move with all they hold."""

from __future__ import annotations

from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from nursery.lineage.late import InTheWay
from nursery.lineage.models import Ramet, Step
from nursery.outplanting.actions.correct import void
from nursery.outplanting.corrections import VoidIn
from nursery.places.models import Bay, Structure, StructureStep
from tests import factories as f
from tests.lineage.identities import statements
from tests.refusals import refused


@pytest.fixture
def rock(programme: f.Programme) -> Structure:
    """A rock with three sockets that stands nowhere yet."""
    return f.structure(programme.lead, kind="rock", rows=1, columns=3, code="ROCK-1")


@pytest.fixture
def away(programme: f.Programme) -> Bay:
    """A bay of another nursery."""
    return f.bay(programme.lead, f.nursery(programme.lead))


def now(structure: Structure) -> Structure:
    return Structure.objects.get(pk=structure.pk)


def put(programme: f.Programme, structure: Structure, when: str = "2021-04-01", **to: Any) -> None:
    f.move_structures(programme.lead, [{"structure": structure.code, **to}], when=when)


def test_a_new_structure_stands_nowhere(rock: Structure) -> None:
    assert (rock.nursery_id, rock.bay_id, rock.parent_id, rock.plot_id) == (None,) * 4


def test_a_structure_in_a_bay_is_at_its_nursery(programme: f.Programme, rock: Structure) -> None:
    put(programme, rock, bay=programme.bay.code.lower())
    assert (now(rock).bay, now(rock).nursery) == (programme.bay, programme.nursery)


def test_a_structure_stands_in_a_cell_of_another(programme: f.Programme, rock: Structure) -> None:
    put(programme, rock, parent=programme.plate.code, cell="c7")
    after = now(rock)
    assert (after.parent, str(after.parent_cell)) == (programme.plate, "C7")
    assert (after.bay_id, after.nursery) == (None, programme.nursery)


def test_a_structure_stands_in_an_open_one_without_a_cell(
    programme: f.Programme, rock: Structure
) -> None:
    put(programme, rock, parent=programme.tray.code)
    assert (now(rock).parent, now(rock).parent_cell) == (programme.tray, None)


def test_a_structure_in_a_plot_is_at_no_nursery(programme: f.Programme, rock: Structure) -> None:
    put(programme, rock, bay=programme.bay.code)
    put(programme, rock, plot=programme.plot.code)
    after = now(rock)
    assert (after.plot, after.bay_id, after.nursery_id) == (programme.plot, None, None)


def test_the_ramets_stay_in_their_cells_when_their_structure_moves(
    programme: f.Programme, away: Bay
) -> None:
    children = f.cut(programme.lead, [programme.mother()], 3, into=programme.plate)
    before = Step.objects.count()
    put(programme, programme.plate, bay=away.code)
    assert [str(Ramet.objects.get(pk=child.pk).cell) for child in children] == ["A1", "B1", "C1"]
    assert Step.objects.count() == before
    assert now(programme.plate).nursery == away.system.nursery


def test_what_a_structure_holds_is_at_its_nursery_too(
    programme: f.Programme, rock: Structure, away: Bay
) -> None:
    inner = f.tray(programme.lead)
    put(programme, inner, parent=rock.code, cell="B1")
    put(programme, rock, parent=programme.plate.code, cell="A1")
    assert now(inner).nursery == programme.nursery
    put(programme, programme.plate, when="2021-05-01", bay=away.code)
    assert {now(row).nursery for row in (programme.plate, rock, inner)} == {away.system.nursery}


def test_each_move_is_a_step_of_the_structure(programme: f.Programme, rock: Structure) -> None:
    put(programme, rock, bay=programme.bay.code)
    put(programme, rock, when="2021-05-01", parent=programme.plate.code, cell="A1")
    steps = StructureStep.objects.filter(structure=rock)
    assert [(step.order, step.bay, step.parent, step.parent_row) for step in steps] == [
        (1, programme.bay, None, None),
        (2, None, programme.plate, 1),
    ]


def test_two_structures_change_cells_in_one_event(programme: f.Programme) -> None:
    rocks = [f.structure(programme.lead, kind="rock", rows=1, columns=3) for _ in range(2)]
    for rock, cell in zip(rocks, ("A1", "B1"), strict=True):
        put(programme, rock, parent=programme.plate.code, cell=cell)
    f.move_structures(
        programme.lead,
        [
            {"structure": rock.code, "parent": programme.plate.code, "cell": cell}
            for rock, cell in zip(rocks, ("B1", "A1"), strict=True)
        ],
        when="2021-05-01",
    )
    assert [str(now(rock).parent_cell) for rock in rocks] == ["B1", "A1"]


def test_a_structure_may_be_set_up_in_one_that_is_set_up_with_it(
    programme: f.Programme, rock: Structure
) -> None:
    table = f.structure(programme.lead, kind="table", rows=2, columns=2)
    f.move_structures(
        programme.lead,
        [
            {"structure": rock.code, "parent": table.code, "cell": "A1"},
            {"structure": table.code, "bay": programme.bay.code},
        ],
        when="2021-05-01",
    )
    assert {now(rock).nursery, now(table).nursery} == {programme.nursery}


@pytest.mark.parametrize(
    ("cell", "code"),
    [
        (None, "required"),
        ("A1", "cell_blocked"),
        ("L1", "cell_outside"),
        ("1A", "cell_malformed"),
        ("B1", "cell_occupied"),
        ("C1", "cell_occupied"),
    ],
)
def test_a_structure_needs_a_free_cell(
    programme: f.Programme, rock: Structure, cell: str | None, code: str
) -> None:
    plate = f.structure(programme.lead, programme.bay, blocked="A1", rows=11, columns=11)
    f.cut(programme.lead, [programme.mother()], into=plate, children=[{"cell": "B1"}])
    put(programme, f.tray(programme.lead), parent=plate.code, cell="C1")
    with refused(code, pointer="#/structures/0/cell"):
        put(programme, rock, parent=plate.code, cell=cell)


def test_two_structures_do_not_go_into_one_cell(programme: f.Programme) -> None:
    rocks = [f.structure(programme.lead, kind="rock", rows=1, columns=3) for _ in range(2)]
    with refused("cell_occupied", pointer="#/structures/1/cell"):
        f.move_structures(
            programme.lead,
            [
                {"structure": rock.code, "parent": programme.plate.code, "cell": "A1"}
                for rock in rocks
            ],
        )


def test_an_open_structure_has_no_cell_for_another(programme: f.Programme, rock: Structure) -> None:
    with refused("no_cells", pointer="#/structures/0/cell"):
        put(programme, rock, parent=programme.tray.code, cell="A1")


def test_a_structure_does_not_stand_in_itself(programme: f.Programme, rock: Structure) -> None:
    with refused("structure_in_itself", pointer="#/structures/0/parent"):
        put(programme, rock, parent=rock.code, cell="A1")


def test_a_structure_does_not_stand_in_what_it_holds(
    programme: f.Programme, rock: Structure
) -> None:
    inner = f.structure(programme.lead, rows=2, columns=2)
    innermost = f.structure(programme.lead, rows=2, columns=2)
    put(programme, inner, parent=rock.code, cell="A1")
    put(programme, innermost, parent=inner.code, cell="A1")
    with refused("structure_in_itself"):
        put(programme, rock, when="2021-05-01", parent=innermost.code, cell="B1")


def test_two_structures_do_not_go_into_each_other_in_one_event(
    programme: f.Programme, rock: Structure
) -> None:
    other = f.structure(programme.lead, rows=2, columns=2)
    with refused("structure_in_itself", "structure_in_itself"):
        f.move_structures(
            programme.lead,
            [
                {"structure": rock.code, "parent": other.code, "cell": "A1"},
                {"structure": other.code, "parent": rock.code, "cell": "A1"},
            ],
        )


def test_a_structure_that_leaves_makes_way_for_what_held_it(
    programme: f.Programme, rock: Structure
) -> None:
    inner = f.structure(programme.lead, rows=2, columns=2)
    put(programme, inner, parent=rock.code, cell="A1")
    f.move_structures(
        programme.lead,
        [
            {"structure": inner.code, "bay": programme.bay.code},
            {"structure": rock.code, "parent": inner.code, "cell": "A1"},
        ],
        when="2021-05-01",
    )
    assert (now(inner).bay, now(rock).parent) == (programme.bay, inner)


def test_a_late_move_stands_behind_the_later_one(programme: f.Programme, rock: Structure) -> None:
    put(programme, rock, when="2021-04-01", bay=programme.bay.code)
    put(programme, rock, when="2021-03", parent=programme.plate.code, cell="A1")
    assert (now(rock).bay, now(rock).parent) == (programme.bay, None)
    steps = rock.steps.filter(live=True).order_by("-order").values_list("bay", "parent")[:2]
    assert list(steps) == [(programme.bay.pk, None), (None, programme.plate.pk)]


def test_a_late_move_into_a_cell_that_was_taken_then_is_refused(
    programme: f.Programme, rock: Structure
) -> None:
    mother = programme.mother()
    place = {"structure": programme.plate.code, "cell": "A1"}
    f.move(programme.lead, [{"ramet": mother.code, **place}], when="2021-02-01")
    f.move(programme.lead, [{"ramet": mother.code, "structure": programme.tray.code}])
    with refused("cell_was_held"):
        put(programme, rock, when="2021-02-15", parent=programme.plate.code, cell="A1")


@pytest.mark.parametrize(
    ("row", "code"),
    [
        ({"structure": "NONE", "bay": "{bay}"}, "unknown_structure"),
        ({"structure": "ROCK-1", "bay": "NONE"}, "unknown_bay"),
        ({"structure": "ROCK-1", "plot": "NONE"}, "unknown_plot"),
        ({"structure": "ROCK-1", "parent": "NONE"}, "unknown_structure"),
        ({"structure": "ROCK-1"}, "one_place"),
        ({"structure": "ROCK-1", "bay": "{bay}", "plot": "{plot}"}, "one_place"),
        ({"structure": "ROCK-1", "bay": "{bay}", "cell": "A1"}, "one_place"),
        ({"structure": "ROCK\x001", "bay": "{bay}"}, "control_character"),
        ({"structure": "=ROCK", "bay": "{bay}"}, "code_malformed"),
    ],
    ids=str,
)
def test_a_place_that_makes_no_sense_is_refused(
    programme: f.Programme, rock: Structure, row: dict[str, str], code: str
) -> None:
    known = {"bay": programme.bay.code, "plot": programme.plot.code}
    given = {name: value.format(**known) for name, value in row.items()}
    with refused(code):
        f.move_structures(programme.lead, [given])


def test_a_structure_named_twice_is_refused(programme: f.Programme, rock: Structure) -> None:
    rows = [{"structure": rock.code, "bay": programme.bay.code}] * 2
    with refused("named_twice", pointer="#/structures/1/structure"):
        f.move_structures(programme.lead, rows)


def test_the_nursery_is_handed_down_whatever_the_order_of_the_rows(
    programme: f.Programme, away: Bay
) -> None:
    table, rock, stone, pebble = (f.tray(programme.lead) for _ in range(4))
    put(programme, pebble, parent=stone.code)
    f.move_structures(
        programme.lead,
        [
            {"structure": rock.code, "parent": table.code},
            {"structure": table.code, "bay": away.code},
            {"structure": stone.code, "parent": rock.code},
        ],
        when="2021-05-01",
    )
    assert {now(row).nursery for row in (table, rock, stone, pebble)} == {away.system.nursery}


def test_what_moves_into_a_structure_that_moves_is_where_that_goes(
    programme: f.Programme, rock: Structure, away: Bay
) -> None:
    shelf = f.tray(programme.lead)
    outer = f.tray(programme.lead)
    inner = f.tray(programme.lead)
    put(programme, shelf, parent=outer.code)
    put(programme, inner, parent=rock.code, cell="A1")
    f.move_structures(
        programme.lead,
        [
            {"structure": outer.code, "bay": away.code},
            {"structure": rock.code, "parent": shelf.code},
        ],
        when="2021-05-01",
    )
    held = (outer, shelf, rock, inner)
    assert {now(row).nursery for row in held} == {away.system.nursery}


def test_a_void_after_which_two_would_stand_in_each_other_is_refused(
    programme: f.Programme, rock: Structure
) -> None:
    table = f.tray(programme.lead)
    put(programme, rock, parent=table.code)
    both = [{"structure": row.code, "bay": programme.bay.code} for row in (rock, table)]
    event = f.move_structures(programme.lead, both, when="2021-05-01")
    put(programme, table, when="2021-06-01", parent=rock.code, cell="A1")
    with refused("structure_in_itself", by=InTheWay):
        void(programme.lead, VoidIn(event=event.uid, reason="a slip"))


def test_moving_more_structures_costs_no_more_statements(programme: f.Programme, away: Bay) -> None:
    counts = []
    for number in (2, 12):
        rocks = [f.structure(programme.lead, kind="rock", rows=1, columns=3) for _ in range(number)]
        homes = [f.structure(programme.lead, away, rows=1, columns=1) for _ in rocks]
        for rock in rocks:
            put(programme, f.tray(programme.lead), parent=rock.code, cell="A1")
        rows = [
            {"structure": rock.code, "parent": home.code, "cell": "A1"}
            for rock, home in zip(rocks, homes, strict=True)
        ]
        with CaptureQueriesContext(connection) as queries:
            f.move_structures(programme.lead, rows, when="2021-05-01")
        counts.append(statements(queries))
        assert {now(rock).nursery for rock in rocks} == {away.system.nursery}
    assert counts[0] == counts[1]
