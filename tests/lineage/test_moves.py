"""Moving ramets: within a structure, between structures, round in a ring; packing."""

from __future__ import annotations

from typing import Any

import pytest

from nursery.lineage.models import Ramet, Step
from nursery.lineage.words import Place, What
from tests import factories as f
from tests.refusals import refused


@pytest.fixture
def children(programme: f.Programme) -> list[Ramet]:
    """Three ramets in A1, B1 and C1 of the plate."""
    return f.cut(programme.lead, [programme.mother()], 3, into=programme.plate)


def where(ramet: Ramet) -> str:
    row = Ramet.objects.select_related("structure").get(pk=ramet.pk)
    return f"{row.structure} {row.cell}" if row.structure else Place(row.place).word


def test_a_ramet_moves_to_the_cell_asked_for(programme: f.Programme, children: list[Ramet]) -> None:
    f.move(
        programme.lead,
        [{"ramet": children[0].code, "cell": "K11"}],
        structure=programme.plate.code,
    )
    assert where(children[0]) == f"{programme.plate.code} K11"


def test_two_ramets_change_places_in_one_event(
    programme: f.Programme, children: list[Ramet]
) -> None:
    first, second, _ = children
    f.move(
        programme.lead,
        [{"ramet": first.code, "cell": "B1"}, {"ramet": second.code, "cell": "A1"}],
        structure=programme.plate.code,
    )
    assert where(first) == f"{programme.plate.code} B1"
    assert where(second) == f"{programme.plate.code} A1"


def test_ramets_move_round_in_a_ring(programme: f.Programme, children: list[Ramet]) -> None:
    targets = ["B1", "C1", "A1"]
    f.move(
        programme.lead,
        [
            {"ramet": child.code, "cell": cell}
            for child, cell in zip(children, targets, strict=True)
        ],
        structure=programme.plate.code,
    )
    assert [where(child).split()[-1] for child in children] == targets


def test_a_ramet_follows_into_a_cell_that_another_leaves(
    programme: f.Programme, children: list[Ramet]
) -> None:
    f.move(
        programme.lead,
        [
            {"ramet": children[0].code, "structure": programme.plate.code, "cell": "B1"},
            {"ramet": children[1].code, "structure": programme.tray.code},
        ],
    )
    assert where(children[0]) == f"{programme.plate.code} B1"
    assert where(children[1]) == f"{programme.tray.code} None"


def test_a_whole_plate_is_turned_round(programme: f.Programme) -> None:
    children = f.cut(programme.lead, [programme.mother()], 121, into=programme.plate)
    cells = [str(child.cell) for child in children]
    f.move(
        programme.lead,
        [
            {"ramet": child.code, "cell": cell}
            for child, cell in zip(children, reversed(cells), strict=True)
        ],
        structure=programme.plate.code,
    )
    assert [where(child).split()[-1] for child in children] == cells[::-1]


def test_more_than_one_batch_of_ramets_changes_places_at_once(programme: f.Programme) -> None:
    plate = f.structure(programme.lead, programme.bay, rows=15, columns=40)
    children = f.cut(programme.lead, [programme.mother()], 600, into=plate)
    cells = [str(child.cell) for child in children]
    f.move(
        programme.lead,
        [
            {"ramet": child.code, "cell": cell}
            for child, cell in zip(children, cells[1:] + cells[:1], strict=True)
        ],
        structure=plate.code,
    )
    moved = Ramet.objects.filter(fragmentation=children[0].fragmentation).order_by("number")
    assert [str(ramet.cell) for ramet in moved] == cells[1:] + cells[:1]


def test_a_ramet_may_stay_where_it_is(programme: f.Programme, children: list[Ramet]) -> None:
    f.move(
        programme.lead,
        [{"ramet": children[0].code, "cell": "A1"}],
        structure=programme.plate.code,
    )
    assert where(children[0]) == f"{programme.plate.code} A1"


def test_a_cell_that_nobody_leaves_is_taken(programme: f.Programme, children: list[Ramet]) -> None:
    with refused("cell_occupied", pointer="#/ramets/0/cell"):
        f.move(
            programme.lead,
            [{"ramet": children[0].code, "cell": "B1"}],
            structure=programme.plate.code,
        )


