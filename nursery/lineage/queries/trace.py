"""Where did this coral come from? Every step back to the donor colony on its reef."""

from __future__ import annotations

from collections import defaultdict, deque
from collections.abc import Iterable, Mapping, Sequence

from django.db.models import Prefetch

from nursery.core.actor import Actor, require_read
from nursery.core.dates import dated
from nursery.core.models import Event
from nursery.donors import positions
from nursery.donors.models import Collection, DonorColony
from nursery.donors.queries import permits_of
from nursery.lineage import resolve, walk
from nursery.lineage.models import Intake, Ramet, Source, Step, Tag
from nursery.lineage.queries.answers import (
    CollectionView,
    DonorView,
    EventView,
    Gap,
    IntakeView,
    Node,
    PlaceView,
    SourceView,
    StepView,
    Trace,
)
from nursery.lineage.words import Cause, Life, Origin, Place, Purpose, What
from nursery.places.cells import Cell
from nursery.places.models import Plot, Structure

_ORIGIN_GAPS = {
    Origin.SETTLED: "settled in the nursery: it has parents, but no donor colony",
    Origin.RECEIVED: "came from another programme",
    Origin.FOUND: "was found loose and is not identified yet",
    Origin.LEGACY: "is legacy stock: its cuttings were not recorded",
}


def trace(actor: Actor, text: str) -> Trace:
    """The trace of the ramet that a code, a tag or a place names.

    Raises NotAllowed; Unknown with near codes that exist. The number of queries does not grow with
    the way.
    """
    require_read(actor)
    ramet = resolve.one(text)
    ramets = {
        row.pk: row
        for row in Ramet.objects.filter(pk__in=walk.ancestors(ramet.pk)).select_related(
            "taxon", "genet__canonical", "born", "structure__nursery", "plot__site"
        )
    }
    sources = _sources(ramets.values())
    distances = _distances(ramet.pk, ramets, sources)
    steps = _steps(ramets)
    collections = _collections(ramets.values())
    donors = _donors(ramets.values())
    headers = _Headers(
        [
            *(step.event for found in steps.values() for step in found),
            *(row.born for row in ramets.values()),
            *(row.event for row in collections),
            *(intake.event for row in collections for intake in row.intakes.all()),
        ]
    )
    tags = _tags(ramets)
    order = sorted(ramets, key=lambda pk: (distances[pk], ramets[pk].code))
    nodes = tuple(
        _node(ramets[pk], distances[pk], sources, steps, tags, ramets, headers) for pk in order
    )
    gaps = tuple(gap for pk in order if (gap := _gap(ramets[pk], headers, collections)) is not None)
    return Trace(
        ramet=ramet.code,
        taxon=nodes[0].taxon,
        genet=nodes[0].genet,
        complete=not gaps,
        gaps=gaps,
        candidate_genets=_candidates(ramet.pk, ramets, sources),
        outplants=(),
        observations=(),
        nodes=nodes,
        collections=_collection_views(actor, collections, headers),
        donors=_donor_views(actor, donors),
    )


class _Headers:
    """Views of event headers, with their permits looked up together."""

    def __init__(self, events: Iterable[Event]) -> None:
        self.permits = permits_of({event.pk for event in events})
        self.views: dict[int, EventView] = {}

    def __getitem__(self, event: Event) -> EventView:
        if event.pk not in self.views:
            self.views[event.pk] = header(event, self.permits.get(event.pk, ()))
        return self.views[event.pk]


def header(event: Event, permits: Sequence[str]) -> EventView:
    """The view of an event's header."""
    return EventView(
        uid=str(event.uid),
        kind=event.kind_word,
        when=event.when,
        done_by=tuple(event.people),
        permits=tuple(permits),
        note=event.note,
    )


def place_view(
    place: Place,
    structure: Structure | None,
    row: int | None,
    column: int | None,
    plot: Plot | None,
) -> PlaceView:
    """The view of a place from a ramet's or a step's columns."""
    if place is Place.STRUCTURE and structure is not None:
        cell = Cell(row, column).name if row is not None and column is not None else None
        nursery = structure.nursery.code if structure.nursery is not None else None
        name = f"{structure.code} {cell}" if cell else structure.code
        return PlaceView(place, name, nursery=nursery, structure=structure.code, cell=cell)
    if place is Place.PLOT and plot is not None:
        return PlaceView(place, plot.code, site=plot.site.code, plot=plot.code)
    return PlaceView(place, place.label)


def _sources(ramets: Iterable[Ramet]) -> dict[int, list[Source]]:
    """The sources of each fragmentation by its event id."""
    found: dict[int, list[Source]] = defaultdict(list)
    cuttings = {row.fragmentation_id for row in ramets if row.fragmentation_id is not None}
    for source in Source.objects.filter(fragmentation__in=cuttings).order_by("pk"):
        found[source.fragmentation_id].append(source)
    return found


def _distances(
    start: int, ramets: Mapping[int, Ramet], sources: Mapping[int, list[Source]]
) -> dict[int, int]:
    """The fewest cuttings between the ramet asked for and each ramet on the way."""
    distances = {start: 0}
    queue = deque([start])
    while queue:
        pk = queue.popleft()
        for source in sources.get(ramets[pk].fragmentation_id or 0, ()):
            if source.ramet_id not in distances:
                distances[source.ramet_id] = distances[pk] + 1
                queue.append(source.ramet_id)
    return distances


def _steps(ramets: Mapping[int, Ramet]) -> dict[int, list[Step]]:
    found: dict[int, list[Step]] = defaultdict(list)
    steps = (
        Step.objects.filter(ramet__in=list(ramets), live=True)
        .select_related("event", "structure__nursery", "plot__site")
        .order_by("ramet_id", "order")
    )
    for step in steps:
        found[step.ramet_id].append(step)
    return found


