"""What a ramet inherits: genet, donors, generation and taxon, given at birth and worked out anew.

A ramet is of the genet of its last relabelling, else of what it descends from: its collection, what
it was entered as, or the ramets it was cut from if they are all of one genet. These are caches; a
correction far up the stem gives them anew to all that was cut from it.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from nursery.core import bulk
from nursery.core.errors import Problem, Refused
from nursery.donors.models import DonorSetMember, Genet
from nursery.donors.sets import donor_set
from nursery.lineage import walk
from nursery.lineage.models import Fragmentation, Ramet, Source, Step
from nursery.lineage.words import Origin, What

HANDED_DOWN = ("taxon", "genet", "donor_set", "generation")
"""The fields of a ramet and of a fragmentation that descend."""


@dataclass(frozen=True, slots=True)
class Heritage:
    """What is handed down: ids of taxon and genet (None: not known, or several), the donor colonies
    by their ids, and the generation (None where cuttings were not recorded)."""

    taxon: int
    genet: int | None
    donors: frozenset[int]
    generation: int | None


def of_sources(sources: Sequence[Heritage], canonical: Mapping[int, int]) -> Heritage:
    """What the children of these get. Genets that turned out to be one count as one."""
    genets = {
        one.genet if one.genet is None else canonical.get(one.genet, one.genet) for one in sources
    }
    plain: set[int | None] = {one.genet for one in sources}
    generations = [one.generation for one in sources]
    known = [generation for generation in generations if generation is not None]
    genet = next(iter(plain if len(plain) == 1 else genets)) if len(genets) == 1 else None
    return Heritage(
        taxon=sources[0].taxon,
        genet=genet,
        donors=frozenset().union(*(one.donors for one in sources)),
        generation=max(known) + 1 if len(known) == len(generations) else None,
    )


def heritage(ramets: Iterable[Ramet]) -> dict[int, Heritage]:
    """What is written on these ramets, by their ids."""
    rows = list(ramets)
    members = _members(row.donor_set_id for row in rows)
    return {row.pk: _written(row, members) for row in rows}


def _written(row: Ramet, members: Mapping[int, frozenset[int]]) -> Heritage:
    donors = members.get(row.donor_set_id or 0, frozenset())
    return Heritage(row.taxon_id, row.genet_id, donors, row.generation)


def canonical_of(genet_ids: Iterable[int | None]) -> dict[int, int]:
    """The genet that each of these turned out to be the same as, where it did."""
    ids = {pk for pk in genet_ids if pk is not None}
    if len(ids) < 2:
        return {}
    rows = Genet.objects.filter(pk__in=ids, canonical__isnull=False)
    return dict(rows.values_list("pk", "canonical_id"))


def fragmentation_of(sources: Sequence[Ramet]) -> Fragmentation:
    """The particulars of a cutting of these (locked) ramets: what its children get. Not saved."""
    one_set = len({row.donor_set_id for row in sources}) == 1
    none = dict.fromkeys((row.donor_set_id or 0 for row in sources), frozenset[int]())
    members = none if one_set else _members(row.donor_set_id for row in sources)
    made = of_sources(
        [_written(row, members) for row in sources],
        canonical_of(row.genet_id for row in sources),
    )
    donors = None if one_set else donor_set(made.donors)
    return Fragmentation(
        taxon_id=made.taxon,
        genet_id=made.genet,
        donor_set_id=sources[0].donor_set_id if one_set else (donors.pk if donors else None),
        generation=made.generation,
    )


def work_out(ramet_ids: Iterable[int]) -> dict[int, tuple[Heritage, Heritage]]:
    """Work out again what these ramets and all that was cut from them inherit, and save what
    changed. Returns, for each ramet that changed, what it was before and is after.

    The ramets are locked in the order of their ids. Raises Refused (`mixed_taxa`,
    `genet_other_taxon`).
    """
    ids = walk.all_descendants(ramet_ids)
    if not ids:
        return {}
    rows = {
        row.pk: row
        for row in Ramet.everything.select_for_update(of=("self",), no_key=True)
        .select_related("collection")
        .filter(pk__in=ids)
        .order_by("pk")
    }
    cuttings = {
        row.pk: row
        for row in Fragmentation.objects.select_related("event").filter(
            pk__in={row.fragmentation_id for row in rows.values()} - {None}
        )
    }
    sources: dict[int, list[int]] = defaultdict(list)
    links = Source.objects.filter(fragmentation__in=cuttings).order_by("pk")
    for cutting, ramet in links.values_list("fragmentation_id", "ramet_id"):
        sources[cutting].append(ramet)
    outside = {pk for found in sources.values() for pk in found} - rows.keys()
    known = heritage(Ramet.everything.filter(pk__in=outside))
    before = heritage(rows.values())
    labels = _labels(rows)
    canonical = canonical_of(
        [
            *(one.genet for one in before.values()),
            *(one.genet for one in known.values()),
            *labels.values(),
            *(row.entered_genet_id for row in rows.values()),
            *(row.collection.genet_id for row in rows.values() if row.collection is not None),
        ]
    )
    members = _members(row.donor_set_id for row in rows.values())
    for row in rows.values():
        if row.fragmentation_id is None:
            known[row.pk] = _labelled(row, _entered(row, members), labels)
    given: dict[int, Heritage] = {}
    children: dict[int, list[Ramet]] = defaultdict(list)
    for row in rows.values():
        if row.fragmentation_id is not None:
            children[row.fragmentation_id].append(row)
    waiting = sorted(cuttings.values(), key=lambda row: (row.event.moment, row.event_id))
    while waiting:
        # A ramet is born before it is cut; only void cuttings may stand before their mothers.
        ready = [made for made in waiting if all(pk in known for pk in sources[made.pk])]
        if not ready:
            raise RuntimeError("cuttings go round in a ring")
        for made in ready:
            found = [known[pk] for pk in sources[made.pk]]
            _refuse_mixed(made, found)
            given[made.pk] = of_sources(found, canonical)
            for row in children[made.pk]:
                known[row.pk] = _labelled(row, given[made.pk], labels)
        waiting = [made for made in waiting if made.pk not in given]
    _refuse_foreign(rows, known)
    return _save(rows, cuttings, before, known, given)


def _entered(row: Ramet, members: Mapping[int, frozenset[int]]) -> Heritage:
    """What a ramet that was not cut came into the record with."""
    collection = row.collection
    if row.origin == Origin.COLLECTED and collection is not None:
        donors = frozenset({collection.colony_id} if collection.colony_id else ())
        return Heritage(collection.taxon_id, collection.genet_id, donors, 0)
    donors = members.get(row.donor_set_id or 0, frozenset())
    return Heritage(row.taxon_id, row.entered_genet_id, donors, row.generation)


def _labels(ids: Iterable[int]) -> dict[int, int | None]:
    """The genet of the last relabelling of each ramet that was relabelled."""
    steps = Step.objects.filter(ramet__in=list(ids), what=What.RELABELLED, live=True)
    return dict(
        steps.order_by("ramet_id", "order").values_list("ramet_id", "event__relabelling__genet_id")
    )


def _labelled(row: Ramet, found: Heritage, labels: Mapping[int, int | None]) -> Heritage:
    if row.pk not in labels:
        return found
    return Heritage(found.taxon, labels[row.pk], found.donors, found.generation)


def _refuse_mixed(cutting: Fragmentation, sources: Sequence[Heritage]) -> None:
    if len({one.taxon for one in sources}) > 1:
        raise Refused(
            Problem(
                "mixed_taxa",
                f"The ramets of the {cutting.event} would be of several taxa. Correct that cutting "
                "first.",
            )
        )


def _refuse_foreign(rows: Mapping[int, Ramet], known: Mapping[int, Heritage]) -> None:
    genets = {genet for pk in rows if (genet := known[pk].genet) is not None}
    taxa = dict(Genet.objects.filter(pk__in=genets).values_list("pk", "taxon_id"))
    for pk, row in rows.items():
        genet = known[pk].genet
        if genet is not None and taxa[genet] != known[pk].taxon:
            raise Refused(
                Problem(
                    "genet_other_taxon",
                    f"{row.code} would be of a genet of another taxon. Correct the taxon or the "
                    "relabelling first.",
                )
            )


def _save(
    rows: Mapping[int, Ramet],
    cuttings: Mapping[int, Fragmentation],
    before: Mapping[int, Heritage],
    known: Mapping[int, Heritage],
    given: Mapping[int, Heritage],
) -> dict[int, tuple[Heritage, Heritage]]:
    changed = {pk: (before[pk], known[pk]) for pk in rows if before[pk] != known[pk]}
    wanted = {known[pk].donors for pk in changed} | {one.donors for one in given.values()}
    sets = {
        donors: found.pk if (found := donor_set(donors)) is not None else None
        for donors in sorted(wanted, key=sorted)
    }

    def put(row: Ramet | Fragmentation, one: Heritage) -> None:
        row.taxon_id, row.genet_id = one.taxon, one.genet
        row.donor_set_id, row.generation = sets[one.donors], one.generation

    for pk in changed:
        put(rows[pk], known[pk])
    bulk.update(Ramet, [rows[pk] for pk in changed], HANDED_DOWN)
    for pk, cutting in cuttings.items():
        put(cutting, given[pk])
    bulk.update(Fragmentation, list(cuttings.values()), HANDED_DOWN)
    return changed


def _members(set_ids: Iterable[int | None]) -> dict[int, frozenset[int]]:
    found: dict[int, set[int]] = defaultdict(set)
    ids = {pk for pk in set_ids if pk is not None}
    links = DonorSetMember.objects.filter(donor_set__in=ids)
    for donors, colony in links.values_list("donor_set_id", "colony_id"):
        found[donors].add(colony)
    return {pk: frozenset(colonies) for pk, colonies in found.items()}
