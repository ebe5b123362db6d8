"""Where did this coral come from? Every step back to the donor colony on its reef."""

from __future__ import annotations

from collections import deque
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from django.db import connection
from django.db.models import QuerySet
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from nursery.core.actor import Actor, require_read
from nursery.core.codes import normalise
from nursery.core.phrases import on
from nursery.donors import positions
from nursery.lineage import resolve, walk
from nursery.lineage.models import Identification
from nursery.lineage.queries import candidates, told
from nursery.lineage.queries.answers import (
    CollectionView,
    DonorView,
    Gap,
    IntakeView,
    Node,
    PlaceView,
    SourceView,
    StepView,
    Trace,
)
from nursery.lineage.queries.told import (
    Asked,
    CollectionRow,
    Headers,
    PlaceRow,
    RametRow,
    Rows,
    SourceRow,
    StepRow,
)
from nursery.lineage.words import Cause, Life, Origin, Place, Purpose, What
from nursery.places.cells import Cell
from nursery.places.models import Plot, Structure

_ORIGIN_GAPS = {
    Origin.SETTLED: gettext_lazy("settled in the nursery: it has parents, but no donor colony"),
    Origin.RECEIVED: gettext_lazy("came from another programme"),
    Origin.FOUND: gettext_lazy("was found loose: nobody saw where it came from"),
    Origin.LEGACY: gettext_lazy("is legacy stock: its cuttings were not recorded"),
}


@dataclass(frozen=True, slots=True)
class Answer:
    """A trace, with the rows that were asked for beside it and the headers of all events."""

    trace: Trace
    rows: Mapping[str, Rows]
    headers: Headers


class Tracer:
    """Asks for traces, and for more about the ramet beside them, by one statement each.

    `rows` and `events` are as `walk.Account` takes them.
    """

    def __init__(self, rows: Asked, events: Sequence[QuerySet[Any, Any]]) -> None:
        self._rows = rows
        self._events = events
        self._accounts: dict[tuple[str, bool], walk.Account] = {}

    def ask(self, actor: Actor, text: str) -> Answer:
        """The trace of the ramet that a code, a tag or a place names.

        Raises NotAllowed; Unknown with near codes that exist. A code takes one statement; what is
        none is looked up first.
        """
        require_read(actor)
        account = self._account(actor)
        code = normalise(text) or ""
        rows = account.of(code) if code else {}
        if not rows.get("ramets"):
            code = resolve.one(text).code
            rows = account.of(code)
        headers = Headers(rows)
        return Answer(_trace(actor, code, rows, headers), rows, headers)

    def _account(self, actor: Actor) -> walk.Account:
        """The statement, which differs with the database and with who may see exact positions."""
        key = connection.vendor, positions.may_see_exact(actor)
        if key not in self._accounts:
            exact = positions.exact_rows(
                actor,
                walk.Among("colony", told.colonies()),
                walk.Among("event", walk.COLLECTIONS),
            )
            self._accounts[key] = walk.Account(
                {**told.rows(), **exact, **self._rows}, [*told.events(), *self._events]
            )
        return self._accounts[key]


_TRACER = Tracer({}, ())


def trace(actor: Actor, text: str) -> Trace:
    """The trace of the ramet that a code, a tag or a place names, by one statement for a code.

    Raises NotAllowed; Unknown with near codes that exist.
    """
    return _TRACER.ask(actor, text).trace


