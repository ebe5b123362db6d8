"""Stock without recorded cuttings: from before the records, found loose, settled, or received from
another programme."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from django.db import transaction

from nursery.core import bulk
from nursery.core.actor import Actor, require_at
from nursery.core.errors import ProblemList, Refused
from nursery.core.models import EventKind
from nursery.core.recording import Recorded, begin
from nursery.donors.models import DonorColony, Genet, Taxon
from nursery.donors.permits import attach
from nursery.donors.sets import donor_set
from nursery.lineage.actions.intake import placed
from nursery.lineage.births import give_codes, give_tags, series_prefix
from nursery.lineage.inputs import LegacyIn, StockEntryIn
from nursery.lineage.ledger import Entry, record
from nursery.lineage.models import Parent, Ramet, StockEntry
from nursery.lineage.replay import Change
from nursery.lineage.spots import assign, refuse_other_nurseries, wished
from nursery.lineage.words import Life, Origin, Place, Purpose, What
from nursery.places.models import Nursery


@transaction.atomic
def enter_stock(actor: Actor, given: StockEntryIn) -> Recorded:
    """Record ramets that came into the record without recorded cuttings.

    Donor colonies of one genet imply it where none is named. A found ramet has no genet, so that it
    counts for no individual until it is identified or relabelled. Raises NotAllowed; Refused
    (`unknown_nursery`, `unknown_taxon`, `unknown_genet`, `unknown_donorcolony`,
    `genet_other_taxon`, `donor_other_taxon`, `found_is_unidentified`, `not_of_this_origin`,
    `programme_missing`, and those of spots, codes and tags).
    """
    nursery = Nursery.objects.select_related("series").filter(code=given.nursery).first()
    homes = [(nursery.pk if nursery else None, str(nursery or given.nursery))]
    require_at(actor, homes, act="enter stock")
    recorded = begin(actor, EventKind.STOCK_ENTRY, given)
    if not recorded.fresh:
        return recorded
    event = recorded.event
    problems = ProblemList()
    if nursery is None:
        problems.add("unknown_nursery", f"There is no nursery {given.nursery}.", "nursery")
        raise Refused(problems.items)
    attach(event, given.permits)
    known = _Known(given.ramets)
    origins = [_origin(wanted, given) for wanted in given.ramets]
    _refuse_programme(given, origins, problems)
    ramets = []
    for row, (wanted, origin) in enumerate(zip(given.ramets, origins, strict=True)):
        _refuse_misplaced(row, wanted, origin, problems)
        ramets.append(known.ramet(row, wanted, origin, problems))
    problems.raise_if_any()
    StockEntry.objects.create(event=event, nursery=nursery, programme=given.programme)
    found = assign(
        [
            wished(wanted.structure or given.structure, wanted.cell, ("ramets", row, "cell"))
            for row, wanted in enumerate(given.ramets)
        ],
        given.when,
    )
    refuse_other_nurseries(nursery, found.spots, "ramets")
    known.give_donors(ramets)
    codes = give_codes(
        [(wanted.code, ("ramets", row, "code")) for row, wanted in enumerate(given.ramets)],
        series_prefix(given.series, nursery.series),
    )
    for ramet, code in zip(ramets, codes, strict=True):
        ramet.code = code
    record(
        event,
        [
            Entry(
                ramet,
                placed(What.BORN, spot, Life.LIVING)
                if spot is not None
                else Change(What.BORN, life=Life.LIVING, place=Place.NOWHERE),
                ("ramets", row, "cell"),
            )
            for row, (ramet, spot) in enumerate(zip(ramets, found.spots, strict=True))
        ],
        found.locked,
    )
    known.give_parents(ramets)
    give_tags(
        event,
        [
            (ramet, wanted.tag, ("ramets", row, "tag"))
            for row, (ramet, wanted) in enumerate(zip(ramets, given.ramets, strict=True))
        ],
    )
    return recorded


def _origin(wanted: LegacyIn, given: StockEntryIn) -> Origin:
    return Origin.of(wanted.origin or given.origin)


def _refuse_programme(
    given: StockEntryIn, origins: Sequence[Origin], problems: ProblemList
) -> None:
    """Received ramets, and only they, came from another programme."""
    received = Origin.RECEIVED in origins
    if received and not given.programme:
        problems.add(
            "programme_missing",
            "Name the programme that the received ramets came from.",
            "programme",
        )
    if given.programme and not received:
        problems.add(
            "not_of_this_origin",
            f"No ramet of this entry is received, so none came from {given.programme}.",
            "programme",
        )


_WRONG = {
    (Origin.LEGACY, "parents"): "Parents are those of a settled ramet; this one is legacy stock.",
    (Origin.SETTLED, "donors"): "A settled ramet was taken from no donor colony. Name the genets "
    "of its possible parents instead.",
    (Origin.RECEIVED, "donors"): "Donor colonies are those of this programme; a received ramet "
    "comes from another. Name its genet.",
    (Origin.RECEIVED, "parents"): "Parents are those of a settled ramet; this one was received.",
}
_SAYS_WHO = ("genet", "donors", "parents", "generation")


def _refuse_misplaced(row: int, wanted: LegacyIn, origin: Origin, problems: ProblemList) -> None:
    """Refuse what cannot be known of a ramet that came in this way."""
    for field in _SAYS_WHO:
        value = getattr(wanted, field)
        if value is None or value == ():
            continue
        if origin is Origin.FOUND:
            problems.add(
                "found_is_unidentified",
                f"Of a loose piece nobody knows the {field} yet. Enter it without; then identify "
                "it as a known ramet, or relabel it with its genet.",
                *("ramets", row, field),
            )
        elif (origin, field) in _WRONG:
            problems.add("not_of_this_origin", _WRONG[origin, field], "ramets", row, field)


class _Known:
    """Everything the rows name, looked up together."""

    def __init__(self, rows: Iterable[LegacyIn]) -> None:
        wanted = list(rows)
        self.donors: list[list[int]] = []
        self.parents: list[list[int]] = []
        self.taxa = {
            row.code: row for row in Taxon.objects.filter(code__in={r.taxon for r in wanted})
        }
        genets = {r.genet for r in wanted if r.genet} | {c for r in wanted for c in r.parents}
        self.genets = {row.code: row for row in Genet.objects.filter(code__in=genets)}
        donors = {code for r in wanted for code in r.donors}
        self.colonies = {
            row.code: row
            for row in DonorColony.objects.select_related("genet").filter(code__in=donors)
        }

    def ramet(self, row: int, wanted: LegacyIn, origin: Origin, problems: ProblemList) -> Ramet:
        """The ramet that a row describes, without its code."""
        taxon = self.taxa.get(wanted.taxon)
        if taxon is None:
            problems.add(
                "unknown_taxon", f"There is no taxon {wanted.taxon}.", "ramets", row, "taxon"
            )
        genet = self.genets.get(wanted.genet) if wanted.genet else None
        if wanted.genet and genet is None:
            problems.add(
                "unknown_genet", f"There is no genet {wanted.genet}.", "ramets", row, "genet"
            )
        for code in wanted.parents:
            if code not in self.genets:
                problems.add(
                    "unknown_genet", f"There is no genet {code}.", "ramets", row, "parents"
                )
        # Of any taxon: corals cross.
        self.parents.append(
            sorted({self.genets[code].pk for code in wanted.parents if code in self.genets})
        )
        colonies = [self.colonies[code] for code in wanted.donors if code in self.colonies]
        self.donors.append(sorted({colony.pk for colony in colonies}))
        for code in wanted.donors:
            if code not in self.colonies:
                problems.add(
                    "unknown_donorcolony",
                    f"There is no donor colony {code}.",
                    "ramets",
                    row,
                    "donors",
                )
        strangers = [one for one in colonies if taxon is not None and one.taxon_id != taxon.pk]
        for colony in strangers:
            problems.add(
                "donor_other_taxon",
                f"{colony.code} is not of {wanted.taxon}.",
                "ramets",
                row,
                "donors",
            )
        if (
            genet is None
            and colonies
            and not strangers
            and len({colony.genet_id for colony in colonies}) == 1
        ):
            genet = colonies[0].genet
        if genet is not None and taxon is not None and genet.taxon_id != taxon.pk:
            problems.add(
                "genet_other_taxon", f"{genet.code} is not of {taxon.name}.", "ramets", row, "genet"
            )
        return Ramet(
            taxon=taxon,
            origin=origin,
            pieces=wanted.pieces,
            base=wanted.base,
            purpose=Purpose.of(wanted.purpose),
            entered_genet=genet,
            genet=genet,
            generation=wanted.generation,
            note=wanted.note,
        )

    def give_parents(self, ramets: Sequence[Ramet]) -> None:
        """Keep the genets that may be parents of each (saved) ramet."""
        bulk.insert(
            Parent,
            [
                Parent(ramet=ramet, genet_id=pk)
                for ramet, ids in zip(ramets, self.parents, strict=True)
                for pk in ids
            ],
        )

    def give_donors(self, ramets: Sequence[Ramet]) -> None:
        """Give each ramet its donor set, once the structures are locked; sets are made in their
        order, so that two writers of the same ones do not wait for each other."""
        sets = {ids: donor_set(ids) for ids in sorted({tuple(each) for each in self.donors})}
        for ramet, ids in zip(ramets, self.donors, strict=True):
            ramet.donor_set = sets[tuple(ids)]
