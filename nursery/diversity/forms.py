"""Which ramets of a site the diversity page counts."""

from __future__ import annotations

from django import forms
from django.http import QueryDict
from django.utils.translation import gettext_lazy as _

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
