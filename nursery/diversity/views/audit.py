"""An audit as a table of rules that is read in one look."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django.utils.functional import Promise
from django.utils.html import format_html
from django.utils.safestring import SafeString
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _lazy
from django.utils.translation import ngettext

from nursery.core.phrases import day, joined, link, number, ramet_link
from nursery.core.views.tables import Column, Table, table
from nursery.diversity.audit.case import (
    NOT_RECORDED,
    NOTHING_TO_COUNT,
    UNCERTAIN,
    Verdict,
)
from nursery.diversity.audits import AnswerTold, AuditTold
from nursery.outplanting.rules import ASKED, Form, Rule

RULE_NAMES: Mapping[str, str | Promise] = {
    "at_hand": _lazy("Every ramet lives and is at hand"),
    "genet_known": _lazy("Every ramet's genet is known"),
    Rule.GENETS_OF_SITE.word: _lazy("Genets on the site"),
    Rule.GENETS_OF_PLOT.word: _lazy("Genets in each plot"),
    Rule.LARGEST_SHARE.word: _lazy("Share of the largest genet"),
    Rule.EFFECTIVE_GENETS.word: _lazy("Effective genets, Hill q\u00a0=\u00a01"),
    Rule.DONOR_REEFS.word: _lazy("Reefs that the donors are from"),
    Rule.DONOR_DISTANCE.word: _lazy("Distance of the donors from the site"),
    Rule.DEPTH_DIFFERENCE.word: _lazy("Depth of donor and plot apart"),
    Rule.PRESUMED_GENETS.word: _lazy("Presumed genets may be planted"),
    Rule.LEAST_AGE.word: _lazy("Days since the cutting, at least"),
    Rule.GREATEST_AGE.word: _lazy("Days since the cutting, at most"),
    Rule.LEAST_SIZE.word: _lazy("Size of a plug"),
    Rule.INSPECTED_WITHIN.word: _lazy("Days since the last look in the nursery"),
    Rule.QUARANTINE.word: _lazy("Days in quarantine"),
    Rule.PERMIT_COVERS.word: _lazy("A permit covers it"),
    Rule.MANIFEST_DEMANDED.word: _lazy("Planted only of a signed-off manifest"),
    Rule.KEPT_APART.word: _lazy("Neighbours in a layout differ in"),
}
UNITS: Mapping[str, str | Promise] = {
    "genets": _lazy("genets"),
    "effective genets": _lazy("effective genets"),
    "reefs": _lazy("reefs"),
    "days": _lazy("days"),
    "genet": _lazy("genet"),
    "donor_colony": _lazy("donor colony"),
    "donor_reef": _lazy("donor reef"),
    "yes": _lazy("yes"),
    "no": _lazy("no"),
}
"""Units and words of values; those of measures (%, km, m, cm) are the same everywhere."""
_VERDICTS: Mapping[Verdict, tuple[str, str, str | Promise]] = {
    Verdict.HOLDS: ("good", "✓", _lazy("holds")),
    Verdict.WARNS: ("doubtful", "!", _lazy("warns")),
    Verdict.FAILS: ("bad", "✗", _lazy("fails")),
}
_REASONS: Mapping[str, str | Promise] = {
    NOT_RECORDED: _lazy("not recorded"),
    UNCERTAIN: _lazy("on either side, as far as it is known"),
    NOTHING_TO_COUNT: _lazy("nothing to count"),
}
_PERMIT_FAULTS: Mapping[str, str | Promise] = {
    "no_permit": _lazy("no permit is named"),
    "permit_not_yet_valid": _lazy("not valid yet on that day"),
    "permit_lapsed": _lazy("lapsed by that day"),
    "permit_other_taxon": _lazy("does not name the taxon"),
    "permit_other_reef": _lazy("does not name the reef"),
    "permit_other_site": _lazy("does not name the site"),
    "permit_exceeded": _lazy("allows fewer"),
}
MOST_SHOWN = 12
"""The most tags that a row of the table names; the rest is behind a press."""


def verdict_words(verdict: Verdict) -> SafeString:
    """A verdict by word and mark."""
    kind, mark, word = _VERDICTS[verdict]
    return format_html(
        '<span class="verdict {}"><span aria-hidden="true">{}</span> {}</span>', kind, mark, word
    )


def rule_name(rule: str) -> str:
    return str(RULE_NAMES[rule])


def value_in_words(rule: Rule, value: str) -> str:
    """What a row of the policy asks: `at least 10 genets`, `yes`."""
    asked = ASKED[rule]
    if not value:
        return _("nothing")
    if asked.form in (Form.YES_OR_NO, Form.ONE_OF):
        return str(UNITS[value])
    words = {"value": value, "unit": UNITS.get(asked.unit, asked.unit)}
    if asked.form is Form.AT_LEAST:
        return _("at least %(value)s\u00a0%(unit)s") % words
    return _("at most %(value)s\u00a0%(unit)s") % words


def says(audit: AuditTold) -> str:
    """The audit in one sentence: how many rules fail, warn and hold."""
    fails, warns, holds = (
        audit.count(verdict) for verdict in (Verdict.FAILS, Verdict.WARNS, Verdict.HOLDS)
    )
    parts = [
        ngettext("%(n)s rule fails", "%(n)s rules fail", fails) % {"n": fails},
        ngettext("%(n)s warns", "%(n)s warn", warns) % {"n": warns},
        ngettext("%(n)s holds", "%(n)s hold", holds) % {"n": holds},
    ]
    return _("%(what)s, of %(ramets)s ramets by the policy of %(day)s.") % {
        "what": ", ".join(parts),
        "ramets": number(audit.ramets),
        "day": day(audit.day),
    }


def answers_table(audit: AuditTold) -> Table:
    """The rules that fail first, then those that warn, then those that hold."""
    several = len({answer.taxon for answer in audit.answers if answer.taxon}) > 1
    columns = [
        Column(_("Rule"), lambda row: _rule(row, several)),
        Column(_("Verdict"), lambda row: verdict_words(row.verdict)),
        Column(_("Asked"), _asked),
        Column(_("Manifest alone"), lambda row: _figure(row, row.alone), number=True),
        Column(_("Site after it"), lambda row: _figure(row, row.after), number=True),
        Column(_("Why"), _why),
    ]
    rows = sorted(audit.answers, key=lambda row: -row.verdict)
    return table(columns, rows, _("The rules, as the audit found them"))


def _rule(row: AnswerTold, several: bool) -> str:
    if several and row.taxon:
        return f"{rule_name(row.rule)}, {row.taxon_name}"
    return rule_name(row.rule)


def _asked(row: AnswerTold) -> str:
    if row.limit is None:
        return ""
    rule = Rule.of(row.rule)
    value = f"{row.limit:g}"
    if ASKED[rule].form is Form.YES_OR_NO:
        value = "yes" if row.limit else "no"
    return value_in_words(rule, value)


def _figure(row: AnswerTold, figure: float | None) -> str:
    if figure is None:
        return ""
    shown = f"{figure:,.0f}" if figure == round(figure) else f"{figure:,.1f}"
    if row.rule == Rule.LARGEST_SHARE.word:
        shown += "\u00a0%"
    return shown


def _why(row: AnswerTold) -> SafeString:
    parts: list[Any] = []
    if row.where:
        parts.append(format_html(_("plot {}"), link(row.where, "plot", row.where)))
    if row.reason:
        parts.append(_REASONS[row.reason])
    parts += [_PERMIT_FAULTS.get(note, note) for note in row.notes]
    if row.at_fault:
        parts.append(
            ngettext("%(n)s ramet", "%(n)s ramets", row.at_fault) % {"n": number(row.at_fault)}
        )
    if row.unknown:
        parts.append(
            ngettext("of %(n)s ramet unknown", "of %(n)s ramets unknown", row.unknown)
            % {"n": number(row.unknown)}
        )
    told = joined(parts, "; ")
    if not row.tags:
        return told
    total = max(row.at_fault or row.unknown, len(row.tags))
    shown = joined(ramet_link(code) for code in row.tags[:MOST_SHOWN])
    more = total - min(len(row.tags), MOST_SHOWN)
    if more > 0:
        shown = format_html("{} {}", shown, _("and %(n)s more") % {"n": number(more)})
    return format_html(
        "{} <details><summary>{}</summary>{}</details>", told, _("Which ramets"), shown
    )
