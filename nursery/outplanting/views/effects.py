"""What a correction would change, as its page shows it before it is done."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext_lazy

from nursery.core.dates import parse_when
from nursery.core.phrases import counted, date_words, listed, ramet_link
from nursery.core.views.tables import Column, Table, table
from nursery.outplanting.actions.correct import Outcome

FIELD_WORDS = {
    "donors": gettext_lazy("donor colonies"),
    "generation": gettext_lazy("generation"),
    "genet": gettext_lazy("genet"),
    "life": gettext_lazy("state"),
    "place": gettext_lazy("place"),
    "taxon": gettext_lazy("taxon"),
}


def digest(outcome: Outcome) -> str:
    """Stands for what was shown, so that only that is done."""
    told = repr((outcome.events, outcome.changes))
    return hashlib.sha256(told.encode()).hexdigest()[:32]


def day_words(text: str) -> str:
    """A date as it is stored, as people read it."""
    return date_words(parse_when(text))


def effect_says(outcome: Outcome, ramets: int) -> str:
    """What changes downstream, in one sentence with its numbers."""
    if not ramets:
        return _("No ramet would be otherwise than it is.")
    fields = listed(
        _("the %(field)s of %(n)s") % {"field": FIELD_WORDS.get(field, field), "n": f"{n:,}"}
        for field, n in outcome.counts.items()
    )
    told = {"ramets": counted(ramets, ngettext_lazy("ramet", "ramets")), "fields": fields}
    return _("%(ramets)s would be otherwise: %(fields)s.") % told


def changes_table(outcome: Outcome, shown: Sequence[str]) -> Table:
    """Before and after, of each of these ramets."""
    first = set(shown)
    return table(
        [
            Column(_("Ramet"), lambda row: ramet_link(row.ramet)),
            Column(_("What"), lambda row: FIELD_WORDS.get(row.field, row.field)),
            Column(_("Now"), lambda row: state_words(row.before)),
            Column(_("Then"), lambda row: state_words(row.after)),
        ],
        [change for change in outcome.changes if change.ramet in first],
        _("Ramets that would be otherwise"),
        compact=True,
    )


def state_words(text: str) -> str:
    """A state as it is told of a ramet whose birth is void, or of one without the thing."""
    return {"never": _("never was"), "": _("none")}.get(text, text)
