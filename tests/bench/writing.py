"""What writing costs: an entry by its action, and the same rows sent barely (COPY, the ids drawn,
in one transaction, with all indexes, constraints and the commit)."""

from __future__ import annotations

import itertools
import statistics
import uuid
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import timedelta
from typing import Any

from django.db import transaction

from nursery.core.actor import Actor
from nursery.core.inputs import read
from nursery.core.models import CodeSeries, Event, EventKind
from nursery.core.series import take_codes
from nursery.lineage.actions import cut, move, move_structures
from nursery.lineage.inputs import FragmentationIn, MoveIn, StructureMoveIn
from nursery.lineage.models import Fragmentation, Ramet, Source, Step
from nursery.lineage.words import Life, Origin, Place, Purpose, What
from nursery.outplanting.actions import plant
from nursery.outplanting.inputs import OutplantingIn
from nursery.places.actions import enter_structure
from nursery.places.models import Nursery, Structure
from tests.bench.measure import Bare, Fact, Ratio, compare, timed, warm_up
from tests.bench.programme import BLOCKED, FIRST_DAY, Programme

SET_UP = FIRST_DAY
CUT_ON = "2024-01-10"
MOVED_LATE_ON = "2024-02-10"
MOVED_ON = "2024-03-10"
PLANTED_ON = "2024-06-01"
BIG = (40, 25)
"""A structure of a thousand cells."""

_runs = itertools.count(1)


def plates(actor: Actor, count: int, side: tuple[int, int] = (11, 11)) -> list[Structure]:
    """So many empty plates in the first nursery, entered and set up as by hand."""
    run = f"{Structure.objects.count()}{next(_runs)}"
    given = {"kind": "plate", "rows": side[0], "columns": side[1]}
    if side == (11, 11):
        given["blocked"] = BLOCKED
    nursery = Nursery.objects.get(code="N0")
    with transaction.atomic():
        made = [
            enter_structure(actor, {"code": f"M{run}-{number}", **given}, nursery)
            for number in range(count)
        ]
        for start in range(0, count, 200):
            rows = [{"structure": row.code, "bay": "B0-0"} for row in made[start : start + 200]]
            move_structures(actor, read(StructureMoveIn, {"when": str(SET_UP), "structures": rows}))
    return made


def standing(count: int) -> list[Ramet]:
    """So many living ramets of the stock that nothing has happened to since the programme ended,
    those of one cutting beside one another."""
    rows = Ramet.objects.filter(
        life=Life.LIVING,
        place=Place.STRUCTURE,
        purpose=Purpose.PRODUCTION,
        not_before__lt=f"{CUT_ON}T00:00Z",
    )
    return list(rows.order_by("-pk")[:count])


@dataclass(slots=True)
class Rows:
    """Rows of a table as they are stored, to be sent again with other values in some columns."""

    table: str
    columns: list[str]
    rows: list[tuple[Any, ...]]

    @classmethod
    def read(cls, bare: Bare, model: Any, where: str, pk: int, ids: bool = False) -> Rows:
        meta = model._meta
        columns = [f.column for f in meta.concrete_fields if ids or f is not meta.auto_field]
        names = ", ".join(f'"{name}"' for name in columns)
        sql = f'SELECT {names} FROM "{meta.db_table}" WHERE {where} = %s ORDER BY {meta.pk.column}'  # noqa: S608
        return cls(meta.db_table, columns, bare.run(sql, (pk,)))

    def send(self, bare: Bare, change: Callable[[dict[str, int], list[Any]], None]) -> None:
        """Send copies; `change` sets values in a copy, by the places of the columns."""
        at = {name: place for place, name in enumerate(self.columns)}
        fresh = []
        for row in self.rows:
            copy = list(row)
            change(at, copy)
            fresh.append(copy)
        bare.send(self.table, self.columns, fresh)


