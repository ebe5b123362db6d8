"""Programmes made up by chance, told in plain values, entered through the actions in any order, and
reckoned beside them with plain dictionaries and networkx.

A programme is a list of doings, each on a day of its own, all of them possible in the order of
their days. Every ramet brings its code, so that a doing means the same whenever it is entered.
"""

from __future__ import annotations

import random
import uuid
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, timedelta
from typing import Any

import networkx as nx  # type: ignore[import-untyped]

from nursery.core.codes import next_codes
from nursery.core.errors import Trouble
from nursery.core.inputs import read
from nursery.core.models import Event
from nursery.donors.models import DonorColony, DonorSetMember, Genet
from nursery.husbandry import actions as husbandry
from nursery.husbandry.inputs import CheckIn
from nursery.lineage import actions as lineage
from nursery.lineage import inputs as given_to
from nursery.lineage.models import Ramet
from nursery.lineage.words import Life, Place
from nursery.outplanting import actions as reef
from nursery.outplanting import inputs as given_on_reef
from nursery.places.cells import Cell
from tests import factories as f

START = date(2021, 1, 1)
CELLS = ("A1", "B1", "C1")
"""Few, so that they are fought over."""

Where = tuple[str, str]
"""Structure and cell ("" in an open one), or a kind of place and what is of it."""


