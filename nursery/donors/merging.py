"""Genets that turned out to be one individual, and which of them it is known as.

Each merge is an edge between two genets. What hangs together by the edges that are live is one
individual; it is known as the `kept` of the last merge that joined two groups into this one. A
merge of two that were one already joins nothing.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from nursery.core import bulk
from nursery.donors.models import Genet, GenetMerge, Taxon

Edge = tuple[int, int]
"""A merge: the id of the genet kept, and of the one merged into it."""


def canonical(edges: Sequence[Edge]) -> dict[int, int]:
    """The genet that each one in the edges is known as, itself included; edges in the order of
    their moments. Pure."""
    groups: dict[int, set[int]] = {}
    known: dict[int, int] = {}
    for kept, merged in edges:
        first = groups.setdefault(kept, {kept})
        second = groups.setdefault(merged, {merged})
        if first is second:
            continue
        first |= second
        for pk in second:
            groups[pk] = first
        known |= dict.fromkeys(first, kept)
    return known


def joined_by(edges: Sequence[Edge], one: int, other: int) -> int | None:
    """The number of the edge that made two genets one individual, or None if they are two. Pure."""
    for number in range(len(edges)):
        known = canonical(edges[: number + 1])
        if one in known and known[one] == known.get(other):
            return number
    return None


def lock_group(genet_ids: Iterable[int]) -> dict[int, Genet]:
    """Lock these genets and all that were ever merged with them, void merges too, by their ids.

    Their taxa are locked first, so that one merge of a taxon comes after another: while one waited
    for genets of its group the other could make that larger, and they would wait for each other.
    Nobody waits who only points at taxa and genets, as new ramets do.
    """
    ids = set(genet_ids)
    taxa = Genet.objects.filter(pk__in=ids).values("taxon")
    list(Taxon.objects.select_for_update(no_key=True).filter(pk__in=taxa).order_by("pk"))
    rows = Genet.objects.select_for_update(no_key=True).filter(pk__in=_group(ids)).order_by("pk")
    return {row.pk: row for row in rows}


def merges_among(genet_ids: Iterable[int]) -> list[GenetMerge]:
    """The live merges of these genets, in the order of their moments."""
    rows = GenetMerge.objects.filter(kept__in=list(genet_ids), event__live=True)
    return list(rows.select_related("event").order_by("event__moment", "event_id"))


def canonical_anew(genet_ids: Iterable[int]) -> set[int]:
    """Write again what these genets and all that were ever merged with them are known as, after a
    merge came, went or was corrected. Returns the ids of them all, locked."""
    rows = lock_group(genet_ids)
    known = canonical([(row.kept_id, row.merged_id) for row in merges_among(rows)])
    changed = []
    for pk, row in rows.items():
        head = known.get(pk, pk)
        wanted = None if head == pk else head
        if row.canonical_id != wanted:
            row.canonical_id = wanted
            changed.append(row)
    bulk.update(Genet, changed, ["canonical"])
    return set(rows)


def _group(genet_ids: Iterable[int]) -> set[int]:
    """All genets that any merge, void or not, connects with these."""
    found = set(genet_ids)
    while True:
        pairs = {
            *GenetMerge.objects.filter(kept__in=found).values_list("kept_id", "merged_id"),
            *GenetMerge.objects.filter(merged__in=found).values_list("kept_id", "merged_id"),
        }
        more = {pk for pair in pairs for pk in pair} - found
        if not more:
            return found
        found |= more
