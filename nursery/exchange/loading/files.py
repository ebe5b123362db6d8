"""Which files there are and which columns they have: read off the registers and the inputs.

A register's columns are the fields that people may set; an event's are the fields of its input.
Nothing is listed here a second time, so a new field is a new column at once. Each list of rows in
an input (the children of a cutting) is a file of its own, whose column `event` names the event.
"""

from __future__ import annotations

import typing
import uuid
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import cache
from typing import Annotated, Any, get_args, get_origin

from django.db import models

from nursery.core.actor import Actor
from nursery.core.inputs import EventIn, Given
from nursery.core.models import EventKind, Register
from nursery.core.recording import Recorded
from nursery.core.registers import create, edit, editable_fields
from nursery.donors.actions import POSITION, enter_colony
from nursery.donors.models import DonorColony, Genet, Permit, Taxon
from nursery.genotyping.actions import take_samples
from nursery.genotyping.inputs import SamplingIn
from nursery.genotyping.models import Panel
from nursery.husbandry.actions import check
from nursery.husbandry.inputs import CheckIn
from nursery.lineage.actions import (
    collect,
    count_structures,
    cut,
    end_ramets,
    enter_stock,
    identify,
    lose_structures,
    merge_genets,
    move,
    move_structures,
    relabel,
    retag,
    take_in,
)
from nursery.lineage.inputs import (
    CollectionIn,
    CountIn,
    EndingIn,
    FragmentationIn,
    GenetMergeIn,
    IdentificationIn,
    IntakeIn,
    LossIn,
    MoveIn,
    RelabellingIn,
    StandingIn,
    StockEntryIn,
    StructureMoveIn,
    TaggingIn,
)
from nursery.outplanting.actions import lift, plant, visit
from nursery.outplanting.actions.correct import Outcome, amend, void
from nursery.outplanting.corrections import AmendIn, VoidIn
from nursery.outplanting.inputs import LiftIn, OutplantingIn, VisitIn
from nursery.places.actions import enter_nursery, enter_structure
from nursery.places.models import Bay, Nursery, Plot, Reef, Site, Structure, System

EVENT = "event"
"""The column that names an event: in its own file, and in the files of its rows."""

SINCE = "since"
"""The column of the structures' file that says from when on one has stood where it stands."""

NAMED_EVENTS = {"collection": EventKind.COLLECTION, "lot": EventKind.FRAGMENTATION}
"""Columns that name an event of one kind, as its own file does."""

SEPARATOR = ";"
"""What stands between several values in one cell."""

EnterRow = Callable[[Actor, Mapping[str, Any], Any], Register]


@dataclass(frozen=True, slots=True)
class RegisterFile:
    """A file of things that exist, and how one of its rows is entered or edited."""

    stem: str
    model: type[Register]
    enter: EnterRow
    besides: tuple[str, ...] = ()
    """Columns that are no fields of the register itself, but belong to entering a row."""

    @property
    def columns(self) -> tuple[str, ...]:
        return (*editable_fields(self.model), *self.besides, *self.standing)

    @property
    def standing(self) -> tuple[str, ...]:
        """Columns that say where a structure stands, which is an event."""
        if self.model is not Structure:
            return ()
        return (SINCE, *(name for name in StandingIn.model_fields if name != "structure"))

    @property
    def required(self) -> tuple[str, ...]:
        """Columns that must be there. A colony without a genet gets a presumed one of its own."""
        found = editable_fields(self.model).items()
        needed = [name for name, item in found if not _may_be_empty(item)]
        return tuple(n for n in needed if not (self.model is DonorColony and n == "genet"))


class HeadedFile:
    """A file whose column `event` names an event, with the files of its rows."""

    __slots__ = ()

    stem: str
    model: type[Given]
    rows: Mapping[str, str]
    """The stem of the file that holds each list of rows of the input."""

    @property
    def columns(self) -> tuple[str, ...]:
        fields = self.model.model_fields
        return (EVENT, *(n for n in fields if n not in self.rows and n not in ("uid", EVENT)))

    @property
    def required(self) -> tuple[str, ...]:
        return (EVENT, *(n for n in self.columns[1:] if self.model.model_fields[n].is_required()))

    def row_model(self, name: str) -> type[Given]:
        """The input of one row of a list."""
        found = row_model(self.model, name)
        if found is None:
            raise TypeError(f"{self.model.__name__}.{name} is no list of rows")
        return found

    def row_columns(self, name: str) -> tuple[str, ...]:
        return (EVENT, *self.row_model(name).model_fields)

    def row_required(self, name: str) -> tuple[str, ...]:
        fields = self.row_model(name).model_fields
        return (EVENT, *(name for name, info in fields.items() if info.is_required()))


@dataclass(frozen=True, slots=True)
class EventFile(HeadedFile):
    """A file of things that happened."""

    stem: str
    kind: EventKind
    model: type[EventIn]
    act: Callable[[Actor, Any], Recorded]
    rows: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class CorrectionFile(HeadedFile):
    """A file of corrections of events: of those in other files, or on record already."""

    stem: str
    model: type[Given]
    act: Callable[[Actor, Any, bool, uuid.UUID], Outcome]
    """Corrects as the input says, known by a UUID from then on; with True only as a preview."""
    rows: Mapping[str, str] = field(default_factory=dict)


def _register(model: type[Register]) -> EnterRow:
    def enter(actor: Actor, given: Mapping[str, Any], row: Any) -> Register:
        return create(actor, model, given) if row is None else edit(actor, row, given)

    return enter


