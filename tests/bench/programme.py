"""A synthetic programme, straight into the tables: donors, cuttings many generations deep, a share
of them pooled, plates, plots. Only for measuring; nothing here is a record of anything."""

from __future__ import annotations

import random
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta

from django.db import connection

from nursery.core import bulk
from nursery.core.codes import next_codes
from nursery.core.models import CodeSeries, Event, EventKind, User
from nursery.donors.models import Collection, DonorColony, DonorSet, DonorSetMember, Genet, Taxon
from nursery.lineage.models import Fragmentation, Ramet, Source, Step
from nursery.lineage.words import Life, Origin, Place, What
from nursery.outplanting.models import Outplant, Outplanting
from nursery.places.models import Bay, Nursery, Plot, Reef, Site, Structure, System

CHILDREN = 40
POOLED = 0.02
START = date(2018, 1, 1)


@dataclass(slots=True)
class Programme:
    """What was made, and where to look."""

    user: User
    taxon: Taxon
    sites: list[Site]
    deepest: list[str]
    shallow: list[str]
    ramets: int = 0


@dataclass(slots=True)
class _Piece:
    pk: int
    code: str
    generation: int
    genet: int
    donors: frozenset[int]


def make(ramets: int, seed: int = 20260901) -> Programme:
    """Fill the empty database with about so many ramets, depth to 25, a quarter of them planted."""
    rng = random.Random(seed)
    user = User.objects.create(username="bench")
    taxon = Taxon.objects.create(code="BENCH", name="Bench", group="stony")
    reef = Reef.objects.create(code="REEF", name="Reef")
    nursery = Nursery.objects.create(
        code="N",
        name="Nursery",
        kind="land",
        series=CodeSeries.objects.create(prefix="BB", next_number=ramets * 2),
    )
    bay = Bay.objects.create(
        code="B", system=System.objects.create(code="S", name="S", nursery=nursery)
    )
    tray = Structure.objects.create(code="TRAY", kind="tray", nursery=nursery, bay=bay)
    sites = [
        Site.objects.create(code=f"S{number}", name=f"Site {number}", reef=reef)
        for number in range(12)
    ]
    plots = [Plot.objects.create(code=f"{site.code}-1", site=site) for site in sites]
    donors = max(20, ramets // 500)
    genets = bulk.insert(Genet, [Genet(code=f"G{n}", taxon=taxon) for n in range(donors)])
    colonies = bulk.insert(
        DonorColony,
        [
            DonorColony(code=f"D{n}", taxon=taxon, genet=genet, reef=reef)
            for n, genet in enumerate(genets)
        ],
    )
    events = bulk.insert(
        Event,
        [
            _event(user, EventKind.COLLECTION, START + timedelta(days=n % 300))
            for n in range(donors)
        ],
    )
    bulk.insert(
        Collection,
        [
            Collection(event=event, colony=colony, reef=reef, taxon=taxon, pieces=1)
            for event, colony in zip(events, colonies, strict=True)
        ],
    )
    codes = iter(next_codes("BB", 1, ramets + donors + CHILDREN)[0])
    sets = _Sets()
    stock = _write(
        [
            Ramet(
                code=next(codes),
                taxon=taxon,
                origin=Origin.COLLECTED,
                born=event,
                collection_id=event.pk,
                number=1,
                genet=genet,
                donor_set_id=sets.of(frozenset({colony.pk})),
                generation=0,
                place=Place.STRUCTURE,
                structure=tray,
                steps_taken=1,
                not_before=_moment(event),
            )
            for event, colony, genet in zip(events, colonies, genets, strict=True)
        ],
        [frozenset({colony.pk}) for colony in colonies],
    )
    made = Programme(user, taxon, sites, [], [piece.code for piece in stock[:200]], len(stock))
    young = stock
    day = START + timedelta(days=320)
    generation = 1
    while made.ramets < ramets:
        young = _cut_round(rng, user, taxon, tray, sets, codes, young, day, ramets - made.ramets)
        made.ramets += len(young)
        day += timedelta(days=100)
        generation += 1
        if generation > 3 and generation <= 25:
            # Later rounds are smaller, so that the tree is deep as well as broad.
            young = rng.sample(young, max(1, len(young) // 30))
        made.deepest = [piece.code for piece in young[:200]]
    _plant(rng, user, plots, made.ramets // 4, day)
    with connection.cursor() as cursor:
        cursor.execute("ANALYZE")
    return made


class _Sets:
    """Donor sets by their colonies, made once each."""

    def __init__(self) -> None:
        self.ids: dict[frozenset[int], int] = {}

    def of(self, colonies: frozenset[int]) -> int:
        if colonies not in self.ids:
            key = ",".join(str(pk) for pk in sorted(colonies))
            made = DonorSet.objects.create(key=key)
            bulk.insert(
                DonorSetMember, [DonorSetMember(donor_set=made, colony_id=pk) for pk in colonies]
            )
            self.ids[colonies] = made.pk
        return self.ids[colonies]


def _cut_round(
    rng: random.Random,
    user: User,
    taxon: Taxon,
    tray: Structure,
    sets: _Sets,
    codes: object,
    mothers: list[_Piece],
    day: date,
    wanted: int,
) -> list[_Piece]:
    count = min(len(mothers), max(1, wanted // CHILDREN + 1))
    chosen = (
        [rng.choice(mothers) for _ in range(count)] if count < 5 else rng.sample(mothers, count)
    )
    pools = [
        [mother, rng.choice(mothers)] if rng.random() < POOLED else [mother] for mother in chosen
    ]
    pools = [list({piece.pk: piece for piece in pool}.values()) for pool in pools]
    events = bulk.insert(
        Event,
        [_event(user, EventKind.FRAGMENTATION, day + timedelta(days=n % 90)) for n in range(count)],
    )
    cuttings = []
    for event, pool in zip(events, pools, strict=True):
        genets = {piece.genet for piece in pool}
        cuttings.append(
            Fragmentation(
                event=event,
                taxon=taxon,
                genet_id=min(genets),
                donor_set_id=sets.of(frozenset().union(*(piece.donors for piece in pool))),
                generation=max(piece.generation for piece in pool) + 1,
                children_count=CHILDREN,
            )
        )
    bulk.insert(Fragmentation, cuttings)
    bulk.insert(
        Source,
        [
            Source(fragmentation=cutting, ramet_id=piece.pk, used_up=False)
            for cutting, pool in zip(cuttings, pools, strict=True)
            for piece in pool
        ],
    )
    rows, donors = [], []
    for event, cutting, pool in zip(events, cuttings, pools, strict=True):
        of_all = frozenset().union(*(piece.donors for piece in pool))
        for number in range(1, CHILDREN + 1):
            rows.append(
                Ramet(
                    code=next(codes),  # type: ignore[call-overload]
                    taxon=taxon,
                    origin=Origin.CUT,
                    born=event,
                    fragmentation=cutting,
                    number=number,
                    genet_id=cutting.genet_id,
                    donor_set_id=cutting.donor_set_id,
                    generation=cutting.generation,
                    place=Place.STRUCTURE,
                    structure=tray,
                    steps_taken=1,
                    not_before=_moment(event),
                )
            )
            donors.append(of_all)
    return _write(rows, donors)


def _write(rows: list[Ramet], donors: list[frozenset[int]]) -> list[_Piece]:
    written = bulk.insert(Ramet, rows)
    bulk.insert(
        Step,
        [
            Step(
                event_id=row.born_id,
                ramet=row,
                order=1,
                what=What.BORN,
                life=Life.LIVING,
                place=Place.STRUCTURE,
                structure_id=row.structure_id,
            )
            for row in written
        ],
    )
    return [
        _Piece(row.pk, row.code, row.generation or 0, row.genet_id or 0, colonies)
        for row, colonies in zip(written, donors, strict=True)
    ]


def _plant(rng: random.Random, user: User, plots: list[Plot], count: int, day: date) -> None:
    """The first plot gets a third of all that is planted, the others share the rest."""
    ids = list(Ramet.objects.order_by("pk").values_list("pk", flat=True))
    chosen = rng.sample(ids, count)
    third = count // 3
    parts = [chosen[:third]]
    rest, share = chosen[third:], max(1, (count - third) // (len(plots) - 1))
    parts += [rest[n * share : (n + 1) * share] for n in range(len(plots) - 1)]
    for plot, part in zip(plots, parts, strict=True):
        event = _event(user, EventKind.OUTPLANTING, day)
        event.save()
        outplanting = Outplanting.objects.create(event=event, plot=plot)
        bulk.insert(Outplant, [Outplant(outplanting=outplanting, ramet_id=pk) for pk in part])
        bulk.insert(
            Step,
            [
                Step(
                    event=event,
                    ramet_id=pk,
                    order=2,
                    what=What.PLANTED,
                    place=Place.PLOT,
                    plot=plot,
                )
                for pk in part
            ],
        )
        for start in range(0, len(part), 5000):
            Ramet.objects.filter(pk__in=part[start : start + 5000]).update(
                place=Place.PLOT,
                structure=None,
                plot=plot,
                steps_taken=2,
                not_before=_moment(event),
            )


def _event(user: User, kind: EventKind, day: date) -> Event:
    return Event(kind=kind, earliest=day, latest=day, recorded_by=user, digest="")


def _moment(event: Event) -> datetime:
    return datetime.combine(event.earliest, datetime.min.time(), tzinfo=UTC)
