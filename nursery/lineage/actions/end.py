"""How ramets end: dead, lost, discarded, sampled, handed over, or fused into another."""

from __future__ import annotations

from collections.abc import Sequence

from django.db import transaction

from nursery.core.actor import Actor, Role, require
from nursery.core.dates import When, certainly_before, dated
from nursery.core.errors import Problem, ProblemList, Refused
from nursery.core.models import Event, EventKind
from nursery.core.recording import Recorded, begin
from nursery.donors.permits import attach
from nursery.lineage.entries import before_birth
from nursery.lineage.inputs import EndedIn, EndingIn
from nursery.lineage.ledger import Entry, lock, record
from nursery.lineage.models import Ending, Ramet
from nursery.lineage.permission import require_stock
from nursery.lineage.replay import Change
from nursery.lineage.resolve import all_of, ramet_ids, unknown
from nursery.lineage.rows import histories
from nursery.lineage.timeline import Line, states
from nursery.lineage.words import Cause, Life, What

ACT = "end ramets"


@transaction.atomic
def end_ramets(actor: Actor, given: EndingIn) -> Recorded:
    """Record how up to 1,000 ramets ended. Each is kept where it was last; its cell is free.

    Outplants may end this way too, for example as samples; field staff enter those. A lost one may
    be found again later. Raises NotAllowed; Refused (`required`, `unknown_ramet`, `named_twice`,
    `not_living`, `fused_into_itself`, `into_not_living`, `into_other_taxon`, `before_…`,
    `behind_later_entry`).
    """
    require(actor, Role.NURSERY, Role.FIELD, act=ACT)
    recorded = begin(actor, EventKind.ENDING, given)
    if not recorded.fresh:
        return recorded
    event = recorded.event
    attach(event, given.permits)
    changes = _changes(given)
    ids = all_of(
        [(row.ramet, ("ramets", number, "ramet")) for number, row in enumerate(given.ramets)],
        on=given.when.latest,
    )
    into_id = _into(given)
    locked = lock([*ids, into_id] if into_id is not None else ids)
    ramets = [locked[pk] for pk in ids]
    require_stock(actor, ramets, [], act=ACT)
    into = locked[into_id] if into_id is not None else None
    if into is not None:
        _refuse_into(event, into, ramets, changes)
    record(
        event,
        [
            Entry(ramet, change, ("ramets", number, "ramet"))
            for number, (ramet, change) in enumerate(zip(ramets, changes, strict=True))
        ],
    )
    Ending.objects.create(event=event, recipient=given.recipient, into=into)
    return recorded


def _changes(given: EndingIn) -> list[Change]:
    problems = ProblemList()
    changes = []
    for number, row in enumerate(given.ramets):
        fate = row.fate or given.fate
        if fate is None:
            problems.add(
                "required",
                f"Say how {row.ramet} ended: dead, lost, discarded, sampled, handed over or fused.",
                "ramets",
                number,
                "fate",
            )
            continue
        changes.append(_change(Life.of(fate), row, given))
    problems.raise_if_any()
    return changes


def _change(life: Life, row: EndedIn, given: EndingIn) -> Change:
    if life is not Life.DEAD:
        return Change(What.ENDED, life=life)
    cause = Cause.of(row.cause or given.cause or "unknown")
    return Change(What.ENDED, life=life, cause=cause)


def _into(given: EndingIn) -> int | None:
    if given.into is None:
        return None
    pk = ramet_ids([given.into], given.when.latest).get(given.into)
    if pk is None:
        raise Refused(unknown(given.into, "into"))
    return pk


def _refuse_into(
    event: Event, into: Ramet, ramets: Sequence[Ramet], changes: Sequence[Change]
) -> None:
    """Refuse what the fused ones cannot have grown into."""
    problems = ProblemList()
    if into.pk in {ramet.pk for ramet in ramets}:
        problems.add(
            "fused_into_itself",
            f"{into.code} ends by this entry, so nothing lives on in it. Name the ramet that "
            "goes on living.",
            "into",
        )
    foreign = [
        number
        for number, (ramet, change) in enumerate(zip(ramets, changes, strict=True))
        if change.life is Life.FUSED and ramet.taxon_id != into.taxon_id
    ]
    for number in foreign:
        problems.add(
            "into_other_taxon",
            f"{ramets[number].code} is of another taxon than {into.code}, so the two cannot have "
            "fused. Check the codes.",
            "ramets",
            number,
            "ramet",
        )
    problems.raise_if_any()
    if certainly_before(event.when, into.born.when):
        raise Refused(before_birth(into, into.born, event, ("into",)))
    ended = _ended(histories([into.pk])[into.pk], event.when)
    if ended is not None:
        how, key = ended
        by = Event.objects.get(pk=key)
        raise Refused(
            Problem(
                "into_not_living",
                f"{into.code} is {how.label} ({by.get_kind_display()} {dated(by.when)}), so "
                f"nothing can have fused into it {dated(event.when)}. Check both dates.",
                ("into",),
            )
        )


def _ended(lines: Sequence[Line], when: When) -> tuple[Life, int] | None:
    """How a ramet had ended before a date, and by which event; None where it lived on any day of
    it."""
    how: tuple[Life, int] | None = None
    for line, state in zip(lines, states(lines), strict=True):
        if line.key[0] > when.upper:
            break
        if line.key[0] >= when.lower and how is None and line is not lines[0]:
            # It lived when the date began, whatever came later on it.
            return None
        if state.life is Life.LIVING:
            how = None
        elif state.life is not None and line.change.life is not None:
            how = state.life, line.key[1]
    return how
