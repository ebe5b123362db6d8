"""Collecting: pieces taken in the wild become ramets of generation 0, packed for the way."""

from __future__ import annotations

from dataclasses import dataclass

from django.db import transaction

from nursery.core import bulk
from nursery.core.actor import Actor, Role, require
from nursery.core.dates import When, dated
from nursery.core.errors import Problem, ProblemList, Refused
from nursery.core.models import EventKind
from nursery.core.recording import Recorded, begin
from nursery.donors.models import Collection, DonorColony, Genet, Taxon
from nursery.donors.permits import attach
from nursery.donors.positions import keep_for_collection, read_point
from nursery.donors.sets import donor_set
from nursery.lineage.births import give_codes, give_tags, series_prefix
from nursery.lineage.inputs import CollectionIn, PieceIn
from nursery.lineage.ledger import Entry, record
from nursery.lineage.models import Ramet
from nursery.lineage.replay import Change
from nursery.lineage.words import Life, Origin, Place, What
from nursery.places.models import Reef


@dataclass(frozen=True, slots=True)
class _Source:
    colony: DonorColony | None
    reef: Reef
    taxon: Taxon
    genet: Genet | None


@transaction.atomic
def collect(actor: Actor, given: CollectionIn) -> Recorded:
    """Record a collection. Its pieces have codes from now on and are packed until an intake.

    Raises NotAllowed; Refused (`unknown_donorcolony`, `unknown_reef`, `unknown_taxon`,
    `colony_closed`, `before_colony_found`, `unknown_permit`, and those of positions and codes).
    A missing or unfitting permit is no ground for refusal: it is flagged.
    """
    require(actor, Role.FIELD, act="enter collections")
    recorded = begin(actor, EventKind.COLLECTION, given)
    if not recorded.fresh:
        return recorded
    event = recorded.event
    source = _source(given)
    attach(event, given.permits)
    collection = Collection(
        event=event,
        colony=source.colony,
        reef=source.reef,
        taxon=source.taxon,
        genet=source.genet,
        pieces=given.number_of_pieces,
        depth_m=given.depth,
        piece_size_cm=given.piece_size,
        share_taken=given.share_taken,
    )
    if given.latitude or given.longitude:
        if not (given.latitude and given.longitude):
            missing = "longitude" if given.latitude else "latitude"
            raise Refused(
                Problem("required", "A position has a latitude and a longitude.", (missing,))
            )
        point = read_point(given.latitude, given.longitude, source.reef)
        keep_for_collection(actor, event, collection, point, given.uncertainty_m)
    collection.save(force_insert=True)
    pieces = given.pieces or (PieceIn(),) * given.number_of_pieces
    codes = give_codes(
        [(piece.code, ("pieces", row, "code")) for row, piece in enumerate(pieces)],
        series_prefix(given.series, None),
    )
    donors = donor_set([source.colony.pk] if source.colony else [])
    alike = Ramet(
        taxon=source.taxon,
        origin=Origin.COLLECTED,
        collection=collection,
        genet=source.genet,
        donor_set=donors,
        generation=0,
    )
    ramets = bulk.copies(alike, len(pieces))
    for number, (ramet, code, piece) in enumerate(zip(ramets, codes, pieces, strict=True), start=1):
        ramet.code, ramet.number, ramet.note = code, number, piece.note
    birth = Change(What.BORN, life=Life.LIVING, place=Place.PACKED)
    record(event, [Entry(ramet, birth, ("pieces", row)) for row, ramet in enumerate(ramets)])
    give_tags(
        event,
        [
            (ramet, piece.tag, ("pieces", row, "tag"))
            for row, (ramet, piece) in enumerate(zip(ramets, pieces, strict=True))
        ],
    )
    return recorded


def refuse_when(colony: DonorColony, when: When) -> None:
    """Refuse (`colony_closed`, `before_colony_found`) a day on which nothing can be taken of it."""
    problems = ProblemList()
    if colony.closed_on is not None and when.earliest > colony.closed_on:
        problems.add(
            "colony_closed",
            f"{colony.code} was closed on {colony.closed_on}; nothing can be taken from it "
            f"{dated(when)}.",
            "when",
        )
    if colony.found_on is not None and when.latest < colony.found_on:
        problems.add(
            "before_colony_found",
            f"{colony.code} was found on {colony.found_on}; an entry {dated(when)} is before that. "
            "Check both dates.",
            "when",
        )
    problems.raise_if_any()


def _source(given: CollectionIn) -> _Source:
    problems = ProblemList()
    if given.colony is not None:
        colony = (
            DonorColony.objects.select_related("reef", "taxon", "genet")
            .filter(code=given.colony)
            .first()
        )
        if colony is None:
            problems.add(
                "unknown_donorcolony", f"There is no donor colony {given.colony}.", "colony"
            )
            raise Refused(problems.items)
        refuse_when(colony, given.when)
        return _Source(colony, colony.reef, colony.taxon, colony.genet)
    reef = Reef.objects.filter(code=given.reef).first()
    taxon = Taxon.objects.filter(code=given.taxon).first()
    genet = Genet.objects.filter(code=given.genet).first() if given.genet else None
    if reef is None:
        problems.add("unknown_reef", f"There is no reef {given.reef}.", "reef")
    if taxon is None:
        problems.add("unknown_taxon", f"There is no taxon {given.taxon}.", "taxon")
    if given.genet and genet is None:
        problems.add("unknown_genet", f"There is no genet {given.genet}.", "genet")
    if genet is not None and taxon is not None and genet.taxon_id != taxon.pk:
        problems.add("genet_other_taxon", f"{genet.code} is not of {taxon.name}.", "genet")
    if problems or reef is None or taxon is None:
        raise Refused(problems.items)
    return _Source(None, reef, taxon, genet)
