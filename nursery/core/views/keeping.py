"""How each register is entered and edited by people: one table for pages and back office."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from django.urls import reverse

from nursery.core.actor import Actor
from nursery.core.errors import Problem, Refused
from nursery.core.models import Register
from nursery.core.registers import create, edit, editable_fields
from nursery.donors.actions import POSITION, enter_colony
from nursery.donors.models import DonorColony, Genet, Permit, Taxon
from nursery.genotyping.models import Panel, Sample
from nursery.lineage.actions import edit_structure
from nursery.places.actions import enter_nursery, enter_structure
from nursery.places.models import Bay, Nursery, Plot, Reef, Site, Structure, System

REGISTERS: Mapping[str, type[Register]] = {
    "bays": Bay,
    "colonies": DonorColony,
    "genets": Genet,
    "nurseries": Nursery,
    "panels": Panel,
    "permits": Permit,
    "plots": Plot,
    "reefs": Reef,
    "samples": Sample,
    "sites": Site,
    "structures": Structure,
    "systems": System,
    "taxa": Taxon,
}
"""The registers by the name of their list."""

BESIDES: Mapping[type[Register], tuple[str, ...]] = {DonorColony: POSITION, Nursery: ("series",)}
"""What is entered with a row and is no field of its own."""

Keep = Callable[[Actor, Mapping[str, Any], Any, int | None], Register]


def _structure(
    actor: Actor, given: Mapping[str, Any], row: Structure | None, seen: int | None
) -> Register:
    if row is None:
        return enter_structure(actor, given, None)
    return edit_structure(actor, row, given, seen)


def _sample(
    actor: Actor, given: Mapping[str, Any], row: Sample | None, seen: int | None
) -> Register:
    if row is None:
        message = "A sample comes into the record by its sampling: enter that."
        raise Refused(Problem("by_its_sampling", message))
    return edit(actor, row, given, seen)


_ACTIONS: Mapping[type[Register], Keep] = {
    DonorColony: enter_colony,
    Nursery: enter_nursery,
    Sample: _sample,
    Structure: _structure,
}


def keep(
    actor: Actor,
    model: type[Register],
    given: Mapping[str, Any],
    row: Register | None,
    seen_version: int | None,
) -> Register:
    """Enter a row (`row` is None), or edit one as somebody saw it at that version.

    Raises what the register's action raises, Conflict (`edited_meanwhile`) among it.
    """
    action = _ACTIONS.get(model)
    if action is not None:
        return action(actor, given, row, seen_version)
    if row is None:
        return create(actor, model, given)
    return edit(actor, row, given, seen_version)


def fields_of(model: type[Register]) -> list[str]:
    """The names of all that a person may fill in of a register."""
    return [*editable_fields(model), *BESIDES.get(model, ())]


def name_of(model: type[Register]) -> str:
    """The name of a register's list, as it stands in addresses."""
    return next(name for name, each in REGISTERS.items() if each is model)


def may_keep(actor: Actor, model: type[Register]) -> bool:
    """Whether it makes sense to offer the form: the action itself decides."""
    return actor.leads or actor.has(*model.WRITERS)


def way_to_form(actor: Actor, row: Register) -> str:
    """The address of a row's form for those who may fill it in; else an empty text."""
    model = type(row)
    return reverse("edit", args=[name_of(model), row.code]) if may_keep(actor, model) else ""
