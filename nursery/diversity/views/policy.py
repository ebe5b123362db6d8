"""The programme's policy: what each rule asks, since when, and what it asked before."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _lazy
from django.utils.translation import ngettext
from rest_framework.request import Request

from nursery.core.dates import latest_today
from nursery.core.errors import Trouble
from nursery.core.filters import refuse_unknown
from nursery.core.inputs import read
from nursery.core.phrases import in_words, number
from nursery.core.views import kin
from nursery.core.views.base import Page
from nursery.core.views.lists import kin_links
from nursery.core.views.tables import Column, table
from nursery.diversity.views.audit import UNITS, rule_name, value_in_words
from nursery.donors.models import Taxon
from nursery.outplanting.actions import set_rule
from nursery.outplanting.inputs import PolicyRuleIn
from nursery.outplanting.models import PolicyRule
from nursery.outplanting.policies import history
from nursery.outplanting.rules import ASKED, Form, Rule

_BLANKS = ("rule", "taxon", "value", "since", "note")


@dataclass(frozen=True, slots=True)
class Choice:
    """A rule that may be set, and how its value is written."""

    word: str
    name: str
    how: str


class PolicyPage(Page):
    """Anybody reads it; a lead sets a rule from a day on."""

    http_method_names = ["get", "head", "post"]
    place = "reef"
    template_name = "diversity/policy.html"

    def get(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        refuse_unknown(Request(request), ())
        return self._shown({"since": latest_today().isoformat()}, None)

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        typed = request.POST.dict()
        given = {name: typed.get(name, "").strip() or None for name in _BLANKS}
        given["note"] = typed.get("note", "")
        try:
            row = set_rule(self.actor, read(PolicyRuleIn, given))
        except Trouble as trouble:
            if trouble.status == 403:
                raise
            return self._shown(typed, trouble)
        name = rule_name(Rule(row.rule).word)
        messages.success(
            request,
            _("%(rule)s: set from %(day)s on.") % {"rule": name, "day": row.since.isoformat()},
        )
        return HttpResponseRedirect(reverse("policy"))

    def _shown(self, typed: dict[str, str], trouble: Trouble | None) -> HttpResponse:
        rows = history()
        today = latest_today()
        now = [row for row in rows if row.asks and _stands(row, today)]
        others = [row for row in rows if row not in now]
        problems = list(trouble.problems) if trouble is not None else []
        told = {name: [p for p in problems if p.field == name] for name in _BLANKS}
        context = self.get_context_data(
            kin=kin_links(kin.REEF, self.request.path),
            says=ngettext(
                "%(n)s\u00a0rule is in force.", "%(n)s\u00a0rules are in force.", len(now)
            )
            % {"n": number(len(now))},
            now=table(_COLUMNS, now, _("Rules in force")),
            others=table(_COLUMNS, others, _("Other rows")),
            choices=[Choice(rule.word, rule_name(rule.word), _how(rule)) for rule in Rule],
            taxa=Taxon.objects.filter(closed_on=None).order_by("name"),
            typed=typed,
            told=told,
            faults=len(problems),
            problems=[p for p in problems if p.field not in _BLANKS],
        )
        return self.render_to_response(context, status=trouble.status if trouble else 200)


def _stands(row: PolicyRule, day: Any) -> bool:
    return bool(row.since <= day and (row.until is None or row.until >= day))


def _how(rule: Rule) -> str:
    """How a rule's value is written."""
    asked = ASKED[rule]
    if asked.form is Form.YES_OR_NO:
        return _("yes or no")
    if asked.form is Form.ONE_OF:
        return ", ".join(asked.words)
    unit = UNITS.get(asked.unit, asked.unit)
    if asked.form is Form.AT_LEAST:
        return _("at least so many %(unit)s") % {"unit": unit}
    return _("at most so many %(unit)s") % {"unit": unit}


_COLUMNS = (
    Column(_lazy("Rule"), lambda row: rule_name(Rule(row.rule).word)),
    Column(_lazy("Of"), lambda row: row.taxon.name if row.taxon else _("all taxa")),
    Column(_lazy("Asks"), lambda row: value_in_words(Rule(row.rule), row.value)),
    Column(_lazy("From"), lambda row: in_words(row.since)),
    Column(_lazy("Until"), lambda row: in_words(row.until)),
    Column(_lazy("Set by"), lambda row: str(row.by)),
    Column(_lazy("Note"), lambda row: row.note),
)
