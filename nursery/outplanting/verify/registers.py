"""Registers: colonies beside their genets, positions beside their exact ones, sets of donors."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator

from django.db.models import F

from nursery.donors.models import DonorColony, DonorSet, DonorSetMember
from nursery.donors.positions import misrounded
from nursery.donors.sets import key_of
from nursery.outplanting.verify.difference import Difference, Tell, breaks, differs
from nursery.outplanting.verify.reading import by_id, chunks, codes, each, event_names


def find(tell: Tell) -> Iterator[Difference]:
    """Colonies, exact positions (only whether they fit is told) and donor sets."""
    strangers = DonorColony.objects.exclude(genet__taxon=F("taxon"))
    for _, code, found, right in each(strangers, "code", "taxon__code", "genet__taxon__code"):
        yield differs("colony_taxon", f"colony {code}", "taxon", found, right)
    tell("positions", 0)
    colonies, events = misrounded()
    for part in chunks(colonies):
        named = codes(DonorColony, part)
        for pk in part:
            yield breaks(
                "rounded_position",
                f"colony {named[pk]}",
                "its rounded position does not follow from the exact one.",
            )
    for part in chunks(events):
        names = event_names(part)
        for pk in part:
            yield breaks(
                "rounded_position",
                names[pk],
                "its rounded position does not follow from the exact one.",
            )
    yield from _sets(tell)


def _sets(tell: Tell) -> Iterator[Difference]:
    """A set's key is made of its members."""
    for batch in by_id(DonorSet.objects.all(), "key", tell=tell, things="donor sets"):
        members: dict[int, set[int]] = defaultdict(set)
        links = DonorSetMember.objects.filter(
            donor_set__gte=batch[0][0], donor_set__lte=batch[-1][0]
        )
        for donor_set, colony in links.values_list("donor_set_id", "colony_id"):
            members[donor_set].add(colony)
        for pk, key in batch:
            if key != key_of(members[pk]):
                yield differs("donor_set_key", f"donor set {pk}", "key", key, key_of(members[pk]))
