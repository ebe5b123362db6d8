"""Identifying: a known ramet is found again, perhaps as a loose piece that is on record."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence

from django.db import transaction

from nursery.core import bulk
from nursery.core.actor import Actor, Role, require
from nursery.core.dates import dated
from nursery.core.errors import ProblemList
from nursery.core.models import Event, EventKind
from nursery.core.recording import Recorded, begin
from nursery.donors.permits import attach
from nursery.lineage.actions.intake import placed
from nursery.lineage.births import give_tags
from nursery.lineage.inputs import IdentificationIn, IdentifiedIn
from nursery.lineage.ledger import Entry, lock, record
from nursery.lineage.models import Identification, Ramet, Source, Tag
from nursery.lineage.permission import require_stock
from nursery.lineage.replay import Change
from nursery.lineage.resolve import all_of
from nursery.lineage.spots import Spot, Wish, assign, wished
from nursery.lineage.tags import may_end, take_off
from nursery.lineage.words import Life, Origin, Place, What
from nursery.places.models import Structure

ACT = "identify ramets"


@transaction.atomic
def identify(actor: Actor, given: IdentificationIn) -> Recorded:
    """Record that up to 1,000 known ramets were found again, living, whatever was thought of them.

    The loose piece that one turned out to be ends as identified and keeps its place as its last;
    the known ramet stands there from now on, or where the row says, and bears the tags that were on
    the piece. Nothing was cut from the piece: else it would have to be said what its cuttings are.
    Raises NotAllowed; Refused (`unknown_ramet`, `not_found_loose`, `was_cut`, `mixed_taxa`,
    `not_known`, `not_living`, `before_…`, `behind_later_entry`, and those of spots).
    """
    require(actor, Role.NURSERY, Role.FIELD, act=ACT)
    recorded = begin(actor, EventKind.IDENTIFICATION, given)
    if not recorded.fresh:
        return recorded
    event = recorded.event
    attach(event, given.permits)
    rows = given.ramets
    pairs = _named(given)
    locked = lock({pk for pair in pairs for pk in pair if pk is not None})
    ramets = [locked[ramet] for ramet, _ in pairs]
    pieces = [locked[found] if found is not None else None for _, found in pairs]
    loose = [piece for piece in pieces if piece is not None]
    _refuse(event, ramets, pieces)
    homes = _homes(loose)
    spots = assign(
        [
            _wish(number, row, piece, homes)
            for number, (row, piece) in enumerate(zip(rows, pieces, strict=True))
        ],
        given.when,
        leaving=[*loose, *ramets],
    )
    require_stock(actor, [*loose, *ramets], spots.targets, act=ACT)
    record(
        event,
        [
            *(
                Entry(piece, Change(What.ENDED, life=Life.IDENTIFIED), ("ramets", row, "found"))
                for row, piece in enumerate(pieces)
                if piece is not None
            ),
            *(
                Entry(ramet, _found_again(spot, piece), ("ramets", row, "ramet"))
                for row, (ramet, piece, spot) in enumerate(
                    zip(ramets, pieces, spots.spots, strict=True)
                )
            ),
        ],
        spots.locked,
    )
    bulk.insert(
        Identification,
        [
            Identification(event=event, ramet=ramet, found=piece)
            for ramet, piece in zip(ramets, pieces, strict=True)
        ],
    )
    _hand_tags_on(event, ramets, pieces)
    return recorded


def _named(given: IdentificationIn) -> list[tuple[int, int | None]]:
    """The ids of the known ramet and of the loose piece of each row."""
    named = []
    for number, row in enumerate(given.ramets):
        named.append((row.ramet, ("ramets", number, "ramet")))
        if row.found is not None:
            named.append((row.found, ("ramets", number, "found")))
    ids = iter(all_of(named, on=given.when.latest))
    return [(next(ids), next(ids) if row.found is not None else None) for row in given.ramets]


def _refuse(event: Event, ramets: Sequence[Ramet], pieces: Sequence[Ramet | None]) -> None:
    cut = _cut({piece.pk for piece in pieces if piece is not None})
    by = _identified({ramet.pk for ramet in ramets if ramet.origin == Origin.FOUND})
    problems = ProblemList()
    for row, (ramet, piece) in enumerate(zip(ramets, pieces, strict=True)):
        if ramet.origin == Origin.FOUND:
            known = by.get(ramet.pk)
            problems.add(
                "not_known",
                f"{ramet.code} is a loose piece itself, and nobody knows which ramet it is. Name "
                "a known ramet, or relabel the pieces if only their genet is known."
                if known is None
                else f"{ramet.code} was itself identified as {known.ramet.code} "
                f"{dated(known.event.when)}. Name that one.",
                *("ramets", row, "ramet"),
            )
        if piece is None:
            continue
        path = ("ramets", row, "found")
        if piece.origin != Origin.FOUND:
            problems.add(
                "not_found_loose",
                f"{piece.code} did not come into the record as a loose piece "
                f"({Origin(piece.origin).label}, {piece.born.get_kind_display()} "
                f"{dated(piece.born.when)}). If its label is wrong, relabel it.",
                *path,
            )
        elif piece.pk in cut:
            problems.add(
                "was_cut",
                f"{piece.code} was cut {dated(cut[piece.pk].when)}, and what was cut from it "
                f"cannot become another's by this identification {dated(event.when)}. Relabel it "
                f"with the genet of {ramet.code} instead.",
                *path,
            )
        if piece.taxon_id != ramet.taxon_id:
            problems.add(
                "mixed_taxa",
                f"{piece.code} is of {piece.taxon.name} and {ramet.code} of {ramet.taxon.name}: "
                "they cannot be one ramet.",
                *path,
            )
    problems.raise_if_any()


def _cut(ids: Collection[int]) -> Mapping[int, Event]:
    """The first cutting of each of these that was cut."""
    rows = Source.objects.filter(ramet__in=ids, fragmentation__event__live=True)
    rows = rows.select_related("fragmentation__event").order_by(
        "-fragmentation__event__moment", "-fragmentation"
    )
    return {row.ramet_id: row.fragmentation.event for row in rows}


def _identified(ids: Collection[int]) -> Mapping[int, Identification]:
    """As what these loose pieces were identified."""
    rows = Identification.objects.filter(found__in=ids, event__live=True)
    return {row.found_id or 0: row for row in rows.select_related("event", "ramet")}


def _homes(pieces: Sequence[Ramet]) -> dict[int, str]:
    """The codes of the structures in whose cells these pieces are."""
    ids = {piece.structure_id or 0 for piece in pieces if piece.cell is not None}
    return dict(Structure.objects.filter(pk__in=ids).values_list("pk", "code"))


def _wish(
    number: int, row: IdentifiedIn, piece: Ramet | None, homes: Mapping[int, str]
) -> Wish | None:
    """Where the row says, or the piece's cell: asked for like any other, so that no two get it."""
    asked = wished(row.structure, row.cell, ("ramets", number, "cell"))
    if asked is None and piece is not None and piece.cell is not None:
        home = homes[piece.structure_id or 0]
        return Wish(home, piece.cell.name, ("ramets", number, "found"))
    return asked


