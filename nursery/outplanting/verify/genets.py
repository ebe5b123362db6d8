"""Genets that turned out to be one, by the live merges."""

from __future__ import annotations

from collections.abc import Iterator

from nursery.donors.models import Genet, GenetMerge
from nursery.outplanting.verify.difference import Difference, Tell, breaks, differs
from nursery.outplanting.verify.reading import EVENT, by_id, codes, event_name


def canonical_genets() -> dict[int, int]:
    """The genet that each genet is known as, for those that are not known as themselves.

    All that hang together by live merges are one. They are known as the kept one of the last merge
    that joined two of them which no earlier one had joined.
    """
    group_of: dict[int, int] = {}
    head_of: dict[int, int] = {}
    edges = GenetMerge.objects.filter(event__live=True).order_by("event__moment", "event_id")
    for number, (kept, merged) in enumerate(edges.values_list("kept_id", "merged_id")):
        # A genet that was never merged is a group of its own; those of merges have numbers ≥ 0.
        one, other = group_of.get(kept, -kept), group_of.get(merged, -merged)
        if one == other:
            continue
        joined = {pk for pk, group in group_of.items() if group in (one, other)}
        group_of |= dict.fromkeys(joined | {kept, merged}, number)
        head_of[number] = kept
    return {pk: head_of[group] for pk, group in group_of.items() if head_of[group] != pk}


def find(tell: Tell) -> Iterator[Difference]:
    """Every genet, and the taxa of those that were merged."""
    right = canonical_genets()
    for batch in by_id(Genet.objects.all(), "code", "canonical_id", tell=tell, things="genets"):
        for pk, code, written in batch:
            if written != right.get(pk):
                named = codes(Genet, [written, right.get(pk)])
                yield differs(
                    "genet_canonical",
                    f"genet {code}",
                    "the genet that it is known as",
                    named[written],
                    named[right.get(pk)],
                )
    merges = GenetMerge.objects.filter(event__live=True)
    fields = ("kept__taxon_id", "merged__taxon_id", *(f"event__{name}" for name in EVENT))
    for batch in by_id(merges, *fields):
        for _, kept, merged, *event in batch:
            if kept != merged:
                yield breaks("merged_other_taxon", event_name(event), "its genets are of two taxa.")