def test_two_ramets_do_not_move_into_one_cell(
    programme: f.Programme, children: list[Ramet]
) -> None:
    with refused("cell_twice", pointer="#/ramets/1/cell"):
        f.move(
            programme.lead,
            [{"ramet": child.code, "cell": "D4"} for child in children[:2]],
            structure=programme.plate.code,
        )


def test_packing_takes_ramets_out_of_their_cells(
    programme: f.Programme, children: list[Ramet]
) -> None:
    f.move(programme.lead, [{"ramet": child.code} for child in children], packed=True)
    assert {where(child) for child in children} == {"packed"}
    again = f.cut(programme.lead, [children[0]], into=programme.plate)[0]
    assert str(again.cell) == "A1"


def test_packed_ramets_are_placed_again(programme: f.Programme, children: list[Ramet]) -> None:
    f.move(programme.lead, [{"ramet": children[0].code}], packed=True)
    f.move(programme.lead, [{"ramet": children[0].code}], structure=programme.tray.code)
    assert where(children[0]) == f"{programme.tray.code} None"


def test_each_move_is_one_step_with_the_whole_place(
    programme: f.Programme, children: list[Ramet]
) -> None:
    f.move(programme.lead, [{"ramet": children[0].code}], structure=programme.tray.code)
    step = Step.objects.filter(ramet=children[0]).order_by("-order")[0]
    assert (step.order, step.what, step.life, step.place) == (
        2,
        What.PLACED,
        None,
        Place.STRUCTURE,
    )
    assert (step.structure_id, step.row, step.column) == (programme.tray.pk, None, None)


@pytest.mark.parametrize("packed", [False, True])
def test_an_outplant_is_not_moved_or_packed(programme: f.Programme, packed: bool) -> None:
    outplant = programme.outplants()[0]
    values: dict[str, Any] = {"packed": True} if packed else {"structure": programme.tray.code}
    with refused("still_planted", pointer="#/ramets/0/ramet") as caught:
        f.move(programme.lead, [{"ramet": outplant.code}], when="2021-07-01", **values)
    assert "1 June 2021" in caught.value.problems[0].message


@pytest.mark.parametrize("packed", [False, True])
def test_a_ramet_that_was_used_up_is_not_moved_or_packed(
    programme: f.Programme, packed: bool
) -> None:
    mother = programme.mother()
    f.cut(programme.lead, [], used_up=[mother])
    values: dict[str, Any] = {"packed": True} if packed else {"structure": programme.tray.code}
    with refused("not_living", pointer="#/ramets/0/ramet"):
        f.move(programme.lead, [{"ramet": mother.code}], **values)


@pytest.mark.parametrize(
    ("values", "codes"),
    [
        ({}, ["where_to"]),
        ({"packed": True, "structure": "T"}, ["packed_or_placed"]),
        ({"ramets": []}, ["too_few"]),
        ({"structure": "NONE"}, ["unknown_structure"]),
        ({"when": "2021-02-28", "packed": True}, ["before_fragmentation"] * 3),
        ({"packed": "perhaps"}, ["not_yes_or_no"]),
    ],
    ids=str,
)
def test_a_move_that_makes_no_sense_is_refused(
    programme: f.Programme, children: list[Ramet], values: dict[str, Any], codes: list[str]
) -> None:
    rows = [{"ramet": child.code} for child in children]
    with refused(*codes):
        f.move(programme.lead, rows, **values)


def test_a_move_in_which_a_ramet_is_named_twice_is_refused(
    programme: f.Programme, children: list[Ramet]
) -> None:
    first = children[0]
    for second_name in (first.code, first.code.lower(), f"{programme.plate.code} A1"):
        with refused("named_twice", pointer="#/ramets/1/ramet"):
            f.move(
                programme.lead,
                [{"ramet": first.code}, {"ramet": second_name}],
                structure=programme.tray.code,
            )


def test_one_place_written_in_two_ways_is_named_twice(
    programme: f.Programme, children: list[Ramet]
) -> None:
    names = [f"{programme.plate.code} A1", f"{programme.plate.code.lower()} a01"]
    with refused("named_twice", pointer="#/ramets/1/ramet"):
        f.move(programme.lead, [{"ramet": name} for name in names], structure=programme.tray.code)


def test_more_than_a_thousand_ramets_are_refused(
    programme: f.Programme, children: list[Ramet]
) -> None:
    with refused("too_many", pointer="#/ramets"):
        f.move(programme.lead, [{"ramet": children[0].code}] * 1001, packed=True)
