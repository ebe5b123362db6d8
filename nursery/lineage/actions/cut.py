"""Cutting: one or several ramets become new ones, placed at once or later."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from django.db import transaction

from nursery.core import bulk
from nursery.core.actor import Actor, Role, require
from nursery.core.errors import Problem, Refused
from nursery.core.models import CodeSeries, EventKind
from nursery.core.recording import Recorded, begin
from nursery.donors.permits import attach
from nursery.lineage.actions.intake import placed
from nursery.lineage.births import give_codes, give_tags, series_prefix
from nursery.lineage.descent import fragmentation_of
from nursery.lineage.inputs import FragmentationIn
from nursery.lineage.ledger import Entry, lock, record
from nursery.lineage.members import states_at
from nursery.lineage.models import Fragmentation, Ramet, Source
from nursery.lineage.permission import require_stock
from nursery.lineage.replay import Change
from nursery.lineage.resolve import all_of
from nursery.lineage.spots import Spot, assign, wished
from nursery.lineage.words import Life, Origin, Place, Purpose, What
from nursery.places.models import Structure

ACT = "cut ramets"


@transaction.atomic
def cut(actor: Actor, given: FragmentationIn) -> Recorded:
    """Record a fragmentation of up to 1,000 children.

    Children are one generation past the oldest of their sources; they take genet, donors and taxon
    from them. Sources of several genets may be pooled: the children then have no genet, only
    candidates. Raises NotAllowed; Refused (`unknown_ramet`, `not_living`, `mixed_taxa`, `before_…`,
    and those of spots, codes and tags).
    """
    require(actor, Role.NURSERY, Role.FIELD, act=ACT)
    recorded = begin(actor, EventKind.FRAGMENTATION, given)
    if not recorded.fresh:
        return recorded
    event = recorded.event
    attach(event, given.permits)
    ids = all_of(
        [(source.ramet, ("sources", row, "ramet")) for row, source in enumerate(given.sources)],
        on=given.when.latest,
    )
    locked = lock(ids)
    sources = [locked[pk] for pk in ids]
    rows = given.rows
    spent = {pk for pk, source in zip(ids, given.sources, strict=True) if source.used_up}
    found = assign(
        [
            wished(child.structure or given.structure, child.cell, ("children", row, "cell"))
            for row, child in enumerate(rows)
        ],
        given.when,
        leaving=[row for row in sources if row.pk in spent],
        staying=[row for row in sources if row.pk not in spent],
    )
    require_stock(actor, sources, found.targets, act=ACT)
    _refuse_mixed_taxa(sources)
    then = states_at(locked, given.when.upper).values()
    aboard = all(state.place is Place.PACKED for state in then)
    fragmentation = fragmentation_of(sources)
    fragmentation.event = event
    fragmentation.children_count = len(rows)
    fragmentation.save(force_insert=True)
    bulk.insert_values(
        Source,
        ["fragmentation_id", "ramet_id", "used_up"],
        [
            (event.pk, ramet.pk, source.used_up)
            for ramet, source in zip(sources, given.sources, strict=True)
        ],
    )
    codes = give_codes(
        [(child.code, ("children", row, "code")) for row, child in enumerate(rows)],
        series_prefix(given.series, _home_series(sources, found.targets)),
    )
    children = bulk.copies(_child(fragmentation), len(rows))
    for number, (ramet, code, child) in enumerate(zip(children, codes, rows, strict=True), 1):
        ramet.code, ramet.number = code, number
        ramet.pieces, ramet.base, ramet.note = child.pieces, child.base, child.note
        ramet.purpose = Purpose.of(child.purpose)
    record(
        event,
        [
            *(
                Entry(ramet, cut_change(source.used_up), ("sources", row, "ramet"))
                for row, (ramet, source) in enumerate(zip(sources, given.sources, strict=True))
            ),
            *(
                Entry(child, _birth(spot, aboard), ("children", row, "cell"))
                for row, (child, spot) in enumerate(zip(children, found.spots, strict=True))
            ),
        ],
        found.locked,
    )
    give_tags(
        event,
        [
            (ramet, child.tag, ("children", row, "tag"))
            for row, (ramet, child) in enumerate(zip(children, rows, strict=True))
        ],
    )
    return recorded


def _refuse_mixed_taxa(sources: Sequence[Ramet]) -> None:
    if len({ramet.taxon_id for ramet in sources}) > 1:
        raise Refused(
            Problem(
                "mixed_taxa",
                "These ramets are of several taxa. Cut each taxon in an entry of its own.",
                ("sources",),
            )
        )


def cut_change(used_up: bool) -> Change:
    """What a cutting does to a ramet that it is made from."""
    if used_up:
        return Change(What.USED_UP, life=Life.USED_UP, place=Place.NOWHERE)
    return Change(What.CUT_FROM)


def _birth(spot: Spot | None, aboard: bool) -> Change:
    if spot is not None:
        return placed(What.BORN, spot, Life.LIVING)
    place = Place.PACKED if aboard else Place.NOWHERE
    return Change(What.BORN, life=Life.LIVING, place=place)


def _child(fragmentation: Fragmentation) -> Ramet:
    """What all children of a cutting have in common."""
    return Ramet(
        taxon_id=fragmentation.taxon_id,
        origin=Origin.CUT,
        fragmentation=fragmentation,
        genet_id=fragmentation.genet_id,
        donor_set_id=fragmentation.donor_set_id,
        generation=fragmentation.generation,
    )


def _home_series(sources: Sequence[Ramet], targets: Sequence[Structure]) -> CodeSeries | None:
    """The series of the nursery that the children go to, else of the one the sources stand in."""
    at = {ramet.structure_id for ramet in sources if ramet.structure_id is not None}
    homes: Iterable[Structure] = targets or Structure.objects.select_related(
        "nursery__series"
    ).filter(pk__in=at)
    for row in sorted(homes, key=lambda row: row.pk):
        if row.nursery is not None and row.nursery.series is not None:
            return row.nursery.series
    return None
