"""Descent: genet, donors, generation and taxon of every cutting and ramet, worked out again from
the wild fragments down, in the order of the cuttings."""

from __future__ import annotations

from array import array
from bisect import bisect_left
from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from django.db.models import Q

from nursery.donors.models import Collection, DonorColony, DonorSetMember, Genet, Taxon
from nursery.lineage.descent import Heritage, of_sources
from nursery.lineage.models import Fragmentation, Ramet, Source, Step
from nursery.lineage.words import Origin, What
from nursery.outplanting.verify.difference import Difference, Tell, breaks, differs
from nursery.outplanting.verify.genets import canonical_genets
from nursery.outplanting.verify.reading import EVENT, by_id, codes, event_name

_HANDED_DOWN = ("taxon_id", "genet_id", "donor_set_id", "generation")
_AT_ONCE = 500
"""How many cuttings are looked at together, with all their children."""


class _Known:
    """What each ramet inherits, in a few bytes a ramet: all heritages once, numbered."""

    def __init__(self, tell: Tell) -> None:
        self._ids = array("q")
        for batch in by_id(Ramet.everything.all(), tell=tell, things="ids of ramets"):
            self._ids.extend(pk for (pk,) in batch)
        self._numbers = array("l", bytes(array("l").itemsize * len(self._ids)))
        self._heritages: list[Heritage | None] = [None]
        self._number_of: dict[Heritage, int] = {}

    def set(self, pk: int, heritage: Heritage) -> None:
        number = self._number_of.get(heritage)
        if number is None:
            number = self._number_of[heritage] = len(self._heritages)
            self._heritages.append(heritage)
        self._numbers[bisect_left(self._ids, pk)] = number

    def get(self, pk: int) -> Heritage | None:
        return self._heritages[self._numbers[bisect_left(self._ids, pk)]]


class _Reckoning:
    """One pass over the whole programme."""

    def __init__(self, tell: Tell) -> None:
        self.tell = tell
        self.known = _Known(tell)
        self.members = _members()
        self.canonical = canonical_genets()
        self.labels = _labels()
        self.waiting: list[tuple[Any, ...]] = []
        self.done = 0

    def run(self) -> Iterator[Difference]:
        yield from self._founders()
        # Void cuttings last: the moments of their mothers may have been corrected since.
        for live in (True, False):
            for batch in _cuttings(live):
                yield from self._cut(batch)
                self.done += len(batch)
                self.tell("cuttings", self.done)
        before = -1
        while self.waiting and len(self.waiting) != before:
            before, again, self.waiting = len(self.waiting), self.waiting, []
            for start in range(0, len(again), _AT_ONCE):
                yield from self._cut(again[start : start + _AT_ONCE])
        for _, _, *row in self.waiting:
            yield breaks(
                "cut_from_its_own_children",
                event_name(row[-len(EVENT) :]),
                "its sources descend from its own children, or from nothing.",
            )

    def _founders(self) -> Iterator[Difference]:
        """Ramets that were not cut: from a collection, or as they were entered."""
        rows = Ramet.everything.filter(fragmentation__isnull=True)
        of_collection = [f"collection__{name}" for name in ("taxon_id", "genet_id", "colony_id")]
        for batch in by_id(
            rows,
            *("code", "origin", "entered_genet_id", *_HANDED_DOWN, *of_collection),
            tell=self.tell,
            things="ramets that were not cut",
        ):
            for pk, code, origin, entered, *rest in batch:
                written = self._written(rest[:4])
                if origin == Origin.COLLECTED:
                    taxon, genet, colony = rest[4:]
                    donors = frozenset(() if colony is None else (colony,))
                    right = Heritage(taxon, genet, donors, 0)
                else:
                    right = Heritage(written.taxon, entered, written.donors, written.generation)
                right = self._labelled(pk, right)
                self.known.set(pk, right)
                yield from self._compare("ramet", f"ramet {code}", written, right)

    def _cut(self, batch: Sequence[tuple[Any, ...]]) -> Iterator[Difference]:
        """Cuttings in the order in which they stand, each with its children."""
        ids = [row[0] for row in batch]
        sources: dict[int, list[int]] = defaultdict(list)
        links = Source.objects.filter(fragmentation__in=ids).order_by("pk")
        for cutting, ramet in links.values_list("fragmentation_id", "ramet_id"):
            sources[cutting].append(ramet)
        children: dict[int, list[tuple[Any, ...]]] = defaultdict(list)
        rows = Ramet.everything.filter(fragmentation__in=ids).order_by("pk")
        for cutting, *row in rows.values_list("fragmentation_id", "pk", "code", *_HANDED_DOWN):
            children[cutting].append(tuple(row))
        for row in batch:
            pk, _, *fields = row
            found = [self.known.get(source) for source in sources[pk]]
            heritages = [one for one in found if one is not None]
            name = event_name(fields[-len(EVENT) :])
            written = self._written(fields[:4])
            if not found:
                yield breaks("cut_from_nothing", name, "it names no ramet that was cut.")
                right = written
            elif len(heritages) < len(found):
                self.waiting.append(row)
                continue
            else:
                right = of_sources(heritages, self.canonical)
                if len({one.taxon for one in heritages}) > 1:
                    yield breaks("mixed_taxa", name, "the ramets that it cut are of several taxa.")
            yield from self._compare("fragmentation", name, written, right)
            for child, code, *cached in children[pk]:
                expected = self._labelled(child, right)
                self.known.set(child, expected)
                yield from self._compare("ramet", f"ramet {code}", self._written(cached), expected)

    def _labelled(self, pk: int, found: Heritage) -> Heritage:
        if pk not in self.labels:
            return found
        return Heritage(found.taxon, self.labels[pk], found.donors, found.generation)

    def _written(self, columns: Sequence[Any]) -> Heritage:
        taxon, genet, donor_set, generation = columns
        donors = self.members.get(donor_set, frozenset())
        return Heritage(taxon, genet, donors, generation)

    def _compare(
        self, kind: str, what: str, written: Heritage, right: Heritage
    ) -> Iterator[Difference]:
        if written == right:
            return
        if written.taxon != right.taxon:
            named = codes(Taxon, [written.taxon, right.taxon])
            yield differs(f"{kind}_taxon", what, "taxon", named[written.taxon], named[right.taxon])
        if written.genet != right.genet:
            named = codes(Genet, [written.genet, right.genet])
            yield differs(f"{kind}_genet", what, "genet", named[written.genet], named[right.genet])
        if written.donors != right.donors:
            named = codes(DonorColony, written.donors | right.donors)
            yield differs(
                f"{kind}_donor_set",
                what,
                "donors",
                {named[pk] for pk in written.donors},
                {named[pk] for pk in right.donors},
            )
        if written.generation != right.generation:
            yield differs(
                f"{kind}_generation", what, "generation", written.generation, right.generation
            )