def cuttings(made: Programme, actor: Actor, bare: Bare) -> Iterator[Ratio | Fact]:
    """One cutting of a plateful, and of as many as an entry may make."""
    mother, bare_mother, looped = standing(3)
    for count, side, aim in ((117, (11, 11), 1.7), (1000, BIG, 1.5)):
        rounds = 20
        turns = rounds + warm_up(rounds)
        empty = iter(plates(actor, 2 * turns + 1, side))

        def given(structure: Structure, count: int = count) -> FragmentationIn:
            return read(
                FragmentationIn,
                {
                    "when": CUT_ON,
                    "sources": [{"ramet": mother.code}],
                    "count": count,
                    "structure": structure.code,
                },
            )

        event = cut(actor, given(next(empty))).event
        copied = _Cutting(bare, event, bare_mother)
        mine = [next(empty) for _ in range(turns)]
        theirs = [next(empty) for _ in range(turns)]
        yield compare(
            f"one cutting of {count}, its checks : COPY of its rows",
            lambda turn, given=given, mine=mine: cut(actor, given(mine[turn])),
            lambda turn, copied=copied, theirs=theirs: copied.send(theirs[turn].pk),
            rounds=rounds,
            aim=aim,
        )
    rounds = 10
    turns = rounds + warm_up(rounds)
    mine, theirs = plates(actor, turns), plates(actor, turns)
    yield compare(
        "one cutting of 117 : an ORM loop, create() for each child and step, no checks",
        lambda turn: cut(actor, given(mine[turn], 117)),
        lambda turn: _loop(made.user, looped, theirs[turn], 117),
        rounds=rounds,
    )


class _Cutting:
    """The rows of one cutting, to be sent again for another mother and another plate."""

    def __init__(self, bare: Bare, event: Event, mother: Ramet) -> None:
        self.bare = bare
        self.mother = mother
        self.mother_before = Source.objects.get(fragmentation=event.pk).ramet_id
        self.order = Ramet.objects.values_list("steps_taken", flat=True).get(pk=mother.pk)
        self.moment = event.moment
        self.series = CodeSeries.objects.get(prefix="BA").pk
        self.event = Rows.read(bare, Event, "id", event.pk, ids=True)
        self.cutting = Rows.read(bare, Fragmentation, "event_id", event.pk)
        self.source = Rows.read(bare, Source, "fragmentation_id", event.pk)
        self.ramets = Rows.read(bare, Ramet, "born_id", event.pk, ids=True)
        self.steps = Rows.read(bare, Step, "event_id", event.pk)
        self.structure_before = Ramet.objects.filter(born=event)[0].structure_id

    def send(self, plate: int) -> None:
        bare = self.bare
        self.order += 1
        self.moment += timedelta(milliseconds=1)
        moment = str(self.moment) if bare.lite else self.moment
        with bare.transaction():
            [event] = bare.ids("core_event", 1)
            fresh = dict(
                zip(
                    (row[self.ramets.columns.index("id")] for row in self.ramets.rows),
                    bare.ids("lineage_ramet", len(self.ramets.rows)),
                    strict=True,
                )
            )
            fresh[self.mother_before] = self.mother.pk
            uid = uuid.uuid4()

            def header(at: dict[str, int], row: list[Any]) -> None:
                row[at["id"]] = event
                row[at["uid"]] = uid.hex if bare.lite else uid
                row[at["moment"]] = moment

            def cutting(at: dict[str, int], row: list[Any]) -> None:
                row[at["event_id"]] = event

            def source(at: dict[str, int], row: list[Any]) -> None:
                row[at["fragmentation_id"]] = event
                row[at["ramet_id"]] = self.mother.pk

            def ramet(at: dict[str, int], row: list[Any]) -> None:
                pk = fresh[row[at["id"]]]
                row[at["id"]] = pk
                row[at["code"]] = f"ZZ{pk}"
                row[at["born_id"]] = row[at["fragmentation_id"]] = event
                row[at["structure_id"]] = plate
                row[at["not_before"]] = moment

            def step(at: dict[str, int], row: list[Any]) -> None:
                pk = fresh[row[at["ramet_id"]]]
                row[at["event_id"]] = event
                row[at["ramet_id"]] = pk
                if pk == self.mother.pk:
                    row[at["order"]] = self.order
                else:
                    row[at["structure_id"]] = plate

            self.event.send(bare, header)
            self.cutting.send(bare, cutting)
            self.source.send(bare, source)
            self.ramets.send(bare, ramet)
            self.steps.send(bare, step)
            bare.run(
                "UPDATE lineage_ramet SET steps_taken = %s, not_before = %s WHERE id = %s",
                (self.order, moment, self.mother.pk),
            )
            bare.run("UPDATE places_structure SET busy_until = %s WHERE id = %s", (moment, plate))
            bare.run(
                "UPDATE core_codeseries SET next_number = next_number + %s WHERE id = %s",
                (len(fresh), self.series),
            )


