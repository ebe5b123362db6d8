"""Proposals: which samples match, for a person to decide about."""

from __future__ import annotations

import uuid
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from django.db import transaction

from nursery.core import bulk
from nursery.core.actor import Actor, require
from nursery.core.errors import Problem, Refused
from nursery.core.inputs import digest_of
from nursery.genotyping.calls import Calls
from nursery.genotyping.inputs import MatchingIn
from nursery.genotyping.matching import Group, Pair, groups, matches
from nursery.genotyping.models import (
    GenotypeTable,
    GroupMember,
    MatchGroup,
    Panel,
    Proposal,
)
from nursery.genotyping.queries import Typed, typed_of_panel, typed_of_table
from nursery.genotyping.repeats import same_or_refuse

ACT = "propose which samples match"


@dataclass(frozen=True, slots=True)
class Proposed:
    """A proposal, and whether this call made it (`fresh`) or found it by its uid."""

    proposal: Proposal
    fresh: bool


def propose(actor: Actor, given: MatchingIn) -> Proposed:
    """Compare all samples of a table, or of a panel (of one typed twice the last table counts), and
    keep which hang together. Nothing else is changed by it.

    For leads alone. Raises NotAllowed; Conflict (`uid_taken`); Refused (`unknown_panel`,
    `unknown_table`, `mixed_writing`, `nothing_typed`, `out_of_range`).
    """
    require(actor, act=ACT)
    digest = digest_of("PROPOSAL", given)
    if given.uid is not None:
        known = Proposal.objects.filter(uid=given.uid).first()
        if known is not None:
            same_or_refuse(known.digest, known.made_by_id, digest, actor)
            return Proposed(known, fresh=False)
    panel, table, typed = _typed(given)
    loci = len(typed.calls.loci)
    if given.minimum > loci or given.threshold >= loci:
        raise Refused(
            Problem(
                "out_of_range",
                f"The panel has {loci} loci: two samples share that many at most, and differ at "
                "fewer where they match.",
                ("minimum" if given.minimum > loci else "threshold",),
            )
        )
    found = matches(typed.calls, given.threshold, given.minimum)
    together = groups(typed.calls, found, given.threshold, given.minimum)
    together.sort(key=lambda group: (-len(group.members), group.members))
    with transaction.atomic():
        made = Proposal.objects.create(
            uid=given.uid or uuid.uuid4(),
            panel=panel,
            table=table,
            threshold=given.threshold,
            minimum=given.minimum,
            spread=_without_tail(found.spread.tolist()),
            digest=digest,
            made_by_id=actor.user_id,
        )
        _keep(made, typed, together)
    return Proposed(made, fresh=True)


def _typed(given: MatchingIn) -> tuple[Panel, GenotypeTable | None, Typed]:
    if given.table is not None:
        table = GenotypeTable.objects.select_related("panel").filter(uid=given.table).first()
        if table is None:
            message = f"There is no table {given.table}."
            raise Refused(Problem("unknown_table", message, ("table",)))
        return table.panel, table, typed_of_table(table)
    panel = Panel.objects.filter(code=given.panel).first()
    if panel is None:
        raise Refused(Problem("unknown_panel", f"There is no panel {given.panel}.", ("panel",)))
    return panel, None, typed_of_panel(panel)


def _without_tail(counts: list[int]) -> list[int]:
    """The counts up to the last that is not 0."""
    while counts and not counts[-1]:
        counts.pop()
    return counts


def _keep(made: Proposal, typed: Typed, together: Sequence[Group]) -> None:
    rows = bulk.insert(
        MatchGroup,
        [
            MatchGroup(
                proposal=made,
                number=number,
                size=len(group.members),
                chain=_chain(typed.calls, group),
            )
            for number, group in enumerate(together, start=1)
        ],
    )
    bulk.insert_values(
        GroupMember,
        ("group_id", "sample_id"),
        [
            (row.pk, typed.samples[number].pk)
            for row, group in zip(rows, together, strict=True)
            for number in group.members
        ],
    )


def _chain(calls: Calls, group: Group) -> dict[str, Any]:
    def told(pairs: Sequence[Pair]) -> list[list[Any]]:
        return [
            [calls.samples[pair.first], calls.samples[pair.second], pair.mismatches, pair.shared]
            for pair in pairs
        ]

    return {
        "links": told(group.links),
        "apart": told(group.apart),
        "apart_count": group.apart_count,
        "untold": told(group.untold),
        "untold_count": group.untold_count,
    }