def _tags(ramets: Mapping[int, Ramet]) -> dict[int, list[str]]:
    found: dict[int, list[str]] = defaultdict(list)
    for tag in Tag.objects.filter(ramet__in=list(ramets)).order_by("since", "pk"):
        found[tag.ramet_id].append(tag.text)
    return found


def _collections(ramets: Iterable[Ramet]) -> list[Collection]:
    ids = {row.collection_id for row in ramets if row.collection_id is not None}
    intakes = Intake.objects.filter(event__live=True).select_related("event", "nursery")
    return list(
        Collection.objects.filter(pk__in=ids)
        .select_related("event", "colony", "reef", "taxon")
        .prefetch_related(Prefetch("intakes", queryset=intakes.order_by("pk")))
        .order_by("event__earliest", "pk")
    )


def _donors(ramets: Iterable[Ramet]) -> list[DonorColony]:
    """The donor colonies at the foot: of every ramet on the way that was not cut from another."""
    sets = {
        row.donor_set_id
        for row in ramets
        if row.fragmentation_id is None and row.donor_set_id is not None
    }
    return list(
        DonorColony.objects.filter(donor_sets__in=sets)
        .select_related("taxon", "genet", "reef")
        .order_by("code")
        .distinct()
    )


def _node(
    ramet: Ramet,
    distance: int,
    sources: Mapping[int, list[Source]],
    steps: Mapping[int, list[Step]],
    tags: Mapping[int, list[str]],
    ramets: Mapping[int, Ramet],
    headers: _Headers,
) -> Node:
    genet = ramet.genet
    if genet is not None and genet.canonical is not None:
        genet = genet.canonical
    return Node(
        ramet=ramet.code,
        distance=distance,
        generation=ramet.generation,
        origin=Origin(ramet.origin),
        taxon=ramet.taxon.name,
        genet=genet.code if genet else None,
        genet_status=genet.status if genet else None,
        purpose=Purpose(ramet.purpose),
        pieces=ramet.pieces,
        life=Life(ramet.life),
        cause=Cause(ramet.cause) if ramet.cause is not None else None,
        place=place_view(Place(ramet.place), ramet.structure, ramet.row, ramet.column, ramet.plot),
        tags=tuple(tags.get(ramet.pk, ())),
        born=headers[ramet.born],
        collection=str(ramet.born.uid) if ramet.collection_id is not None else None,
        sources=tuple(
            SourceView(ramets[source.ramet_id].code, source.used_up)
            for source in sources.get(ramet.fragmentation_id or 0, ())
        ),
        steps=tuple(
            StepView(
                what=What(step.what),
                event=headers[step.event],
                place=None
                if step.place is None
                else place_view(
                    Place(step.place), step.structure, step.row, step.column, step.plot
                ),
                life=Life(step.life) if step.life is not None else None,
                cause=Cause(step.cause) if step.cause is not None else None,
            )
            for step in steps.get(ramet.pk, ())
        ),
    )


def _gap(ramet: Ramet, headers: _Headers, collections: Sequence[Collection]) -> Gap | None:
    origin = Origin(ramet.origin)
    if origin is Origin.COLLECTED:
        collection = next(row for row in collections if row.pk == ramet.collection_id)
        if collection.colony_id is None:
            return Gap(
                ramet.code,
                "collected_loose",
                f"{ramet.code} was collected loose {dated(collection.event.when)}: "
                "no donor colony is known.",
            )
        return None
    reason = _ORIGIN_GAPS.get(origin)
    if reason is None:
        return None
    return Gap(
        ramet.code, origin.word, f"{ramet.code} {reason} (entered {dated(ramet.born.when)})."
    )


def _candidates(
    start: int, ramets: Mapping[int, Ramet], sources: Mapping[int, list[Source]]
) -> tuple[str, ...]:
    """The genets it may be, where its sources were of several: the nearest known upward."""
    if ramets[start].genet_id is not None:
        return ()
    found: set[str] = set()
    queue, seen = deque([start]), {start}
    while queue:
        ramet = ramets[queue.popleft()]
        if ramet.genet is not None:
            found.add((ramet.genet.canonical or ramet.genet).code)
            continue
        for source in sources.get(ramet.fragmentation_id or 0, ()):
            if source.ramet_id not in seen:
                seen.add(source.ramet_id)
                queue.append(source.ramet_id)
    return tuple(sorted(found))


def _collection_views(
    actor: Actor, collections: Sequence[Collection], headers: _Headers
) -> tuple[CollectionView, ...]:
    seen = positions.of_collections(actor, collections)
    return tuple(
        CollectionView(
            event=headers[row.event],
            colony=row.colony.code if row.colony else None,
            reef=row.reef.code,
            reef_name=row.reef.name,
            taxon=row.taxon.name,
            pieces=row.pieces,
            depth_m=row.depth_m,
            piece_size_cm=row.piece_size_cm,
            share_taken=row.share_taken,
            position=seen.get(row.pk),
            intakes=tuple(
                IntakeView(headers[intake.event], intake.nursery.code)
                for intake in row.intakes.all()
            ),
        )
        for row in collections
    )


def _donor_views(actor: Actor, donors: Sequence[DonorColony]) -> tuple[DonorView, ...]:
    seen = positions.of_colonies(actor, donors)
    return tuple(
        DonorView(
            colony=row.code,
            name=row.name,
            taxon=row.taxon.name,
            genet=row.genet.code,
            genet_status=row.genet.status,
            reef=row.reef.code,
            reef_name=row.reef.name,
            depth_m=row.depth_m,
            size_cm=row.size_cm,
            position=seen.get(row.pk),
        )
        for row in donors
    )
