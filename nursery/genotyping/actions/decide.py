"""Decisions about groups of samples that match: accepted or rejected, with a reason.

Accepting leads to entries that anybody may make without a genotype as well: merges of genets and a
relabelling. They are made by the same actions, so that they are previewed, voided and restored as
any other, and what they did to the record goes with them.
"""

from __future__ import annotations

import uuid
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass

from django.db import transaction
from django.db.models import Q

from nursery.core import bulk
from nursery.core.actor import Actor, require
from nursery.core.errors import Path, Problem, ProblemList, Refused, Trouble, Unknown
from nursery.core.inputs import digest_of
from nursery.core.models import Event
from nursery.donors.merging import lock_group
from nursery.donors.models import Genet
from nursery.genotyping.confirming import confirm_anew
from nursery.genotyping.inputs import AcceptedIn, RejectedIn
from nursery.genotyping.models import (
    Confirmation,
    Decision,
    GroupMember,
    MatchGroup,
    Sample,
    Verdict,
)
from nursery.genotyping.repeats import same_or_refuse
from nursery.lineage import walk
from nursery.lineage.actions.merge import merge_genets, pooled
from nursery.lineage.actions.relabel import relabel
from nursery.lineage.inputs import GenetMergeIn, RelabelledIn, RelabellingIn
from nursery.lineage.regrouping import Effect, effect, looked
from nursery.lineage.resolve import all_of

ACT = "decide which samples are of one individual"


@dataclass(frozen=True, slots=True)
class Decided:
    """A decision, and whether this call made it (`fresh`) or found it by its uid."""

    decision: Decision
    fresh: bool


@transaction.atomic
def accept(actor: Actor, given: AcceptedIn) -> Decided:
    """Accept that a group's samples are of one genet: merge genets into it, relabel ramets as of
    it, and confirm it by the panel and the samples.

    For leads alone. Raises NotAllowed; Unknown (`unknown_group`); Conflict (`uid_taken`); Refused
    (`decided_already`, `unknown_genet`, `not_itself`, `not_in_group`, `left_over`, and those of
    merges and relabellings).
    """
    group, known = _begun(actor, given, "ACCEPTED")
    if known is not None:
        return known
    genet = _genet(given.genet)
    ids = _relabelled(group, given)
    decision = _decision(actor, group, given, Verdict.ACCEPTED, genet)
    events: list[Event] = []
    for number, code in enumerate(given.merge):
        merge = GenetMergeIn(
            uid=uuid.uuid5(decision.uid, code),
            when=given.when,
            kept=given.genet,
            merged=code,
            note=given.reason,
        )
        with _at({"merged": ("merge", number), "kept": ("genet",)}):
            events.append(merge_genets(actor, merge).event)
    if ids:
        relabelling = RelabellingIn(
            uid=uuid.uuid5(decision.uid, "ramets"),
            when=given.when,
            genet=given.genet,
            ramets=tuple(RelabelledIn(ramet=ramet) for ramet in given.ramets),
            note=given.reason,
        )
        events.append(relabel(actor, relabelling).event)
    decision.events.set(events)
    samples = _members(group)
    _refuse_left_over(genet, samples)
    bulk.insert(
        Confirmation,
        [
            Confirmation(decision=decision, genet=genet, sample=sample, on=given.when.latest)
            for sample in samples
        ],
    )
    confirm_anew(actor, _affected(group))
    return Decided(decision, fresh=True)


def accepting_effect(actor: Actor, given: AcceptedIn) -> Effect:
    """What `accept` would change, place by place and genet by genet; nothing is kept. Raises what
    it raises."""
    require(actor, act=ACT)
    with transaction.atomic():
        genets = Genet.objects.filter(code__in=[given.genet, *given.merge])
        together = lock_group(genets.values_list("pk", flat=True))
        named = all_of(_named(given), on=given.when.latest)
        which = Q(genet__in=together) | Q(pk__in=walk.all_descendants({*pooled(together), *named}))
        before = looked(which)
        accept(actor, given)
        found = effect(before, looked(which))
        transaction.set_rollback(True)
    return found


@transaction.atomic
def reject(actor: Actor, given: RejectedIn) -> Decided:
    """Reject that a group's samples are of one genet. Nothing else is changed by it.

    Raises as `accept`.
    """
    group, known = _begun(actor, given, "REJECTED")
    if known is not None:
        return known
    decision = _decision(actor, group, given, Verdict.REJECTED, None)
    confirm_anew(actor, _affected(group))
    return Decided(decision, fresh=True)