@transaction.atomic
def _loop(user: int, mother: Ramet, plate: Structure, count: int) -> None:
    """A cutting as it is often written: a row at a time."""
    mother.refresh_from_db()
    moment = mother.not_before + timedelta(days=1)
    day = moment.date()
    event = Event.objects.create(
        kind=EventKind.FRAGMENTATION,
        earliest=day,
        latest=day,
        moment=moment,
        recorded_by_id=user,
        digest="",
    )
    fragmentation = Fragmentation.objects.create(
        event=event,
        taxon=mother.taxon,
        genet=mother.genet,
        donor_set=mother.donor_set,
        generation=(mother.generation or 0) + 1,
        children_count=count,
    )
    Source.objects.create(fragmentation=fragmentation, ramet=mother, used_up=False)
    grid = plate.grid
    cells = list(grid.cells()) if grid is not None else []
    codes = take_codes("BA", count)
    for number, (code, cell) in enumerate(zip(codes, cells, strict=False), start=1):
        where = {"structure": plate, "row": cell.row, "column": cell.column}
        child = Ramet.objects.create(
            code=code,
            taxon=mother.taxon,
            origin=Origin.CUT,
            born=event,
            fragmentation=fragmentation,
            number=number,
            genet=mother.genet,
            donor_set=mother.donor_set,
            generation=fragmentation.generation,
            place=Place.STRUCTURE,
            steps_taken=1,
            not_before=moment,
            **where,
        )
        Step.objects.create(
            event=event,
            ramet=child,
            order=1,
            what=What.BORN,
            life=Life.LIVING,
            place=Place.STRUCTURE,
            **where,
        )
    mother.steps_taken += 1
    mother.not_before = moment
    mother.save()
    Step.objects.create(event=event, ramet=mother, order=mother.steps_taken, what=What.CUT_FROM)
    plate.busy_until = moment
    plate.save()


def plantings(made: Programme, actor: Actor, bare: Bare) -> Iterator[Ratio]:
    """An outplanting of 500."""
    count, rounds = 500, 10
    known = standing(2 * count * (rounds + warm_up(rounds)))
    while 2 * count * (rounds + warm_up(rounds)) > len(known):
        rounds -= 1
    batches = iter([known[n : n + count] for n in range(0, len(known) - count + 1, count)])
    turns = rounds + warm_up(rounds)
    mine = [next(batches) for _ in range(turns)]
    theirs = [next(batches) for _ in range(turns)]
    plots = {plot: code for code, plot in _plots(bare)}
    plot = min(plots)

    def ours(turn: int) -> None:
        rows = [{"ramet": row.code} for row in mine[turn]]
        given = {"when": PLANTED_ON, "plot": plots[plot], "outplants": rows}
        plant(actor, read(OutplantingIn, given))

    yield compare(
        f"an outplanting of {count}, its checks : COPY of its rows, and one update",
        ours,
        lambda turn: _plant_barely(bare, made.user, theirs[turn], plot, turn),
        rounds=rounds,
        aim=2,
    )


