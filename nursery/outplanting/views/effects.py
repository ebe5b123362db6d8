"""What a correction would change, as its page shows it before it is done."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence

from django.utils.translation import ngettext_lazy

from nursery.core.dates import parse_when, words
from nursery.core.phrases import counted, listed, ramet_link
from nursery.core.views.tables import Column, Table, table
from nursery.outplanting.actions.correct import Outcome

FIELD_WORDS = {"life": "state", "donors": "donor colonies"}


def digest(outcome: Outcome) -> str:
    """Stands for what was shown, so that only that is done."""
    told = repr((outcome.events, outcome.changes))
    return hashlib.sha256(told.encode()).hexdigest()[:32]


def day_words(text: str) -> str:
    """A date as it is stored, as people read it."""
    return words(parse_when(text))


def effect_says(outcome: Outcome, ramets: int) -> str:
    """What changes downstream, in one sentence with its numbers."""
    if not ramets:
        return "No ramet would be otherwise than it is."
    fields = listed(
        f"the {FIELD_WORDS.get(field, field)} of {n:,}" for field, n in outcome.counts.items()
    )
    return f"{counted(ramets, ngettext_lazy('ramet', 'ramets'))} would be otherwise: {fields}."


def changes_table(outcome: Outcome, shown: Sequence[str]) -> Table:
    """Before and after, of each of these ramets."""
    first = set(shown)
    return table(
        [
            Column("Ramet", lambda row: ramet_link(row.ramet)),
            Column("What", lambda row: FIELD_WORDS.get(row.field, row.field)),
            Column("Now", lambda row: state_words(row.before)),
            Column("Then", lambda row: state_words(row.after)),
        ],
        [change for change in outcome.changes if change.ramet in first],
        "Ramets that would be otherwise",
        compact=True,
    )


def state_words(text: str) -> str:
    """A state as it is told of a ramet whose birth is void, or of one without the thing."""
    return {"never": "never was", "": "none"}.get(text, text)