def _found_again(spot: Spot | None, piece: Ramet | None) -> Change:
    if spot is not None:
        return placed(What.FOUND, spot, Life.LIVING)
    if piece is None:
        raise RuntimeError("a row without a loose piece names a structure")
    return Change(
        What.FOUND,
        life=Life.LIVING,
        place=Place(piece.place),
        structure=piece.structure_id,
        plot=piece.plot_id,
    )


def _hand_tags_on(event: Event, ramets: Sequence[Ramet], pieces: Sequence[Ramet | None]) -> None:
    """The tags on the pieces hang on the known ramets from that day on; as aliases the pieces keep
    them for the days before."""
    by_piece = {
        piece.pk: (row, ramet)
        for row, (ramet, piece) in enumerate(zip(ramets, pieces, strict=True))
        if piece is not None
    }
    tags = Tag.objects.select_for_update(no_key=True).filter(
        ramet__in=list(by_piece), live=True, until__isnull=True
    )
    on = [tag for tag in tags.order_by("pk") if may_end(tag, event.when)]
    take_off(event, [(tag, False) for tag in on])
    give_tags(
        event,
        [
            (ramet, tag.text, ("ramets", row, "found"))
            for tag in on
            for row, ramet in [by_piece[tag.ramet_id]]
        ],
    )