def _trace(actor: Actor, code: str, rows: Mapping[str, Rows], headers: Headers) -> Trace:
    ramets = told.ramets(rows["ramets"])
    start = next(pk for pk, row in ramets.items() if row.code == code)
    way = _Way(ramets, told.sources(rows["sources"]))
    steps = told.steps(rows["steps"])
    tags = told.tags(rows["tags"])
    collections = told.collections(rows["collections"])
    collections.sort(key=lambda row: headers.place(row.pk))
    by_distance = sorted(way.distances(start).items(), key=lambda item: item[1])
    nodes = [
        _node(ramets[pk], distance, way, steps.get(pk, ()), tags.get(pk, ()), headers)
        for pk, distance in by_distance
    ]
    nodes.sort(key=lambda node: (node.distance, node.ramet))
    by_code = {row.code: row for row in ramets.values()}
    loose = {row.pk for row in collections if row.colony is None}
    known_as = _known_as(start) if nodes[0].life is Life.IDENTIFIED else None
    genet_of = {row.code: row.genet for row in told.donors(rows["donors"])}
    from_colony = {row.pk: genet_of.get(row.colony or "") for row in collections}
    gaps = tuple(
        gap
        for node in nodes
        for gap in (
            _gap(by_code[node.ramet], headers, loose, known_as),
            _label_gap(node, by_code[node.ramet], way, from_colony),
        )
        if gap is not None
    )
    return Trace(
        ramet=code,
        taxon=nodes[0].taxon,
        genet=nodes[0].genet,
        complete=not gaps,
        gaps=gaps,
        candidate_genets=candidates.of_way(nodes).codes,
        outplants=(),
        observations=(),
        nodes=tuple(nodes),
        collections=_collection_views(actor, rows, collections, headers),
        donors=_donor_views(actor, rows),
    )


@dataclass(frozen=True, slots=True)
class _Way:
    """The ramets on the way by their ids, and the sources of each cutting by its event id."""

    ramets: Mapping[int, RametRow]
    sources: Mapping[int, list[SourceRow]]

    def up(self, pk: int) -> Sequence[SourceRow]:
        """What a ramet was cut from."""
        return self.sources.get(self.ramets[pk].fragmentation or 0, ())

    def distances(self, start: int) -> dict[int, int]:
        """The fewest cuttings between the ramet asked for and each ramet on the way."""
        distances = {start: 0}
        queue = deque([start])
        while queue:
            pk = queue.popleft()
            for source in self.up(pk):
                if source.ramet not in distances:
                    distances[source.ramet] = distances[pk] + 1
                    queue.append(source.ramet)
        return distances


def place_view(
    place: Place,
    structure: Structure | None,
    row: int | None,
    column: int | None,
    plot: Plot | None,
) -> PlaceView:
    """The view of a place from a ramet's or a step's columns."""
    nursery = structure.nursery if structure is not None else None
    where = PlaceRow(
        row=row,
        column=column,
        structure=structure.code if structure is not None else None,
        nursery=nursery.code if nursery is not None else None,
        plot=plot.code if plot is not None else None,
        site=plot.site.code if plot is not None else None,
    )
    return _place(place, where)


def _place(place: Place, where: PlaceRow) -> PlaceView:
    row, column, structure, nursery, plot, site = where
    if place is Place.STRUCTURE and structure is not None:
        cell = Cell(row, column).name if row is not None and column is not None else None
        name = f"{structure} {cell}" if cell else structure
        return PlaceView(place, name, nursery=nursery, structure=structure, cell=cell)
    if place is Place.PLOT and plot is not None:
        return PlaceView(place, plot, site=site, plot=plot)
    return PlaceView(place, place.label)


def _node(
    ramet: RametRow,
    distance: int,
    way: _Way,
    steps: Sequence[StepRow],
    tags: Sequence[str],
    headers: Headers,
) -> Node:
    born = headers[ramet.born]
    return Node(
        ramet=ramet.code,
        distance=distance,
        generation=ramet.generation,
        origin=Origin(ramet.origin),
        taxon=ramet.taxon,
        genet=ramet.genet,
        genet_status=ramet.genet_status,
        purpose=Purpose(ramet.purpose),
        pieces=ramet.pieces,
        life=Life(ramet.life),
        cause=Cause(ramet.cause) if ramet.cause is not None else None,
        place=_place(Place(ramet.place), ramet.where),
        tags=tuple(tags),
        born=born,
        collection=born.uid if ramet.collection is not None else None,
        sources=tuple(
            SourceView(way.ramets[source.ramet].code, source.used_up) for source in way.up(ramet.pk)
        ),
        steps=tuple(
            StepView(
                what=What(step.what),
                event=headers[step.event],
                place=_place(Place(step.place), step.where) if step.place is not None else None,
                life=Life(step.life) if step.life is not None else None,
                cause=Cause(step.cause) if step.cause is not None else None,
            )
            for step in steps
        ),
    )


