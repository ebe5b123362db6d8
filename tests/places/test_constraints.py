"""What the database itself refuses of places, whoever writes past the actions."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import pytest
from django.db import IntegrityError, transaction

from nursery.places.models import (
    Bay,
    Nursery,
    Plot,
    Reef,
    Site,
    Structure,
    StructureStep,
    System,
)
from tests import factories as f


@contextmanager
def breaks(constraint: str) -> Iterator[None]:
    with pytest.raises(IntegrityError) as caught, transaction.atomic():
        yield
    text = str(caught.value)
    assert constraint in text or "UNIQUE constraint failed" in text, text


def changed(row: Structure, **values: Any) -> None:
    Structure.objects.filter(pk=row.pk).update(**values)


@pytest.fixture
def rock(programme: f.Programme) -> Structure:
    """A rock in A1 of the plate."""
    rock = f.structure(programme.lead, kind="rock", rows=1, columns=3)
    row = {"structure": rock.code, "parent": programme.plate.code, "cell": "A1"}
    f.move_structures(programme.lead, [row])
    return Structure.objects.get(pk=rock.pk)


@pytest.mark.parametrize(
    ("model", "constraint"),
    [
        (Reef, "places_reef_code"),
        (Nursery, "places_nursery_code"),
        (System, "places_system_code"),
        (Bay, "places_bay_code"),
        (Structure, "places_structure_code"),
        (Site, "places_site_code"),
        (Plot, "places_plot_code"),
    ],
    ids=str,
)
def test_no_two_rows_of_a_register_have_one_code(
    programme: f.Programme, model: Any, constraint: str
) -> None:
    row = model.objects.all()[0]
    row.pk = None
    row._state.adding = True
    with breaks(constraint):
        row.save(force_insert=True)


@pytest.mark.parametrize(
    "values",
    [
        {"rows": None},
        {"columns": None},
        {"rows": 0},
        {"columns": 0},
        {"rows": 41},
        {"columns": 41},
    ],
    ids=str,
)
def test_a_structure_is_a_grid_or_open(programme: f.Programme, values: dict[str, Any]) -> None:
    with breaks("places_structure_grid_or_open"):
        changed(programme.plate, **values)


def test_an_open_structure_has_neither_rows_nor_columns(programme: f.Programme) -> None:
    for values in ({"rows": 3}, {"columns": 3}):
        with breaks("places_structure_grid_or_open"):
            changed(programme.tray, **values)


def test_a_structure_stands_in_one_place(programme: f.Programme, rock: Structure) -> None:
    for row, values in (
        (programme.plate, {"plot": programme.plot}),
        (programme.plate, {"parent": rock}),
        (rock, {"bay": programme.bay}),
        (rock, {"plot": programme.plot}),
    ):
        with breaks("places_structure_one_place"):
            changed(row, **values)


def test_a_cell_is_one_of_a_parent(programme: f.Programme, rock: Structure) -> None:
    with breaks("places_structure_cell_of_parent"):
        changed(programme.plate, parent_row=1, parent_column=1)
    for values in ({"parent_row": None}, {"parent_column": None}):
        with breaks("places_structure_cell_of_parent"):
            changed(rock, **values)


def test_a_cell_holds_one_structure(programme: f.Programme, rock: Structure) -> None:
    other = f.structure(programme.lead)
    with breaks("places_structure_one_a_cell"):
        changed(other, parent=programme.plate, parent_row=1, parent_column=1)


def test_live_steps_of_a_structure_have_each_an_order_of_its_own(rock: Structure) -> None:
    step = StructureStep.objects.get(structure=rock)
    other = f.move_structures(
        f.lead(), [{"structure": f.tray(f.lead()).code, "parent": rock.code, "cell": "A1"}]
    )
    with breaks("places_structurestep_sequence"):
        StructureStep.objects.create(event=other, structure=rock, order=step.order)


def test_a_structure_moves_once_in_an_event(rock: Structure) -> None:
    step = StructureStep.objects.get(structure=rock)
    with breaks("places_structurestep_once_an_event"):
        StructureStep.objects.create(event=step.event, structure=rock, order=step.order + 1)