def _structure(actor: Actor, given: Mapping[str, Any], row: Any) -> Register:
    return enter_structure(actor, given, None) if row is None else edit(actor, row, given)


REGISTERS: tuple[RegisterFile, ...] = (
    RegisterFile("reefs", Reef, _register(Reef)),
    RegisterFile("nurseries", Nursery, enter_nursery, ("series",)),
    RegisterFile("systems", System, _register(System)),
    RegisterFile("bays", Bay, _register(Bay)),
    RegisterFile("structures", Structure, _structure),
    RegisterFile("sites", Site, _register(Site)),
    RegisterFile("plots", Plot, _register(Plot)),
    RegisterFile("taxa", Taxon, _register(Taxon)),
    RegisterFile("permits", Permit, _register(Permit)),
    RegisterFile("genets", Genet, _register(Genet)),
    RegisterFile("colonies", DonorColony, enter_colony, POSITION),
    RegisterFile("panels", Panel, _register(Panel)),
)
"""In an order in which nothing names what comes later."""

EVENTS: tuple[EventFile, ...] = (
    EventFile(
        "structure_moves",
        EventKind.STRUCTURE_MOVE,
        StructureMoveIn,
        move_structures,
        {"structures": "moved_structures"},
    ),
    EventFile(
        "stock_entries",
        EventKind.STOCK_ENTRY,
        StockEntryIn,
        enter_stock,
        {"ramets": "legacy_ramets"},
    ),
    EventFile(
        "collections",
        EventKind.COLLECTION,
        CollectionIn,
        collect,
        {"pieces": "collection_pieces"},
    ),
    EventFile("intakes", EventKind.INTAKE, IntakeIn, take_in, {"pieces": "intake_pieces"}),
    EventFile("lifts", EventKind.LIFT, LiftIn, lift, {"ramets": "lifted_ramets"}),
    EventFile(
        "fragmentations",
        EventKind.FRAGMENTATION,
        FragmentationIn,
        cut,
        {"sources": "fragmentation_sources", "children": "fragmentation_children"},
    ),
    EventFile("taggings", EventKind.TAGGING, TaggingIn, retag, {"ramets": "retagged_ramets"}),
    EventFile(
        "relabellings",
        EventKind.RELABELLING,
        RelabellingIn,
        relabel,
        {"ramets": "relabelled_ramets"},
    ),
    EventFile("genet_merges", EventKind.GENET_MERGE, GenetMergeIn, merge_genets),
    EventFile(
        "identifications",
        EventKind.IDENTIFICATION,
        IdentificationIn,
        identify,
        {"ramets": "identified_ramets"},
    ),
    EventFile("moves", EventKind.MOVE, MoveIn, move, {"ramets": "moved_ramets"}),
    EventFile(
        "outplantings",
        EventKind.OUTPLANTING,
        OutplantingIn,
        plant,
        {"outplants": "outplants", "structures": "planted_structures"},
    ),
    EventFile(
        "visits",
        EventKind.VISIT,
        VisitIn,
        visit,
        {"observations": "observations", "counts": "plot_counts"},
    ),
    EventFile("checks", EventKind.CHECK, CheckIn, check, {"findings": "findings"}),
    EventFile("samplings", EventKind.SAMPLING, SamplingIn, take_samples, {"samples": "samples"}),
    EventFile(
        "counts", EventKind.COUNT, CountIn, count_structures, {"counts": "counted_structures"}
    ),
    EventFile("endings", EventKind.ENDING, EndingIn, end_ramets, {"ramets": "ended_ramets"}),
    EventFile(
        "structure_losses",
        EventKind.STRUCTURE_LOSS,
        LossIn,
        lose_structures,
        {"structures": "lost_structures"},
    ),
)
"""In the order in which what happened on one day is taken, where no time is given."""

CORRECTIONS: tuple[CorrectionFile, ...] = (
    CorrectionFile("voids", VoidIn, void),
    CorrectionFile("amendments", AmendIn, amend, {"sources": "amended_sources"}),
)
"""In the order in which they are carried out, after all events: what did not happen goes first, and
may have been in the way of what happened otherwise."""

STEMS: frozenset[str] = frozenset(
    [
        *(item.stem for item in REGISTERS),
        *(item.stem for item in EVENTS),
        *(item.stem for item in CORRECTIONS),
        *(stem for item in (*EVENTS, *CORRECTIONS) for stem in item.rows.values()),
    ]
)
"""The names of all files, without `.csv`."""


@cache
def is_list(model: type[Given], name: str) -> bool:
    """Whether a field holds several values."""
    return get_origin(bare(hint(model, name))) is tuple


@cache
def row_model(model: type[Given], name: str) -> type[Given] | None:
    """The model of a field's items where it is a list of rows, else None."""
    whole = bare(hint(model, name))
    if get_origin(whole) is not tuple:
        return None
    item = get_args(whole)[0]
    return item if isinstance(item, type) and issubclass(item, Given) else None


@cache
def hint(model: type[Given], name: str) -> Any:
    """A field's type as it is written, with its rules, less the `| None` of an optional one."""
    found = typing.get_type_hints(model, include_extras=True)[name]
    parts = [part for part in get_args(found) if part is not type(None)]
    return parts[0] if len(parts) == 1 and type(None) in get_args(found) else found


def bare(found: Any) -> Any:
    """A type without its rules."""
    return get_args(found)[0] if get_origin(found) is Annotated else found


def _may_be_empty(item: models.Field[Any, Any] | models.ManyToManyField[Any, Any]) -> bool:
    return item.blank or item.null or item.many_to_many or item.has_default()