def _plots(bare: Bare) -> list[tuple[Any, ...]]:
    return bare.run("SELECT code, id FROM places_plot")


def _plant_barely(bare: Bare, user: int, ramets: Sequence[Ramet], plot: int, turn: int) -> None:
    moment = f"{PLANTED_ON} 00:00:00.{turn:03d}"
    uid = uuid.uuid4()
    ids = [row.pk for row in ramets]
    structures = sorted({row.structure_id for row in ramets if row.row is not None})
    with bare.transaction():
        [event] = bare.ids("core_event", 1)
        bare.send(
            "core_event",
            [
                *("id", "uid", "kind", "earliest", "latest", "moment", "recorded_at"),
                *("recorded_by_id", "done_by", "note", "digest", "live"),
            ],
            [
                (
                    *(event, uid.hex if bare.lite else uid, int(EventKind.OUTPLANTING)),
                    *(PLANTED_ON, PLANTED_ON, moment, moment, user, "", "", "0" * 64, True),
                )
            ],
        )
        bare.send("outplanting_outplanting", ["event_id", "plot_id"], [(event, plot)])
        bare.send(
            "lineage_step",
            ["event_id", "ramet_id", "order", "live", "what", "place", "plot_id"],
            [
                (
                    *(event, row.pk, row.steps_taken + 1, True, int(What.PLANTED)),
                    *(int(Place.PLOT), plot),
                )
                for row in ramets
            ],
        )
        bare.send(
            "outplanting_outplant",
            ["outplanting_id", "ramet_id", "position", "cluster"],
            [(event, pk, "", "") for pk in ids],
        )
        _update(
            bare,
            f"UPDATE lineage_ramet SET place = {Place.PLOT:d}, structure_id = NULL, row = NULL, "  # noqa: S608
            '"column" = NULL, plot_id = %s, steps_taken = steps_taken + 1, not_before = %s',
            [plot, moment],
            ids,
        )
        _update(bare, "UPDATE places_structure SET busy_until = %s", [moment], structures)


def _update(bare: Bare, sql: str, values: list[Any], ids: Sequence[Any]) -> None:
    if bare.lite:
        marks = ", ".join("?" * len(ids))
        bare.run(f"{sql} WHERE id IN ({marks})", [*values, *ids])
    else:
        bare.run(f"{sql} WHERE id = ANY(%s)", [*values, list(ids)])


def late_moves(actor: Actor) -> Iterator[Ratio]:
    """A plateful is moved on a day before its last entry: its histories and cells are replayed."""
    rounds = 7
    [mother] = standing(1)
    empty = iter(plates(actor, 3 * (rounds + 1)))
    fast, slow = [], []
    for turn in range(rounds + 1):
        first, second, third = next(empty), next(empty), next(empty)
        given = {
            "when": CUT_ON,
            "sources": [{"ramet": mother.code}],
            "count": 117,
            "structure": first.code,
        }
        event = cut(actor, read(FragmentationIn, given)).event
        codes = list(Ramet.objects.filter(born=event).values_list("code", flat=True))
        taken = []
        for day, plate in ((MOVED_ON, second), (MOVED_LATE_ON, third)):
            rows = [{"ramet": code} for code in codes]
            asked = {"when": day, "structure": plate.code, "ramets": rows}
            taken.append(timed(lambda asked=asked: move(actor, read(MoveIn, asked))))
        if turn:
            fast.append(taken[0])
            slow.append(taken[1])
        kept = set(Ramet.objects.filter(born=event).values_list("structure", flat=True))
        if kept != {second.pk}:
            raise RuntimeError("a late move must leave the ramets where the later one put them")
    yield Ratio(
        "a late move of a plate of 117, replayed : the same move in time",
        statistics.median(slow),
        statistics.median(fast),
        aim=10,
    )
