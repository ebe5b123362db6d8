"""What the addresses of diversity pages ask for."""

from __future__ import annotations

from django import forms
from django.http import QueryDict
from django.utils.translation import gettext_lazy as _

from nursery.core.errors import Problem
from nursery.core.problems import ParameterRefused
from nursery.diversity.risk import FEW
from nursery.outplanting.counts import Stand

STATES = [
    (Stand.ALIVE.value, _("alive: planted and not known dead, missing or lifted")),
    (Stand.SEEN.value, _("seen: alive when last looked at")),
    (Stand.PLANTED.value, _("planted: whatever became of them")),
]


class SiteForm(forms.Form):
    """A state, a day and a taxon; each may be left out."""

    state = forms.ChoiceField(choices=STATES, required=False, label=_("Count ramets"))
    as_of = forms.DateField(
        required=False,
        label=_("As of"),
        input_formats=["%Y-%m-%d"],
        widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"),
        error_messages={"invalid": _("A day is written 2024-03-04.")},
    )
    taxon = forms.CharField(required=False, max_length=120, label=_("Taxon"))

    def __init__(self, given: QueryDict, taxa: list[tuple[str, str]]) -> None:
        super().__init__(given, label_suffix="")
        self.fields["taxon"].widget = forms.Select(choices=[("", _("all taxa")), *taxa])


COMPARED = [Stand.ALIVE.value, Stand.PLANTED.value]
"""In what sites are compared with each other."""
MOST_FEW = 1000


def read_compared(text: str) -> Stand:
    """The state in which sites are compared, alive if left out; raises ParameterRefused."""
    if text not in ("", *COMPARED):
        raise ParameterRefused(
            Problem("not_a_choice", f"state is one of: {', '.join(COMPARED)}.", ("state",))
        )
    return Stand(text or Stand.ALIVE)


def read_few(text: str) -> int:
    """How many living ramets are enough, FEW if left out; raises ParameterRefused."""
    if not text:
        return FEW
    if not (len(text) <= 4 and text.isascii() and text.isdigit() and 1 <= int(text) <= MOST_FEW):
        raise ParameterRefused(
            Problem("not_a_number", f"few is a whole number from 1 to {MOST_FEW}.", ("few",))
        )
    return int(text)