def _known_as(pk: int) -> str | None:
    """The code of the ramet that a found piece turned out to be."""
    rows = Identification.objects.filter(found=pk, event__live=True)
    return rows.values_list("ramet__code", flat=True).first()


def _label_gap(
    node: Node, ramet: RametRow, way: _Way, from_colony: Mapping[int, str | None]
) -> Gap | None:
    """A ramet of which the last relabelling says another genet than what it descends from: then
    its cuttings on record are not its own. One of a pool that is now known is none."""
    labels = [step for step in node.steps if step.what is What.RELABELLED]
    if not labels or node.origin not in (Origin.COLLECTED, Origin.CUT):
        return None
    by_descent = {way.ramets[source.ramet].genet for source in way.up(ramet.pk)}
    if ramet.collection is not None:
        by_descent = {from_colony.get(ramet.collection)}
    if node.genet in by_descent and node.genet is not None:
        return None
    text = _(
        "%(ramet)s was relabelled as %(genet)s %(when)s: what it descends from on record is of "
        "another genet, so its donor colony is not known."
    )
    if node.genet is None:
        text = _(
            "%(ramet)s was relabelled as of a genet that is not known %(when)s: what it descends "
            "from on record is of another genet, so its donor colony is not known."
        )
    told = {"ramet": node.ramet, "genet": node.genet, "when": on(labels[-1].event.when)}
    return Gap(
        node.ramet,
        "relabelled",
        text % told,
    )


def _gap(ramet: RametRow, headers: Headers, loose: set[int], known_as: str | None) -> Gap | None:
    """What is missing at a ramet; `loose` are the collections that are from no colony, `known_as`
    is the ramet that a found piece turned out to be."""
    origin = Origin(ramet.origin)
    told = {"ramet": ramet.code, "when": on(headers[ramet.born].when)}
    if ramet.life == Life.IDENTIFIED and known_as is not None:
        return Gap(
            ramet.code,
            "identified",
            _("%(ramet)s was found loose %(when)s and turned out to be %(known)s: look there.")
            % {**told, "known": known_as},
        )
    if ramet.collection in loose:
        return Gap(
            ramet.code,
            "collected_loose",
            _("%(ramet)s was collected loose %(when)s: no donor colony is known.") % told,
        )
    reason = _ORIGIN_GAPS.get(origin)
    if reason is None:
        return None
    return Gap(
        ramet.code,
        origin.word,
        _("%(ramet)s %(reason)s (entered %(when)s).") % {**told, "reason": reason},
    )


def _collection_views(
    actor: Actor,
    rows: Mapping[str, Rows],
    collections: Sequence[CollectionRow],
    headers: Headers,
) -> tuple[CollectionView, ...]:
    exact = positions.read_exact(actor, rows.get("collection_positions", []))
    intakes = told.intakes(rows["intakes"])
    return tuple(
        CollectionView(
            event=headers[row.pk],
            colony=row.colony,
            reef=row.reef,
            reef_name=row.reef_name,
            taxon=row.taxon,
            pieces=row.pieces,
            depth_m=row.depth_m,
            piece_size_cm=row.piece_size_cm,
            share_taken=row.share_taken,
            position=exact.get(row.pk)
            or positions.rounded(row.latitude, row.longitude, row.uncertainty_m),
            intakes=tuple(
                IntakeView(headers[intake.pk], intake.nursery) for intake in intakes.get(row.pk, ())
            ),
        )
        for row in collections
    )


def _donor_views(actor: Actor, rows: Mapping[str, Rows]) -> tuple[DonorView, ...]:
    exact = positions.read_exact(actor, rows.get("colony_positions", []))
    return tuple(
        DonorView(
            colony=row.code,
            name=row.name,
            taxon=row.taxon,
            genet=row.genet,
            genet_status=row.genet_status,
            reef=row.reef,
            reef_name=row.reef_name,
            depth_m=row.depth_m,
            size_cm=row.size_cm,
            position=exact.get(row.pk)
            or positions.rounded(row.latitude, row.longitude, row.uncertainty_m, row.statement),
        )
        for row in told.donors(rows["donors"])
    )
