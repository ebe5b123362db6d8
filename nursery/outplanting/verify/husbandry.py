"""Checks: how ramets were found by them, beside the steps that say the same."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator

from nursery.husbandry.models import Check, Finding, FindingState
from nursery.lineage.models import Step
from nursery.lineage.words import What
from nursery.outplanting.verify.difference import Difference, Tell, differs
from nursery.outplanting.verify.reading import EVENT, by_id, event_name, ramet_codes

_STEP_OF = {
    FindingState.ATTACHED: What.CHECKED_ALIVE,
    FindingState.LOOSE: What.CHECKED_ALIVE,
    FindingState.DEAD: What.CHECKED_DEAD,
    FindingState.MISSING: What.CHECKED_MISSING,
}


def find(tell: Tell) -> Iterator[Difference]:
    """Every check that is live: each of its findings is a step of it, and the other way round."""
    named = tuple(f"event__{name}" for name in EVENT)
    rows = Check.objects.filter(event__live=True)
    for batch in by_id(rows, *named, tell=tell, things="checks"):
        first, last = batch[0][0], batch[-1][0]
        written: dict[int, dict[int, What]] = defaultdict(dict)
        found = Finding.objects.filter(during__gte=first, during__lte=last)
        for pk, ramet, state in found.values_list("during_id", "ramet_id", "state"):
            written[pk][ramet] = _STEP_OF[FindingState(state)]
        said: dict[int, dict[int, What]] = defaultdict(dict)
        steps = Step.objects.filter(
            event__gte=first, event__lte=last, what__in=set(_STEP_OF.values()), live=True
        )
        for pk, ramet, what in steps.values_list("event_id", "ramet_id", "what"):
            said[pk][ramet] = What(what)
        for pk, *event in batch:
            if written[pk] != said[pk]:
                yield from _otherwise(event_name(event), written[pk], said[pk])


def _otherwise(name: str, written: dict[int, What], said: dict[int, What]) -> Iterator[Difference]:
    ids = sorted(written.keys() | said.keys())
    known = ramet_codes(ids)
    for pk in ids:
        found, right = written.get(pk), said.get(pk)
        if found is not right:
            yield differs(
                "finding",
                name,
                f"how {known[pk]} was found",
                found.label if found is not None else None,
                right.label if right is not None else None,
            )
