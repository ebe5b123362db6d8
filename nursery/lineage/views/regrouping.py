"""What a merge, a relabelling or a decision would change, as pages show it before it is done."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from django.utils.safestring import SafeString
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from nursery.core.phrases import link, number
from nursery.core.views.tables import Column, table
from nursery.donors.models import Genet
from nursery.lineage.regrouping import Effect, Tally, Turn, Where


def effect_shown(effect: Effect) -> dict[str, Any]:
    """The sentence and the tables of an effect, for a template. One query."""
    genets = _genets(effect)
    return {
        "says": effect_says(effect),
        "turns": table(
            [
                Column(_("Counted as"), lambda row: _genet(row.before, genets)),
                Column(_("Then as"), lambda row: _genet(row.after, genets)),
                Column(_("Where"), lambda row: _where(row.where)),
                Column(_("Ramets"), lambda row: row.ramets, number=True),
                Column(_("Living"), lambda row: row.living, number=True),
            ],
            effect.turns,
            _("Ramets that would count as another genet"),
            _("No ramet would count as another genet."),
        ),
        "tallies": table(
            [
                Column(_("Where"), lambda row: _where(row.where)),
                Column(_("Genet"), lambda row: _genet(row.genet, genets)),
                Column(_("Living now"), lambda row: number(row.before), number=True),
                Column(_("Then"), lambda row: number(row.after), number=True),
            ],
            effect.tallies,
            _("Living ramets of each genet in each place"),
            _("No number of living ramets changes."),
        ),
    }


def effect_says(effect: Effect) -> str:
    """What would change, in one sentence."""
    if not effect.ramets:
        return _("No ramet would count as another genet.")
    told = ngettext(
        "%(n)s\u00a0ramet would count as another genet, %(living)s of them living.",
        "%(n)s\u00a0ramets would count as another genet, %(living)s of them living.",
        effect.ramets,
    )
    return told % {"n": number(effect.ramets), "living": number(effect.living)}


def _genets(effect: Effect) -> dict[str, Genet]:
    rows: Sequence[Turn | Tally] = (*effect.turns, *effect.tallies)
    codes = {
        code
        for row in rows
        for code in ((row.before, row.after) if isinstance(row, Turn) else (row.genet,))
    }
    return {row.code: row for row in Genet.objects.filter(code__in=codes)}


def _genet(code: str, genets: Mapping[str, Genet]) -> SafeString | str:
    if not code:
        return _("not known")
    return link(genets[code], "genet", code) if code in genets else code


def _where(where: Where) -> SafeString | str:
    return link(where.code, where.kind, where.code) if where.code else where.kind