@dataclass(frozen=True)
class Doing:
    """One thing that happened on a day: what, and the input of its action without the date."""

    day: float
    kind: str
    values: dict[str, Any]
    uid: uuid.UUID = field(default_factory=uuid.uuid4)

    @property
    def when(self) -> str:
        """The day, and noon of it where it stands between two days."""
        day = (START + timedelta(days=int(self.day // 1))).isoformat()
        return f"{day}T12:00" if self.day % 1 else day

    def moved(self, days: float) -> Doing:
        """The same on another day."""
        return replace(self, day=self.day + days)

    @property
    def given(self) -> dict[str, Any]:
        return {**self.values, "uid": str(self.uid), "when": self.when}


@dataclass(frozen=True)
class Piece:
    """What this reckoning knows of a ramet at a moment."""

    life: str
    where: Where
    mothers: tuple[str, ...]
    wild: str | None
    generation: int | None
    label: str | None = None
    """The genet of the last relabelling."""


Pieces = dict[str, Piece]


@dataclass(frozen=True)
class Stage:
    """Where a programme takes place."""

    programme: f.Programme
    colonies: tuple[DonorColony, ...]
    genets: tuple[Genet, ...]

    @property
    def colony_codes(self) -> list[str]:
        return [colony.code for colony in self.colonies]


def stage(programme: f.Programme) -> Stage:
    """Three colonies, two of them of one genet, and a genet besides."""
    p = programme
    other = f.colony(p.lead, p.taxon, p.reef)
    twin = f.colony(p.lead, p.taxon, p.reef, genet=p.colony.genet.code)
    return Stage(
        p, (p.colony, other, twin), (p.colony.genet, other.genet, f.genet(p.lead, p.taxon))
    )


def act_of(doing: Doing) -> tuple[Any, Any]:
    """The action of a doing and the input that it takes."""
    return {
        "collect": (lineage.collect, given_to.CollectionIn),
        "cut": (lineage.cut, given_to.FragmentationIn),
        "move": (lineage.move, given_to.MoveIn),
        "relabel": (lineage.relabel, given_to.RelabellingIn),
        "end": (lineage.end_ramets, given_to.EndingIn),
        "plant": (reef.plant, given_on_reef.OutplantingIn),
        "lift": (reef.lift, given_on_reef.LiftIn),
        "visit": (reef.visit, given_on_reef.VisitIn),
        "check": (husbandry.check, CheckIn),
    }[doing.kind]


def enter(place: Stage, doing: Doing) -> Event:
    """Enter a doing; raises what its action raises."""
    act, model = act_of(doing)
    event: Event = act(place.programme.lead, read(model, doing.given)).event
    return event


def enter_all(place: Stage, doings: Sequence[Doing]) -> list[Doing]:
    """Enter doings in the order given, those that were refused again and again as long as another
    one was taken meanwhile; returns those that were taken, by their days."""
    waiting, taken = list(doings), []
    while waiting:
        left = []
        for doing in waiting:
            try:
                enter(place, doing)
            except Trouble:
                left.append(doing)
            else:
                taken.append(doing)
        if len(left) == len(waiting):
            break
        waiting = left
    return sorted(taken, key=lambda doing: doing.day)


# What is possible, made up by chance


class Writer:
    """Makes up doings, each possible after those before it."""

    def __init__(self, place: Stage, seed: int, simple: bool = False) -> None:
        """`simple`: no cells, and nothing that is lifted."""
        self.stage, self.rng, self.simple = place, random.Random(seed), simple
        self.cells = () if simple else CELLS
        self.pieces: Pieces = {}
        self.codes = iter(next_codes("W", 1000, 400)[0])
        self.doings: list[Doing] = []

    def write(self, count: int) -> list[Doing]:
        makers = [self._collect, self._cut, self._cut, self._move, self._move, self._relabel]
        makers += [self._end, self._plant, self._plant, self._visit, self._check, self._check]
        makers += [] if self.simple else [self._lift]
        for day in range(count):
            maker = self._collect if not self.pieces else self.rng.choice(makers)
            found = maker()
            if found is not None:
                doing = Doing(day, *found)
                self.doings.append(doing)
                apply(self.stage, self.pieces, doing)
        return self.doings

    def _living(self, *kinds: str) -> list[str]:
        found = [code for code, row in self.pieces.items() if row.life == "living"]
        if kinds:
            found = [code for code in found if self.pieces[code].where[0] in kinds]
        return found

    def _some(self, codes: Sequence[str], most: int = 2) -> list[str]:
        return self.rng.sample(list(codes), min(len(codes), self.rng.randint(1, most)))

    def _free(self) -> list[str]:
        plate = self.stage.programme.plate.code
        taken = {
            row.where[1]
            for row in self.pieces.values()
            if row.life == "living" and row.where[0] == plate
        }
        return [cell for cell in self.cells if cell not in taken]

    def _place(self, free: list[str]) -> dict[str, Any]:
        """A cell of the plate where one is free, or the tray."""
        p = self.stage.programme
        if free and self.rng.random() < 0.6:
            return {"structure": p.plate.code, "cell": free.pop(self.rng.randrange(len(free)))}
        return {"structure": p.tray.code}

    def _collect(self) -> tuple[str, dict[str, Any]]:
        pieces = [{"code": next(self.codes)} for _ in range(self.rng.randint(1, 2))]
        colony = self.rng.choice(self.stage.colonies).code
        return "collect", {"colony": colony, "pieces": pieces}

    def _cut(self) -> tuple[str, dict[str, Any]] | None:
        mothers = self._some(self._living()) if self._living() else []
        if not mothers:
            return None
        free = self._free()
        children = []
        for _ in range(self.rng.randint(1, 2)):
            child: dict[str, Any] = {"code": next(self.codes)}
            if self.rng.random() < 0.8:
                child |= self._place(free)
            children.append(child)
        sources = [{"ramet": code, "used_up": self.rng.random() < 0.3} for code in mothers]
        return "cut", {"sources": sources, "children": children}

    def _move(self) -> tuple[str, dict[str, Any]] | None:
        p = self.stage.programme
        movable = self._living("packed", "nowhere", p.plate.code, p.tray.code)
        if not movable:
            return None
        chosen = self._some(movable)
        if self.rng.random() < 0.2:
            return "move", {"packed": True, "ramets": [{"ramet": code} for code in chosen]}
        free = self._free()
        return "move", {"ramets": [{"ramet": code, **self._place(free)} for code in chosen]}

    def _relabel(self) -> tuple[str, dict[str, Any]]:
        genet = self.rng.choice(self.stage.genets).code
        return "relabel", {
            "genet": genet,
            "ramets": [{"ramet": code} for code in self._some(list(self.pieces))],
        }

    def _end(self) -> tuple[str, dict[str, Any]] | None:
        living = self._living()
        if not living:
            return None
        fate = self.rng.choice(["dead", "lost", "discarded"])
        return "end", {"ramets": [{"ramet": code, "fate": fate} for code in self._some(living)]}

    def _plant(self) -> tuple[str, dict[str, Any]] | None:
        p = self.stage.programme
        ready = self._living("packed", "nowhere", p.plate.code, p.tray.code)
        if not ready:
            return None
        rows = [{"ramet": code} for code in self._some(ready)]
        return "plant", {"plot": p.plot.code, "outplants": rows}

    def _lift(self) -> tuple[str, dict[str, Any]] | None:
        planted = self._living("plot")
        if not planted:
            return None
        free = self._free()
        rows = [{"ramet": code, **self._place(free)} for code in self._some(planted)]
        return "lift", {"ramets": rows}

    def _visit(self) -> tuple[str, dict[str, Any]] | None:
        seen = [code for code, row in self.pieces.items() if row.where[0] == "plot"]
        if not seen:
            return None
        rows = [
            {"ramet": code, "condition": self.rng.choice(["alive", "alive", "dead", "missing"])}
            for code in self._some(seen)
        ]
        return "visit", {"site": self.stage.programme.site.code, "observations": rows}

    def _check(self) -> tuple[str, dict[str, Any]] | None:
        """Nothing that had gone from a cell is seen alive: whether the cell is still its own is
        settled when that is entered, not reckoned anew from what else is taken."""
        p = self.stage.programme
        homes = (p.plate.code, p.tray.code)
        seen = [code for code, row in self.pieces.items() if row.where[0] in homes]
        if not seen:
            return None
        rows = []
        for code in self._some(seen):
            row = self.pieces[code]
            alive = row.life == "living" or not row.where[1]
            states = ["attached", "loose"] * alive + ["dead", "missing"]
            rows.append({"ramet": code, "state": self.rng.choice(states)})
        return "check", {"findings": rows}


# The reckoning


def reckoned(place: Stage, doings: Iterable[Doing]) -> dict[str, tuple[Any, ...]]:
    """What every ramet is after these doings, in the order of their days: life, place, genet,
    donors, generation. Genets and donors by networkx, over the graph of cuttings."""
    pieces: Pieces = {}
    for doing in sorted(doings, key=lambda doing: doing.day):
        apply(place, pieces, doing)
    graph = nx.DiGraph()
    graph.add_nodes_from(pieces)
    graph.add_edges_from((mother, code) for code, row in pieces.items() for mother in row.mothers)
    of_colony = {colony.code: colony.genet.code for colony in place.colonies}
    genets: dict[str, str | None] = {}
    for code in nx.topological_sort(graph):
        row = pieces[code]
        above = {genets[mother] for mother in row.mothers}
        inherited = of_colony[row.wild] if row.wild else (above.pop() if len(above) == 1 else None)
        genets[code] = row.label or inherited
    return {
        code: (
            row.life,
            _told(row.where),
            genets[code],
            frozenset(
                wild for up in nx.ancestors(graph, code) | {code} if (wild := pieces[up].wild)
            ),
            row.generation,
        )
        for code, row in pieces.items()
    }


def apply(place: Stage, pieces: Pieces, doing: Doing) -> None:
    """What a doing makes of the pieces, by the words of its input alone. What is done to a ramet
    shows that it lived, whatever had been seen."""
    values = doing.values
    match doing.kind:
        case "collect":
            for row in values["pieces"]:
                pieces[row["code"]] = Piece("living", ("packed", ""), (), values["colony"], 0)
        case "cut":
            mothers = tuple(row["ramet"] for row in values["sources"])
            aboard = all(pieces[code].where[0] == "packed" for code in mothers)
            for row in values["sources"]:
                if row["used_up"]:
                    code = row["ramet"]
                    pieces[code] = replace(pieces[code], life="used up", where=("nowhere", ""))
                else:
                    pieces[row["ramet"]] = replace(pieces[row["ramet"]], life="living")
            for row in values["children"]:
                where = _where(row, "packed" if aboard else "nowhere")
                generation = max(pieces[code].generation or 0 for code in mothers) + 1
                pieces[row["code"]] = Piece("living", where, mothers, None, generation)
        case "move" | "lift":
            for row in values["ramets"]:
                code = row["ramet"]
                where = _where(row, "packed")
                pieces[code] = replace(pieces[code], where=where, life="living")
        case "relabel":
            for row in values["ramets"]:
                pieces[row["ramet"]] = replace(pieces[row["ramet"]], label=values["genet"])
        case "end":
            for row in values["ramets"]:
                pieces[row["ramet"]] = replace(pieces[row["ramet"]], life=row["fate"])
        case "plant":
            for row in values["outplants"]:
                code = row["ramet"]
                where = ("plot", values["plot"])
                pieces[code] = replace(pieces[code], where=where, life="living")
        case "visit":
            lives = {"alive": "living", "dead": "dead", "missing": "lost"}
            for row in values["observations"]:
                code = row["ramet"]
                pieces[code] = replace(pieces[code], life=lives[row["condition"]])
        case "check":
            found = {"attached": "living", "loose": "living", "dead": "dead", "missing": "lost"}
            for row in values["findings"]:
                code = row["ramet"]
                pieces[code] = replace(pieces[code], life=found[row["state"]])


def _where(row: dict[str, Any], otherwise: str) -> Where:
    if "structure" not in row:
        return otherwise, ""
    return row["structure"], row.get("cell", "")


def _told(where: Where) -> Where:
    """Packed or nowhere, of a ramet that has been in no place since it was cut, is not told apart:
    it is packed if its mothers were when the cutting was entered."""
    return ("no place", "") if where[0] in ("packed", "nowhere") else where


def on_record() -> dict[str, tuple[Any, ...]]:
    """What the record says every ramet is, in the same words."""
    donors: dict[int, set[str]] = {}
    for pk, code in DonorSetMember.objects.values_list("donor_set", "colony__code"):
        donors.setdefault(pk, set()).add(code)
    rows = Ramet.objects.select_related("structure", "plot", "genet")
    return {
        row.code: (
            Life(row.life).label,
            _told(_stands(row)),
            row.genet.code if row.genet is not None else None,
            frozenset(donors.get(row.donor_set_id or 0, ())),
            row.generation,
        )
        for row in rows
    }


def _stands(row: Ramet) -> Where:
    if row.structure is not None:
        cell = Cell(row.row, row.column).name if row.row and row.column else ""
        return row.structure.code, cell
    if row.plot is not None:
        return "plot", row.plot.code
    return Place(row.place).label, ""
