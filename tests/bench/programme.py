"""A synthetic programme, straight into the tables: years of collecting, cutting (25 generations,
some of it pooled), moving, planting and looking again, with every cache as the actions would leave
it. Only for measuring; nothing here is a record of anything.

Every entry of one ramet or one structure's cells is on a day of its own, so that an event's moment
is the beginning of its day.
"""

from __future__ import annotations

import random
import uuid
from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass, field
from datetime import UTC, date, datetime, timedelta
from typing import Any

from django.db import connection, transaction

from nursery.access.models import Membership
from nursery.core.actor import Role
from nursery.core.codes import check_character
from nursery.core.models import CodeSeries, Event, EventKind, User
from nursery.donors.models import Collection, DonorColony, DonorSet, DonorSetMember, Genet, Taxon
from nursery.donors.sets import key_of
from nursery.lineage.models import Fragmentation, Intake, Ramet, Source, Step
from nursery.lineage.words import Cause, Life, Origin, Place, What
from nursery.outplanting.models import Condition, Observation, Outplant, Outplanting, Visit
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
from tests.bench.tables import Table, after_filling, bare_tables

FIRST_DAY = date(2015, 1, 1)
GENERATIONS = 25
PIECES = 5
"""Pieces of one collection."""
POOLED = 0.02
USED_UP = 0.02
ON_PLATES = 0.4
"""The share of cuttings that fill a plate; the others go into open trays."""
PLACED_LATER = 0.4
"""The share of cuttings whose children are placed on the next day, by an entry of its own."""
PLANTED = 0.25
LARGEST_SITE = 0.21
LOOKED_AT = 0.4
ROUND_DAYS = 100
CUT_WITHIN = 60
NURSERIES = 6
PLOTS_A_SITE = 3
BLOCKED = ["A1", "K1", "A11", "K11"]
CELLS = [
    (row, column)
    for row in range(1, 12)
    for column in range(1, 12)
    if not (row in (1, 11) and column in (1, 11))
]
"""The cells of a plate in filling order: 117."""
AN_ENTRY = 1000
"""The most ramets of one entry."""


@dataclass(slots=True)
class Programme:
    """What was made, and where to look."""

    user: int
    site: str
    largest_site: int
    shallow: list[str] = field(default_factory=list)
    deepest: list[str] = field(default_factory=list)
    middle: list[int] = field(default_factory=list)
    ramets: int = 0
    donors: int = 0
    cuttings: int = 0
    pooled: int = 0
    planted: int = 0
    depth: int = 0

    def plain(self) -> dict[str, Any]:
        return asdict(self)


@dataclass(slots=True)
class _Lot:
    """What one entry brought into the record: ramets with ids from `first` on."""

    event: int
    wild: bool
    taxon: int
    genet: int | None
    donors: frozenset[int]
    donor_set: int
    generation: int
    first: int
    count: int
    series: int
    born_in: int | None = None
    codes: list[str] = field(default_factory=list)

    @property
    def members(self) -> range:
        return range(self.first, self.first + self.count)


