"""A step that is asked for, and why it cannot follow, in sentences that name events and dates."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from nursery.core.dates import dated
from nursery.core.errors import Path, Problem
from nursery.core.models import Event
from nursery.lineage.models import Ramet, Step
from nursery.lineage.replay import Change
from nursery.lineage.words import Life, What


@dataclass(frozen=True, slots=True)
class Entry:
    """One step to be written: of which ramet, what, and where in the input it was asked for."""

    ramet: Ramet
    change: Change
    path: Path = ()

    @property
    def birth(self) -> bool:
        """Whether it is of a new ramet, which has no row yet."""
        return self.change.what is What.BORN


def refusals(refused: Sequence[tuple[str, Entry]], event: Event) -> list[Problem]:
    """Why steps cannot follow what their ramets are now, in one query."""
    last: dict[tuple[int, bool], Event] = {}
    steps = Step.objects.filter(ramet__in=[entry.ramet.pk for _, entry in refused], live=True)
    for step in steps.select_related("event").order_by("ramet_id", "order"):
        for of_life, said in ((True, step.life), (False, step.place)):
            if said is not None:
                last[step.ramet_id, of_life] = step.event
    return [
        explained(
            code,
            entry,
            event,
            last.get((entry.ramet.pk, code == "not_living")),
            Life(entry.ramet.life),
        )
        for code, entry in refused
    ]


def explained(
    code: str, entry: Entry, event: Event, because: Event | None, life: Life | None
) -> Problem:
    """Why a step cannot follow, where `because` decided what the ramet was (its life: `life`)."""
    ramet = entry.ramet
    since = f" ({because.get_kind_display()} {dated(because.when)})" if because else ""
    act = _DONE[entry.change.what]
    was = (life or Life.DEAD).label
    sentence = {
        "not_living": f"{ramet.code} is {was}{since}, so it cannot be {act} {dated(event.when)}.",
        "already_planted": f"{ramet.code} is planted already{since}. Lift it first.",
        "still_planted": f"{ramet.code} stands on the reef{since}. Lift it first.",
        "not_planted": f"{ramet.code} is not planted {dated(event.when)}{since}.",
        "on_the_reef": f"{ramet.code} stands on the reef{since}: a check looks at what is in a "
        "nursery. Enter what was seen of it as a visit, or check both dates.",
        "not_packed": f"{ramet.code} is not on its way: it has been received already{since}.",
        "not_there": f"{ramet.code} was elsewhere{since}.",
        "not_planted_here": f"{ramet.code} had not been planted {dated(event.when)}.",
    }.get(code, f"{ramet.code} cannot be {act} {dated(event.when)}.")
    return Problem(code, sentence, entry.path)


def before_birth(ramet: Ramet, birth: Event, event: Event, path: Path) -> Problem:
    """An entry that lies before the ramet came into the record."""
    return Problem(
        f"before_{birth.kind_word}",
        f"{ramet.code} came into the record {dated(birth.when)} ({birth.get_kind_display()}); an "
        f"entry {dated(event.when)} is before that. Check both dates.",
        path,
    )


def never_born(ramet: Ramet, path: Path) -> Problem:
    """What the ramet was born by was voided."""
    return Problem(
        "never_born",
        f"{ramet.code} has never been: the {ramet.born.get_kind_display()} "
        f"{dated(ramet.born.when)} that made it was voided. Restore that first.",
        path,
    )


def in_the_way(ramet: Ramet, other: Event, event: Event, path: Path) -> Problem:
    """A later entry that could not stand any more behind this event."""
    return Problem(
        "behind_later_entry",
        f"{ramet.code} already has a later entry: {other.get_kind_display()} "
        f"{dated(other.when)}. This {event.get_kind_display()} {dated(event.when)} would come "
        "before it, and it could not stand any more. Check both dates.",
        path,
    )


def leans_on(ramet: Ramet, other: Event, event: Event) -> Problem:
    """A later entry that could not stand any more without what this event says of the ramet."""
    return Problem(
        "behind_later_entry",
        f"{ramet.code} has a later entry: {other.get_kind_display()} {dated(other.when)}. Without "
        f"this {event.get_kind_display()} {dated(event.when)} it could not stand. Void or amend "
        "that one first.",
    )


_DONE = {
    What.BORN: "born",
    What.RECEIVED: "received",
    What.PLACED: "moved",
    What.PACKED: "packed",
    What.CUT_FROM: "cut",
    What.USED_UP: "cut",
    What.PLANTED: "planted",
    What.SEEN_ALIVE: "seen",
    What.SEEN_DEAD: "seen",
    What.SEEN_MISSING: "seen",
    What.LIFTED: "lifted",
    What.ENDED: "ended",
    What.FOUND: "found",
    What.COUNTED_DEAD: "counted dead",
    What.COUNTED_MISSING: "counted missing",
    What.RELABELLED: "relabelled",
    What.TAGGED: "tagged",
    What.REBASED: "given another base",
    What.CHECKED_ALIVE: "checked",
    What.CHECKED_DEAD: "checked",
    What.CHECKED_MISSING: "checked",
    What.SAMPLED: "sampled",
}