def _begun(
    actor: Actor, given: AcceptedIn | RejectedIn, act: str
) -> tuple[MatchGroup, Decided | None]:
    """The group, locked; and the decision of this uid where there is one already."""
    require(actor, act=ACT)
    group = (
        MatchGroup.objects.select_for_update(of=("self",))
        .select_related("proposal__panel")
        .filter(proposal__uid=given.proposal, number=given.group)
        .first()
    )
    if group is None:
        message = f"There is no group {given.group} of such a proposal."
        raise Unknown(Problem("unknown_group", message, ("group",)))
    if given.uid is not None:
        known = Decision.objects.filter(uid=given.uid).first()
        if known is not None:
            same_or_refuse(known.digest, known.decided_by_id, digest_of(act, given), actor)
            return group, Decided(known, fresh=False)
    last = group.decisions.order_by("-pk").first()
    if last is not None and last.events.filter(live=True).exists():
        raise Refused(
            Problem(
                "decided_already",
                f"Group {group.number} was accepted, and genets were merged or ramets relabelled "
                "by that. Void these entries first; then decide again.",
                ("group",),
            )
        )
    return group, None


def _decision(
    actor: Actor,
    group: MatchGroup,
    given: AcceptedIn | RejectedIn,
    verdict: Verdict,
    genet: Genet | None,
) -> Decision:
    return Decision.objects.create(
        uid=given.uid or uuid.uuid4(),
        group=group,
        verdict=verdict,
        genet=genet,
        reason=given.reason,
        digest=digest_of(verdict.name, given),
        decided_by_id=actor.user_id,
    )


def _genet(code: str) -> Genet:
    """The genet, which is known as itself."""
    genet = Genet.objects.select_related("canonical").filter(code=code).first()
    if genet is None:
        raise Refused(Problem("unknown_genet", f"There is no genet {code}.", ("genet",)))
    if genet.canonical is not None:
        raise Refused(
            Problem(
                "not_itself",
                f"{code} is known as {genet.canonical.code} since they were merged. Name that.",
                ("genet",),
            )
        )
    return genet


def _named(given: AcceptedIn) -> list[tuple[str, Path]]:
    return [(ramet, ("ramets", number)) for number, ramet in enumerate(given.ramets)]


def _relabelled(group: MatchGroup, given: AcceptedIn) -> list[int]:
    """The ramets whose labels were wrong: samples of the group were taken of them."""
    ids = all_of(_named(given), on=given.when.latest)
    sampled = set(
        GroupMember.objects.filter(group=group).values_list("sample__ramet_id", flat=True)
    )
    problems = ProblemList()
    for number, pk in enumerate(ids):
        if pk not in sampled:
            problems.add(
                "not_in_group",
                f"No sample of {given.ramets[number]} is in this group, so its genotype says "
                "nothing of it. Relabel it by an entry of its own.",
                *("ramets", number),
            )
    problems.raise_if_any()
    return ids


def _members(group: MatchGroup) -> list[Sample]:
    rows = Sample.objects.filter(memberships__group=group, event__live=True).order_by("code")
    return list(rows.select_related("ramet__genet", "colony__genet"))


def _refuse_left_over(genet: Genet, samples: Sequence[Sample]) -> None:
    """Refuse (`left_over`) where a sample would still be of another genet, or of none."""
    problems = ProblemList()
    for sample in samples:
        label = sample.source.genet
        if label is not None and (label.canonical_id or label.pk) == genet.pk:
            continue
        what = "a genet that is not known" if label is None else label.code
        mend = "Relabel the ramet" if sample.ramet is not None else "Merge that genet"
        problems.add(
            "left_over",
            f"{sample.source.code} (sample {sample.code}) would still be of {what}. {mend}, or "
            "reject the group.",
            "group",
        )
    problems.raise_if_any()


def _affected(group: MatchGroup) -> set[int]:
    """The genets that any decision about the group confirmed."""
    found = Confirmation.objects.filter(decision__group=group)
    return set(found.values_list("genet_id", flat=True))


@contextmanager
def _at(paths: dict[str, Path]) -> Iterator[None]:
    """Refusals of an action inside this one, at the fields that they came from here."""
    try:
        yield
    except Trouble as trouble:
        raise type(trouble)(
            [
                Problem(one.code, one.message, paths.get(one.field, one.path))
                for one in trouble.problems
            ]
        ) from trouble