class Filling:
    """One programme while it is made: what each ramet and structure is at the day reached."""

    def __init__(self, ramets: int, seed: int, say: Callable[[str], None]) -> None:
        self.rng = random.Random(seed)
        self.wanted = ramets
        self.say = say
        self.donors = max(20, ramets // 500)
        self.sites = min(60, max(4, ramets // 4000))
        # Of each ramet, by its id; 0 is nobody.
        self.lot: list[_Lot | None] = [None]
        self.life: list[int] = [0]
        self.cause: list[int | None] = [None]
        self.structure: list[int | None] = [None]
        self.cell: list[int | None] = [None]
        self.plot: list[int | None] = [None]
        self.packed: list[bool] = [False]
        self.steps: list[int] = [0]
        self.day: list[int] = [0]
        # Of each structure.
        self.structures: list[tuple[str, int]] = []
        self.busy: dict[int, int] = {}
        self.sets: dict[frozenset[int], int] = {}
        self.numbers: dict[int, int] = {}
        self.lots: list[list[_Lot]] = [[] for _ in range(GENERATIONS + 1)]
        self.outplants: dict[int, list[tuple[int, int]]] = {}
        self.events = 0
        self.trays: dict[int, tuple[int, int]] = {}
        self._days = [FIRST_DAY + timedelta(days=n) for n in range(4000)]
        self._moments = [datetime(day.year, day.month, day.day, tzinfo=UTC) for day in self._days]
        self.event = Table(
            *(Event, "id", "uid", "kind", "earliest", "latest", "moment", "recorded_by_id"),
            "digest",
        )
        self.step = Table(
            *(Step, "event_id", "ramet_id", "order", "what", "life", "cause", "place"),
            *("structure_id", "row", "column", "plot_id"),
        )
        self.cutting = Table(
            *(Fragmentation, "event_id", "taxon_id", "genet_id", "donor_set_id", "generation"),
            "children_count",
        )
        self.source = Table(Source, "fragmentation_id", "ramet_id", "used_up")
        self.outplanting = Table(Outplanting, "event_id", "plot_id")
        self.outplant = Table(Outplant, "outplanting_id", "ramet_id")
        self.visit = Table(Visit, "event_id", "site_id")
        self.observation = Table(
            Observation, "visit_id", "ramet_id", "plot_id", "condition", "cause"
        )
        self.made = Programme(user=0, site="", largest_site=0)

    # Registers

    def registers(self) -> None:
        """People, places, taxa, genets and colonies."""
        user = User.objects.create(username="bench")
        Membership.objects.create(user=user, role=Role.LEAD)
        self.made.user = user.pk
        self.reefs = [Reef.objects.create(code=f"REEF{n}", name=f"Reef {n}").pk for n in range(12)]
        self.taxa = [
            Taxon.objects.create(code=f"TAXON{n}", name=f"Taxon {n}", group="stony").pk
            for n in range(8)
        ]
        self.wild_series = CodeSeries.objects.create(prefix="W", label="given in the field").pk
        self.numbers[self.wild_series] = 1
        self.prefixes = {self.wild_series: "W"}
        self.nurseries = []
        self.bays: list[list[int]] = []
        self.series = []
        for n in range(NURSERIES):
            series = CodeSeries.objects.create(prefix=f"B{'ABCDEF'[n]}", label="bench")
            self.numbers[series.pk] = 1
            self.prefixes[series.pk] = series.prefix
            nursery = Nursery.objects.create(
                code=f"N{n}", name=f"Nursery {n}", kind="land", series=series
            )
            system = System.objects.create(code=f"S{n}", name=f"System {n}", nursery=nursery)
            self.bays.append(
                [Bay.objects.create(code=f"B{n}-{k}", system=system).pk for k in range(10)]
            )
            self.nurseries.append(nursery.pk)
            self.series.append(series.pk)
        self.plots: list[list[int]] = []
        self.site_ids = []
        for n in range(self.sites):
            site = Site.objects.create(
                code=f"SITE{n}", name=f"Site {n}", reef_id=self.reefs[n % 12]
            )
            self.site_ids.append(site.pk)
            self.plots.append(
                [
                    Plot.objects.create(code=f"PLOT{n}-{k}", site=site).pk
                    for k in range(PLOTS_A_SITE)
                ]
            )
        self.made.site = "SITE0"
        genets = Table(Genet, "id", "code", "taxon_id")
        colonies = Table(DonorColony, "id", "code", "taxon_id", "genet_id", "reef_id")
        for n in range(1, self.donors + 1):
            taxon = self.taxa[n % 8]
            genets.add(n, f"GENET{n}", taxon)
            colonies.add(n, f"DONOR{n}", taxon, n, self.reefs[n % 12])
        genets.flush()
        colonies.flush()

    # Pieces of an entry

    def header(self, kind: EventKind, day: int) -> int:
        """An event's header; its id."""
        self.events += 1
        on = self._days[day]
        uid = uuid.UUID(int=self.rng.getrandbits(128), version=4)
        self.event.add(self.events, uid, int(kind), on, on, self._moments[day], self.made.user, "")
        return self.events

    def new_structure(self, kind: str, nursery: int) -> int:
        """A plate or an open tray in a nursery; its id."""
        self.structures.append((kind, nursery))
        return len(self.structures)

    def tray(self, nursery: int) -> int:
        """The open tray that is being filled in a nursery; a new one after 20 lots."""
        pk, lots = self.trays.get(nursery, (0, 20))
        if lots == 20:
            pk, lots = self.new_structure("tray", nursery), 0
        self.trays[nursery] = pk, lots + 1
        return pk

    def codes(self, series: int, n: int) -> list[str]:
        """The next codes of a series, as `core.codes.next_codes` gives them."""
        prefix, number, found = self.prefixes[series], self.numbers[series], []
        while len(found) < n:
            body = f"{prefix}{number:04d}"
            check = check_character(body)
            if check != "*":
                found.append(f"{body}-{check}")
            number += 1
        self.numbers[series] = number
        return found

    def set_of(self, colonies: frozenset[int]) -> int:
        return self.sets.setdefault(colonies, len(self.sets) + 1)

    def born(self, lot: _Lot, day: int, structure: int | None, cells: bool, packed: bool) -> None:
        """Births of a lot, in a structure, packed, or nowhere yet."""
        place = Place.STRUCTURE if structure else Place.PACKED if packed else Place.NOWHERE
        lot.codes = self.codes(lot.series, lot.count)
        lot.born_in = structure
        for number, pk in enumerate(lot.members):
            row, column = CELLS[number] if structure and cells else (None, None)
            self.step.add(
                *(lot.event, pk, 1, int(What.BORN), int(Life.LIVING), None, int(place)),
                *(structure, row, column, None),
            )
            self.lot.append(lot)
            self.life.append(int(Life.LIVING))
            self.cause.append(None)
            self.structure.append(structure)
            self.cell.append(number if structure and cells else None)
            self.plot.append(None)
            self.packed.append(packed)
            self.steps.append(1)
            self.day.append(day)
        if structure and cells:
            self.busy[structure] = day
        self.made.ramets += lot.count

    def placed(self, lot: _Lot, event: int, what: What, day: int, at: int, cells: bool) -> None:
        """A whole lot is put into a structure."""
        for number, pk in enumerate(lot.members):
            row, column = CELLS[number] if cells else (None, None)
            self._took_step(pk, event, what, day, place=Place.STRUCTURE, at=(at, row, column))
            self.structure[pk] = at
            self.cell[pk] = number if cells else None
            self.packed[pk] = False
        if cells:
            self.busy[at] = day

    def _took_step(
        self,
        pk: int,
        event: int,
        what: What,
        day: int,
        life: Life | None = None,
        cause: Cause | None = None,
        place: Place | None = None,
        at: tuple[int | None, int | None, int | None] = (None, None, None),
        plot: int | None = None,
    ) -> None:
        self.steps[pk] += 1
        self.day[pk] = day
        self.step.add(
            event,
            pk,
            self.steps[pk],
            int(what),
            int(life) if life is not None else None,
            int(cause) if cause is not None else None,
            int(place) if place is not None else None,
            *at,
            plot,
        )
        if life is not None:
            self.life[pk] = int(life)
            self.cause[pk] = int(cause) if cause is not None else None

    def leaves(self, pk: int, day: int) -> None:
        """A ramet leaves its structure, and its cell if it has one."""
        structure = self.structure[pk]
        if structure is not None and self.cell[pk] is not None:
            self.busy[structure] = day
        self.structure[pk] = self.cell[pk] = None

    def free_day(self, day: int, ramets: Sequence[int], cells: bool = False) -> int:
        """The first day from `day` on that is later than all that these have been through, and if
        their `cells` are left, than the last change of any cell beside them."""
        for pk in ramets:
            day = max(day, self.day[pk] + 1)
            structure = self.structure[pk]
            if cells and structure is not None and self.cell[pk] is not None:
                day = max(day, self.busy[structure] + 1)
        return day

    # Years

    def collections(self) -> None:
        """One collection and intake of each colony."""
        collection = Table(
            *(Collection, "event_id", "colony_id", "reef_id", "taxon_id", "genet_id", "pieces")
        )
        intake = Table(Intake, "event_id", "collection_id", "nursery_id")
        for colony in range(1, self.donors + 1):
            day, at = 1 + colony % 300, colony % NURSERIES
            event = self.header(EventKind.COLLECTION, day)
            taxon, donors = self.taxa[colony % 8], frozenset({colony})
            collection.add(event, colony, self.reefs[colony % 12], taxon, colony, PIECES)
            lot = _Lot(
                *(event, True, taxon, colony, donors, self.set_of(donors), 0),
                *(len(self.life), PIECES, self.wild_series),
            )
            self.born(lot, day, None, cells=False, packed=True)
            arrival = self.header(EventKind.INTAKE, day + 1)
            intake.add(arrival, event, self.nurseries[at])
            self.placed(lot, arrival, What.RECEIVED, day + 1, self.tray(at), cells=False)
            self.lots[0].append(lot)
        collection.flush()
        intake.flush()

    def cut_round(self, number: int, wanted: int) -> None:
        """Cut about so many new ramets, mostly of the last round's."""
        base = 320 + (number - 1) * ROUND_DAYS
        last = [pk for lot in self.lots[number - 1] for pk in lot.members]
        deepest = [lot for lot in self.lots[number - 1] if lot.generation == number - 1]
        deep = [pk for lot in deepest for pk in lot.members]
        older = [lot for lots in self.lots[: number - 1] for lot in lots]
        made = turn = 0
        while made < wanted:
            # A part is cut from the deepest, so that there are ramets 25 cuttings from the wild.
            from_deepest = turn % 3 == 0
            pool = [
                self._mother(deep, [], base) if from_deepest else self._mother(last, older, base)
            ]
            if self.rng.random() < POOLED:
                pool += self._second(pool[0], last, older, base)
            full = self.rng.random() < ON_PLATES
            count = len(CELLS) if full else self.rng.randint(20, 40)
            self._cut(base + turn % CUT_WITHIN, pool, count, full, number)
            made += count
            turn += 1

    def _mother(self, last: list[int], older: list[_Lot], base: int) -> int:
        while True:
            pk = (
                self.rng.choice(self.rng.choice(older).members)
                if older and self.rng.random() < 0.1
                else self.rng.choice(last)
            )
            in_stock = self.life[pk] == Life.LIVING and self.structure[pk] is not None
            if in_stock and self.day[pk] < base + CUT_WITHIN + 20:
                return pk

    def _second(self, first: int, last: list[int], older: list[_Lot], base: int) -> list[int]:
        """Another of the same taxon and of other donors, if one is found."""
        mother = self._lot(first)
        for _ in range(200):
            pk = self._mother(last, older, base)
            lot = self._lot(pk)
            if lot.taxon == mother.taxon and not lot.donors & mother.donors:
                return [pk]
        return []

    def _lot(self, pk: int) -> _Lot:
        lot = self.lot[pk]
        if lot is None:
            raise LookupError(pk)
        return lot

    def _cut(self, day: int, pool: list[int], count: int, full: bool, number: int) -> None:
        used_up = len(pool) == 1 and self.rng.random() < USED_UP
        day = self.free_day(day, pool, cells=used_up)
        event = self.header(EventKind.FRAGMENTATION, day)
        mothers = [self._lot(pk) for pk in pool]
        genets = {lot.genet for lot in mothers}
        donors = frozenset().union(*(lot.donors for lot in mothers))
        home = self.structure[pool[0]] or 1
        nursery = self.structures[home - 1][1]
        lot = _Lot(
            event=event,
            wild=False,
            taxon=mothers[0].taxon,
            genet=genets.pop() if len(genets) == 1 else None,
            donors=donors,
            donor_set=self.set_of(donors),
            generation=max(lot.generation for lot in mothers) + 1,
            first=len(self.life),
            count=count,
            series=self.series[nursery],
        )
        self.cutting.add(event, lot.taxon, lot.genet, lot.donor_set, lot.generation, count)
        for pk in pool:
            self.source.add(event, pk, used_up)
            if used_up:
                self._took_step(pk, event, What.USED_UP, day, Life.USED_UP, place=Place.NOWHERE)
                self.leaves(pk, day)
            else:
                self._took_step(pk, event, What.CUT_FROM, day)
        target = self.new_structure("plate", nursery) if full else self.tray(nursery)
        if self.rng.random() < PLACED_LATER:
            self.born(lot, day, None, cells=False, packed=False)
            moved = self.header(EventKind.MOVE, day + 1)
            self.placed(lot, moved, What.PLACED, day + 1, target, cells=full)
        else:
            self.born(lot, day, target, cells=full, packed=False)
        self.lots[number].append(lot)
        self.made.cuttings += 1
        self.made.pooled += len(pool) > 1
        self.made.depth = max(self.made.depth, lot.generation)

    def plant_round(self, number: int, day: int) -> None:
        """Plant a quarter of what a round cut, lots as wholes."""
        lots = list(self.lots[number])
        self.rng.shuffle(lots)
        wanted = PLANTED * sum(lot.count for lot in lots)
        chosen: list[_Lot] = []
        while lots and sum(lot.count for lot in chosen) < wanted:
            chosen.append(lots.pop())
        self.lots[number] = lots
        batch: list[int] = []
        turn = 0
        for lot in chosen:
            standing = [
                pk
                for pk in lot.members
                if self.life[pk] == Life.LIVING and self.structure[pk] is not None
            ]
            if len(batch) + len(standing) > AN_ENTRY:
                self._plant(batch, day + turn % 10)
                batch, turn = [], turn + 1
            batch += standing
        if batch:
            self._plant(batch, day + turn % 10)

    def _plant(self, ramets: list[int], day: int) -> None:
        largest = self.rng.random() < LARGEST_SITE
        site = 0 if largest else self.rng.randrange(1, self.sites)
        plot = self.rng.choice(self.plots[site])
        day = self.free_day(day, ramets, cells=True)
        event = self.header(EventKind.OUTPLANTING, day)
        self.outplanting.add(event, plot)
        for pk in ramets:
            self.outplant.add(event, pk)
            self._took_step(pk, event, What.PLANTED, day, place=Place.PLOT, plot=plot)
            self.leaves(pk, day)
            self.plot[pk] = plot
        self.outplants.setdefault(site, []).extend((pk, plot) for pk in ramets)
        self.made.planted += len(ramets)

    def looks(self) -> None:
        """Visits to every site, on which a part of its outplants is looked for."""
        day = max(self.day) + 1
        seen = {
            Condition.ALIVE: (What.SEEN_ALIVE, Life.LIVING, None),
            Condition.DEAD: (What.SEEN_DEAD, Life.DEAD, Cause.UNKNOWN),
            Condition.MISSING: (What.SEEN_MISSING, Life.LOST, None),
        }
        for site, planted in sorted(self.outplants.items()):
            sample = self.rng.sample(planted, int(len(planted) * LOOKED_AT))
            for turn, start in enumerate(range(0, len(sample), AN_ENTRY)):
                event = self.header(EventKind.VISIT, day + turn)
                self.visit.add(event, self.site_ids[site])
                for pk, plot in sample[start : start + AN_ENTRY]:
                    luck = self.rng.random()
                    condition = (
                        Condition.DEAD
                        if luck < 0.25
                        else Condition.MISSING
                        if luck < 0.33
                        else Condition.ALIVE
                    )
                    what, life, cause = seen[condition]
                    self._took_step(pk, event, what, day + turn, life, cause)
                    self.observation.add(
                        event, pk, plot, int(condition), int(cause) if cause else None
                    )

    # What follows from all of it

    def write_structures(self) -> None:
        structure = Table(
            *(
                Structure,
                "id",
                "code",
                "kind",
                "rows",
                "columns",
                "blocked",
                "nursery_id",
                "bay_id",
            ),
            "busy_until",
        )
        moved = Table(StructureStep, "id", "event_id", "structure_id", "order", "bay_id")
        event = 0
        for pk, (kind, nursery) in enumerate(self.structures, start=1):
            if pk % 200 == 1:
                event = self.header(EventKind.STRUCTURE_MOVE, 0)
            bay = self.bays[nursery][pk % 10]
            plate = kind == "plate"
            side = 11 if plate else None
            busy = self._moments[self.busy[pk]] if pk in self.busy else None
            blocked = _json(BLOCKED if plate else [])
            structure.add(
                *(pk, f"{kind.upper()}{pk}", kind, side, side, blocked),
                *(self.nurseries[nursery], bay, busy),
            )
            moved.add(pk, event, pk, 1, bay)
        structure.flush()
        moved.flush()

    def write_ramets(self) -> None:
        table = Table(
            *(Ramet, "id", "code", "taxon_id", "origin", "born_id", "collection_id"),
            *("fragmentation_id", "number", "genet_id", "donor_set_id", "generation"),
            *("life", "cause", "place", "structure_id", "row", "column", "plot_id"),
            *("steps_taken", "not_before"),
        )
        for pk in range(1, len(self.life)):
            lot = self._lot(pk)
            number = pk - lot.first
            structure, cell, plot = self.structure[pk], self.cell[pk], self.plot[pk]
            row, column = CELLS[cell] if cell is not None else (None, None)
            place = (
                Place.STRUCTURE
                if structure
                else Place.PLOT
                if plot
                else Place.PACKED
                if self.packed[pk]
                else Place.NOWHERE
            )
            table.add(
                *(pk, lot.codes[number], lot.taxon),
                int(Origin.COLLECTED if lot.wild else Origin.CUT),
                lot.event,
                lot.event if lot.wild else None,
                None if lot.wild else lot.event,
                *(number + 1, lot.genet, lot.donor_set, lot.generation),
                *(self.life[pk], self.cause[pk], int(place), structure, row, column, plot),
                *(self.steps[pk], self._moments[self.day[pk]]),
            )
        table.flush()

    def write_rest(self) -> None:
        sets = Table(DonorSet, "id", "key")
        members = Table(DonorSetMember, "id", "donor_set_id", "colony_id")
        number = 0
        for colonies, pk in self.sets.items():
            sets.add(pk, key_of(colonies))
            for colony in sorted(colonies):
                number += 1
                members.add(number, pk, colony)
        for table in (
            *(sets, members, self.event, self.step, self.cutting, self.source, self.outplanting),
            *(self.outplant, self.visit, self.observation),
        ):
            table.flush()
        for series, following in self.numbers.items():
            CodeSeries.objects.filter(pk=series).update(next_number=following)

    def run(self) -> Programme:
        """Make it all."""
        self.registers()
        self.collections()
        shares = [0.88**number for number in range(GENERATIONS)]
        left = self.wanted - self.made.ramets
        for number in range(1, GENERATIONS + 1):
            self.cut_round(number, int(left * shares[number - 1] / sum(shares)))
            if number == 1:
                self.made.shallow = self._some([pk for lot in self.lots[1] for pk in lot.members])
            if number > 1:
                end = 320 + number * ROUND_DAYS - 12
                self.plant_round(number - 1, end)
        self.plant_round(GENERATIONS, 320 + GENERATIONS * ROUND_DAYS)
        self.looks()
        self.say("structures and ramets")
        self.write_structures()
        self.write_ramets()
        self.write_rest()
        generations = [self._lot(pk).generation for pk in range(1, len(self.life))]
        deepest = [
            pk for pk, generation in enumerate(generations, 1) if generation == self.made.depth
        ]
        self.made.deepest = self._some(deepest)
        middle = [
            pk
            for pk, generation in enumerate(generations, 1)
            if generation == self.made.depth // 2 and self.steps[pk] > 2
        ]
        self.made.middle = self.rng.sample(middle, min(60, len(middle)))
        self.made.donors = self.donors
        self.made.largest_site = sum(
            self.life[pk] == Life.LIVING for pk, _ in self.outplants.get(0, ())
        )
        return self.made

    def _some(self, ramets: Sequence[int]) -> list[str]:
        chosen = self.rng.sample(ramets, min(200, len(ramets)))
        return [lot.codes[pk - lot.first] for pk in chosen if (lot := self._lot(pk))]


def _json(value: list[str]) -> Any:
    return connection.ops.adapt_json_value(value, None)


def make(ramets: int, say: Callable[[str], None], seed: int = 20260901) -> Programme:
    """Fill the empty database with about so many ramets."""
    with bare_tables(say), transaction.atomic():
        made = Filling(ramets, seed, say).run()
        say("commit")
    after_filling()
    return made
