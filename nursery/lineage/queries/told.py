"""What a trace is told of, row by row: what is asked of the database, and in which order the
values of each row come back. All of it comes by one statement (`walk.Account`)."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, time
from decimal import Decimal
from typing import Any, NamedTuple
from uuid import UUID

from django.db.models import QuerySet
from django.db.models.functions import Coalesce, JSONArray

from nursery.core.dates import When
from nursery.core.models import Event, EventKind
from nursery.donors.models import Collection, DonorColony, DonorSetMember, EventPermit
from nursery.lineage import walk
from nursery.lineage.models import Intake, Ramet, Source, Step, Tag
from nursery.lineage.queries.answers import EventView
from nursery.lineage.walk import Among

Asked = dict[str, tuple[QuerySet[Any], JSONArray]]
"""Rows that are asked for, and what is told of each."""
Rows = list[list[Any]]

_TENTH = Decimal("0.1")
_THOUSANDTH = Decimal("0.001")


class PlaceRow(NamedTuple):
    """The columns of a ramet or a step that say where it is."""

    row: int | None
    column: int | None
    structure: str | None
    nursery: str | None
    plot: str | None
    site: str | None


_PLACE = (
    *("row", "column", "structure__code", "structure__nursery__code"),
    *("plot__code", "plot__site__code"),
)


class RametRow(NamedTuple):
    pk: int
    code: str
    origin: int
    generation: int | None
    taxon: str
    genet: str | None
    genet_status: str | None
    purpose: int
    pieces: int
    life: int
    cause: int | None
    place: int
    born: int
    collection: int | None
    fragmentation: int | None
    where: PlaceRow


_RAMET = JSONArray(
    *("pk", "code", "origin", "generation", "taxon__name"),
    Coalesce("genet__canonical__code", "genet__code"),
    Coalesce("genet__canonical__status", "genet__status"),
    *("purpose", "pieces", "life", "cause", "place"),
    *("born_id", "collection_id", "fragmentation_id"),
    *_PLACE,
)


class StepRow(NamedTuple):
    ramet: int
    order: int
    event: int
    what: int
    life: int | None
    cause: int | None
    place: int | None
    where: PlaceRow


_STEP = JSONArray("ramet_id", "order", "event_id", "what", "life", "cause", "place", *_PLACE)


class SourceRow(NamedTuple):
    pk: int
    fragmentation: int
    ramet: int
    used_up: bool


class TagRow(NamedTuple):
    ramet: int
    since: str
    pk: int
    text: str


class CollectionRow(NamedTuple):
    pk: int
    colony: str | None
    reef: str
    reef_name: str
    taxon: str
    pieces: int
    depth_m: Decimal | None
    piece_size_cm: Decimal | None
    share_taken: Decimal | None
    latitude: Decimal | None
    longitude: Decimal | None
    uncertainty_m: int | None


_COLLECTION = JSONArray(
    *("pk", "colony__code", "reef__code", "reef__name", "taxon__name", "pieces"),
    *("depth_m", "piece_size_cm", "share_taken"),
    *("rounded_latitude", "rounded_longitude", "uncertainty_m"),
)


class IntakeRow(NamedTuple):
    pk: int
    collection: int
    nursery: str


class DonorRow(NamedTuple):
    code: str
    pk: int
    name: str
    taxon: str
    genet: str
    genet_status: str
    reef: str
    reef_name: str
    depth_m: Decimal | None
    size_cm: Decimal | None
    latitude: Decimal | None
    longitude: Decimal | None
    uncertainty_m: int | None
    statement: str


_DONOR = JSONArray(
    *("code", "pk", "name", "taxon__name", "genet__code", "genet__status"),
    *("reef__code", "reef__name", "depth_m", "size_cm"),
    *("rounded_latitude", "rounded_longitude", "uncertainty_m", "generalisation"),
)


def rows() -> Asked:
    """What is asked for each trace."""
    on_the_way = Among("ramet", walk.ON_THE_WAY)
    return {
        "ramets": (Ramet.objects.filter(Among("pk", walk.ON_THE_WAY)), _RAMET),
        "steps": (Step.objects.filter(on_the_way, live=True), _STEP),
        "tags": (
            Tag.objects.filter(on_the_way, live=True),
            JSONArray("ramet_id", "since", "pk", "text"),
        ),
        "sources": (
            Source.objects.filter(Among("fragmentation", walk.CUTTINGS)),
            JSONArray("pk", "fragmentation_id", "ramet_id", "used_up"),
        ),
        "collections": (Collection.objects.filter(Among("pk", walk.COLLECTIONS)), _COLLECTION),
        "intakes": (_intakes(), JSONArray("pk", "collection_id", "nursery__code")),
        "donors": (DonorColony.objects.filter(Among("pk", colonies())), _DONOR),
        "events": (
            Event.objects.filter(Among("pk", walk.EVENTS)),
            JSONArray(
                *("moment", "pk", "uid", "kind", "earliest", "latest", "time", "done_by", "note")
            ),
        ),
        "permits": (
            EventPermit.objects.filter(Among("event", walk.EVENTS)),
            JSONArray("event_id", "permit__code"),
        ),
    }


def events() -> list[QuerySet[Any, Any]]:
    """The ids of the events whose headers are shown, beside the births (a collection is one)."""
    return [
        Step.objects.filter(Among("ramet", walk.ON_THE_WAY), live=True).values("event"),
        _intakes().values("event"),
    ]


def colonies() -> QuerySet[Any, Any]:
    """The ids of the colonies at the foot."""
    return DonorSetMember.objects.filter(Among("donor_set", walk.FEET)).values("colony")


def _intakes() -> QuerySet[Intake]:
    return Intake.objects.filter(Among("collection", walk.COLLECTIONS), event__live=True)


class Headers:
    """The headers of events by their ids, and the order in which the events happened."""

    def __init__(self, told: Mapping[str, Rows]) -> None:
        permits: dict[int, list[str]] = {}
        for event, code in told["permits"]:
            permits.setdefault(event, []).append(code)
        self.views: dict[int, EventView] = {}
        self.places: dict[int, int] = {}
        # Moments are told alike, so that their texts are in their order.
        for number, (_, pk, uid, kind, earliest, latest, at, people, note) in enumerate(
            sorted(told["events"])
        ):
            self.places[pk] = number
            self.views[pk] = EventView(
                uid=uid if len(uid) > 32 else str(UUID(uid)),
                kind=EventKind(kind).word,
                when=When(
                    date.fromisoformat(earliest),
                    date.fromisoformat(latest),
                    time.fromisoformat(at) if at is not None else None,
                ),
                done_by=tuple(name for name in people.split("; ") if name),
                permits=tuple(sorted(permits.get(pk, ()))),
                note=note,
            )

    def __getitem__(self, event: int) -> EventView:
        return self.views[event]

    def place(self, event: int) -> int:
        """Where the event stands among all that are told of."""
        return self.places[event]


def ramets(told: Rows) -> dict[int, RametRow]:
    return {row[0]: RametRow._make([*row[:15], PlaceRow._make(row[15:])]) for row in told}


def steps(told: Rows) -> dict[int, list[StepRow]]:
    """The steps of each ramet, in their order."""
    found: dict[int, list[StepRow]] = {}
    for row in sorted(told, key=lambda row: (row[0], row[1])):
        found.setdefault(row[0], []).append(StepRow._make([*row[:7], PlaceRow._make(row[7:])]))
    return found


def sources(told: Rows) -> dict[int, list[SourceRow]]:
    """The sources of each fragmentation by its event id, in the order of entry."""
    found: dict[int, list[SourceRow]] = {}
    for pk, fragmentation, ramet, used_up in sorted(told):
        row = SourceRow(pk, fragmentation, ramet, bool(used_up))
        found.setdefault(fragmentation, []).append(row)
    return found


def tags(told: Rows) -> dict[int, list[str]]:
    found: dict[int, list[str]] = {}
    for ramet, _, _, text in sorted(told):
        found.setdefault(ramet, []).append(text)
    return found


def collections(told: Rows) -> list[CollectionRow]:
    return [
        CollectionRow._make([*row[:6], *map(tenths, row[6:9]), *map(_degrees, row[9:11]), row[11]])
        for row in told
    ]


def intakes(told: Rows) -> dict[int, list[IntakeRow]]:
    """The intakes of each collection by its event id, in the order of entry."""
    found: dict[int, list[IntakeRow]] = {}
    for row in sorted(told):
        found.setdefault(row[1], []).append(IntakeRow._make(row))
    return found


def donors(told: Rows) -> list[DonorRow]:
    return [
        DonorRow._make([*row[:8], *map(tenths, row[8:10]), *map(_degrees, row[10:12]), *row[12:]])
        for row in sorted(told)
    ]


def tenths(value: Any) -> Decimal | None:
    """A number with one place after the point. SQLite tells 5.0 as 5."""
    return None if value is None else Decimal(value).quantize(_TENTH)


def _degrees(value: Any) -> Decimal | None:
    return None if value is None else Decimal(value).quantize(_THOUSANDTH)