def find(tell: Tell) -> Iterator[Difference]:
    """Every ramet and cutting, void ones too, for what they inherit is kept with them."""
    yield from _Reckoning(tell).run()
    yield from _collections(tell)
    yield from _foreign()


def _cuttings(live: bool) -> Iterator[list[tuple[Any, ...]]]:
    """Cuttings in the order in which they stand: id, moment, what they hand down, name."""
    fields = ("event__moment", *_HANDED_DOWN, *(f"event__{name}" for name in EVENT))
    rows = Fragmentation.objects.filter(event__live=live).order_by("event__moment", "event_id")
    after = rows
    while batch := list(after.values_list("pk", *fields)[:_AT_ONCE]):
        yield batch
        pk, moment = batch[-1][:2]
        later = Q(event__moment__gt=moment) | Q(event__moment=moment, event_id__gt=pk)
        after = rows.filter(later)


def _members() -> Mapping[int | None, frozenset[int]]:
    found: dict[int | None, set[int]] = defaultdict(set)
    for batch in by_id(DonorSetMember.objects.all(), "donor_set_id", "colony_id"):
        for _, donor_set, colony in batch:
            found[donor_set].add(colony)
    return {pk: frozenset(colonies) for pk, colonies in found.items()}


def _labels() -> dict[int, int | None]:
    """The genet of the last relabelling of each ramet that was relabelled."""
    found: dict[int, tuple[Any, int | None]] = {}
    steps = Step.objects.filter(what=What.RELABELLED, live=True)
    fields = ("ramet_id", "event__moment", "event_id", "event__relabelling__genet_id")
    for batch in by_id(steps, *fields):
        for _, ramet, moment, event, genet in batch:
            key = (moment, event)
            if ramet not in found or found[ramet][0] < key:
                found[ramet] = key, genet
    return {ramet: genet for ramet, (_, genet) in found.items()}


def _collections(tell: Tell) -> Iterator[Difference]:
    """What was collected is what the colony is."""
    names = ("taxon", "genet", "reef")
    fields = [f"{name}__code" for name in names]
    of_colony = [f"colony__{field}" for field in fields]
    for batch in by_id(
        Collection.objects.filter(colony__isnull=False),
        *fields,
        *of_colony,
        *(f"event__{name}" for name in EVENT),
        tell=tell,
        things="collections",
    ):
        for row in batch:
            written, right = row[1:4], row[4:7]
            for name, found, wanted in zip(names, written, right, strict=True):
                if found != wanted:
                    what = event_name(row[7:])
                    yield differs(f"collection_{name}", what, name, found, wanted)


def _foreign() -> Iterator[Difference]:
    """Genets and donors of another taxon than the ramet."""
    rows = Ramet.everything.exclude(genet=None).values_list("taxon_id", "genet_id").order_by()
    taxa = dict(Genet.objects.values_list("pk", "taxon_id"))
    for taxon, genet in sorted(rows.distinct()):
        if taxa[genet] != taxon:
            yield from _each_foreign("genet_other_taxon", "genet", {"taxon": taxon, "genet": genet})
    sets = Ramet.everything.exclude(donor_set=None).values_list("taxon_id", "donor_set_id")
    of_colonies: dict[int, set[int]] = defaultdict(set)
    links = DonorSetMember.objects.values_list("donor_set_id", "colony__taxon_id").order_by()
    for donor_set, taxon in links.distinct():
        of_colonies[donor_set].add(taxon)
    for taxon, donor_set in sorted(sets.order_by().distinct()):
        if of_colonies[donor_set] - {taxon}:
            yield from _each_foreign(
                "donor_other_taxon", "donor colony", {"taxon": taxon, "donor_set": donor_set}
            )


def _each_foreign(rule: str, thing: str, which: Mapping[str, int]) -> Iterator[Difference]:
    for batch in by_id(Ramet.everything.filter(**which), "code"):
        for _, code in batch:
            yield breaks(rule, f"ramet {code}", f"a {thing} of it is of another taxon.")
