"""Which ramets of a site the diversity page counts."""

from __future__ import annotations

from django import forms
from django.http import QueryDict

from nursery.outplanting.counts import Stand

STATES = [
    (Stand.ALIVE.value, "alive: planted and not known dead, missing or lifted"),
    (Stand.SEEN.value, "seen: alive when last looked at"),
    (Stand.PLANTED.value, "planted: whatever became of them"),
]


class SiteForm(forms.Form):
    """A state, a day and a taxon; each may be left out."""

    state = forms.ChoiceField(choices=STATES, required=False, label="Count ramets")
    as_of = forms.DateField(
        required=False,
        label="As of",
        input_formats=["%Y-%m-%d"],
        widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"),
        error_messages={"invalid": "A day is written 2024-03-04."},
    )
    taxon = forms.CharField(required=False, max_length=120, label="Taxon")

    def __init__(self, given: QueryDict, taxa: list[tuple[str, str]]) -> None:
        super().__init__(given, label_suffix="")
        self.fields["taxon"].widget = forms.Select(choices=[("", "all taxa"), *taxa])
