"""Merging genets: two turn out to be one individual."""

from __future__ import annotations

from collections.abc import Collection

from django.db import transaction
from django.db.models import Count, Q

from nursery.core.actor import Actor, require
from nursery.core.dates import dated
from nursery.core.errors import Problem, ProblemList, Refused
from nursery.core.models import Event, EventKind
from nursery.core.recording import Recorded, begin
from nursery.donors.merging import canonical_anew, joined_by, lock_group, merges_among
from nursery.donors.models import Genet, GenetMerge
from nursery.donors.permits import attach
from nursery.lineage import descent, walk
from nursery.lineage.inputs import GenetMergeIn
from nursery.lineage.models import Ramet, Source
from nursery.lineage.regrouping import Effect, effect, looked
from nursery.lineage.rows import key_of, put_at
from nursery.lineage.timeline import candidates
from nursery.lineage.words import Life

ACT = "merge genets"


@transaction.atomic
def merge_genets(actor: Actor, given: GenetMergeIn) -> Recorded:
    """Record that two genets are one individual, known as `kept`. For leads alone.

    Ramets keep the genet that is written on them; it is read as the one it is known as. Those cut
    from several sources that turn out to be of one individual are of it now. Raises NotAllowed;
    Refused (`unknown_genet`, `merged_with_itself`, `merged_already`, `genet_other_taxon`).
    """
    require(actor, act=ACT)
    recorded = begin(actor, EventKind.GENET_MERGE, given)
    if not recorded.fresh:
        return recorded
    event = recorded.event
    attach(event, given.permits)
    kept, merged = _genets(given)
    group = lock_group([kept.pk, merged.pk])
    known = merges_among(group)
    _refuse_merged(event, kept, merged, known)
    _lock_ramets(group)
    _set_moment(event, known)
    GenetMerge.objects.create(event=event, kept=kept, merged=merged)
    follow(canonical_anew([kept.pk, merged.pk]))
    return recorded


def merging_effect(actor: Actor, given: GenetMergeIn) -> Effect:
    """What `merge_genets` would change; nothing is kept. Raises what it raises."""
    require(actor, act=ACT)
    with transaction.atomic():
        kept, merged = _genets(given)
        group = lock_group([kept.pk, merged.pk])
        which = Q(genet__in=group) | Q(pk__in=walk.all_descendants(pooled(group)))
        before = looked(which)
        merge_genets(actor, given)
        found = effect(before, looked(which))
        transaction.set_rollback(True)
    return found


def follow(group: Collection[int]) -> None:
    """Work out again what was cut from sources of several genets of a group that became or ceased
    to be one individual."""
    descent.work_out(pooled(group))


def pooled(group: Collection[int]) -> set[int]:
    """The ramets that were cut from sources of two or more of these genets."""
    cuttings = (
        Source.objects.filter(ramet__genet__in=group)
        .order_by()
        .values("fragmentation")
        .annotate(genets=Count("ramet__genet", distinct=True))
        .filter(genets__gte=2)
        .values("fragmentation")
    )
    return set(Ramet.everything.filter(fragmentation__in=cuttings).values_list("pk", flat=True))


def _genets(given: GenetMergeIn) -> tuple[Genet, Genet]:
    if given.kept == given.merged:
        raise Refused(
            Problem(
                "merged_with_itself",
                f"{given.kept} is one genet. Name two that turned out to be the same individual.",
                ("merged",),
            )
        )
    rows = Genet.objects.select_related("taxon").filter(code__in=[given.kept, given.merged])
    known = {row.code: row for row in rows}
    problems = ProblemList()
    for field, code in (("kept", given.kept), ("merged", given.merged)):
        if code not in known:
            problems.add("unknown_genet", f"There is no genet {code}.", field)
    problems.raise_if_any()
    kept, merged = known[given.kept], known[given.merged]
    if kept.taxon_id != merged.taxon_id:
        raise Refused(
            Problem(
                "genet_other_taxon",
                f"{merged.code} is of {merged.taxon.name} and {kept.code} of {kept.taxon.name}: "
                "one individual is of one taxon. Correct the taxon first.",
                ("merged",),
            )
        )
    return kept, merged


def _refuse_merged(event: Event, kept: Genet, merged: Genet, known: list[GenetMerge]) -> None:
    number = joined_by([(row.kept_id, row.merged_id) for row in known], kept.pk, merged.pk)
    if number is None:
        return
    by = known[number].event
    raise Refused(
        Problem(
            "merged_already",
            f"{kept.code} and {merged.code} are one individual already (genet merge "
            f"{dated(by.when)}), so this one {dated(event.when)} would change nothing.",
            ("merged",),
        )
    )


def _lock_ramets(group: Collection[int]) -> None:
    """Lock all that may be cut meanwhile and all that may change, in one order: a cutting of
    several of them is there before the merge, or reads what the merge wrote."""
    rows = Ramet.everything.filter(
        Q(genet__in=group, life=Life.LIVING) | Q(pk__in=walk.all_descendants(pooled(group)))
    )
    list(rows.select_for_update(no_key=True).order_by("pk").values_list("pk"))


def _set_moment(event: Event, known: list[GenetMerge]) -> None:
    """A merge stands after all others of its genets, where its date allows."""
    put_at(event, candidates(event.when, [key_of(row.event) for row in known])[0])
