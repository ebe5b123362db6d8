"""How a bench is drawn: its cells as HTML with hardly any marks, and the same for the scripts.

A structure may have 1,600 cells, so that a cell is one element with one drawing, shared by `use`,
and everything else that is known of it comes once, as JSON.
"""

from __future__ import annotations

import datetime
from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from django.utils.html import escape, format_html
from django.utils.safestring import SafeString, mark_safe
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from nursery.donors.marks import HATCHES, HUES, mark_of
from nursery.donors.templatetags.genet_marks import disc
from nursery.husbandry.models import FindingState
from nursery.husbandry.queries import Found
from nursery.lineage.plate import Bench, Occupant, Spot
from nursery.lineage.words import Life
from nursery.places.models import Structure

ATTACHED, LOOSE, UNSEEN, DEAD, MISSING, ENDED = "a", "l", "u", "d", "m", "e"
STATES = {
    ATTACHED: gettext_lazy("attached"),
    LOOSE: gettext_lazy("loose"),
    UNSEEN: gettext_lazy("not looked at yet"),
    DEAD: gettext_lazy("dead"),
    MISSING: gettext_lazy("missing"),
    ENDED: gettext_lazy("ended"),
}
"""What a cell shows of a ramet, in the order in which it is counted."""

_ENDS = {Life.DEAD: DEAD, Life.LOST: MISSING}
_FOUND = {FindingState.ATTACHED: ATTACHED, FindingState.LOOSE: LOOSE}
_SIGNS = (
    ("mark-u", '<circle cx="10" cy="10" r="7" class="unknown"/>'),
    ("mark-d", '<circle cx="10" cy="10" r="7" class="hollow"/>'),
    ("mark-m", '<path d="M6.2 7.2a3.9 3.9 0 1 1 5.9 3.2q-2.1 1-2.1 3M10 17v.01" class="hollow"/>'),
    ("mark-e", '<path d="M5.5 5.5l9 9M14.5 5.5l-9 9" class="hollow"/>'),
    ("mark-h", '<path d="M3 3h14v14H3z" class="held"/>'),
    ("mark-n", '<path d="M10 4v12M4 10h12" class="hollow"/>'),
)


@dataclass(frozen=True, slots=True)
class Drawn:
    """A bench with what was found on it, as of a day."""

    bench: Bench
    found: Mapping[int, Found]
    today: datetime.date

    def state(self, ramet: Occupant) -> str:
        """What is known of a ramet: its end, else how the last check found it."""
        if not ramet.living:
            return _ENDS.get(ramet.life, ENDED)
        known = self.found.get(ramet.pk)
        return _FOUND.get(known.state, UNSEEN) if known is not None else UNSEEN

    def counts(self) -> list[tuple[str, Any, int]]:
        """How many cells show each state: its letter, its words, the number; what is there."""
        shown = Counter(self.state(spot.ramet) for spot in self.bench.spots if spot.ramet)
        return [(key, words, shown[key]) for key, words in STATES.items() if shown[key]]

    def html(self) -> SafeString:
        """The rows of the table's body."""
        lines = []
        for number, spots in self.bench.rows:
            cells = "".join(self._cell(spot) for spot in spots)
            lines.append(f'<tr><th scope="row">{number}</th>{cells}</tr>')
        # Letters, digits and our own class names, but for labels, which are escaped.
        return mark_safe("\n".join(lines))  # noqa: S308

    def _cell(self, spot: Spot) -> str:
        if spot.blocked:
            return '<td class="x"></td>'
        if spot.structure is not None:
            name = escape(spot.structure.code)
            return f'<td class="h">{_use("mark-h")}<i class="out-of-sight">{name}</i></td>'
        ramet = spot.ramet
        if ramet is None:
            return '<td class="f"></td>'
        state = self.state(ramet)
        if ramet.living:
            label = mark_of(ramet.genet).label if ramet.genet else ""
            loose = f'<i class="out-of-sight"> {escape(STATES[LOOSE])}</i>'
            return (
                f'<td class="{state}">{_use(sign_of(ramet.genet))}<b>{label}</b>'
                f"{loose if state == LOOSE else ''}</td>"
            )
        words = escape(STATES[state])
        return (
            f'<td class="{state}">{_use(f"mark-{state}")}<i class="out-of-sight">{words}</i></td>'
        )

    def data(self, structure: Structure) -> dict[str, Any]:
        """The same for scripts: a cell is null (blocked), 0 (free), or a list."""
        return {
            "code": structure.code,
            "rows": len(self.bench.rows),
            "columns": len(self.bench.columns),
            "cells": [self._entry(spot) for spot in self.bench.spots],
            "genets": dict(self._genets()),
            "taxa": [str(taxon) for taxon in self.bench.taxa],
            "states": {key: str(words) for key, words in STATES.items()},
        }

    def _genets(self) -> Iterator[tuple[int, dict[str, str]]]:
        """The marks of all genets that are shown, and the names of those that live here."""
        names = {here.genet.pk: str(here.genet) for here in self.bench.genets if here.genet}
        shown = {spot.ramet.genet for spot in self.bench.spots if spot.ramet}
        return ((pk, genet_data(pk, names.get(pk, ""))) for pk in sorted(filter(None, shown)))

    def _entry(self, spot: Spot) -> Any:
        if spot.blocked:
            return None
        if spot.structure is not None:
            return [spot.structure.code, spot.structure.get_kind_display()]
        ramet = spot.ramet
        if ramet is None:
            return 0
        days = (self.today - ramet.born).days
        entry = [ramet.code, ramet.genet or 0, self.state(ramet), days]
        known = self.found.get(ramet.pk)
        if known is not None and known.size_cm is not None:
            entry.append(str(known.size_cm.normalize()))
        return entry


def genet_data(genet: int | None, name: str) -> dict[str, str]:
    """What scripts know of a genet; None: of one that is not known."""
    label = mark_of(genet).label if genet else ""
    return {"label": label, "sign": sign_of(genet), "name": name}


def sign_of(genet: int | None) -> str:
    """The id of the drawing of a living ramet of a genet."""
    if not genet:
        return "mark-u"
    mark = mark_of(genet)
    return f"mark-{mark.hue}{mark.hatch}"


def _use(sign: str) -> str:
    return f'<svg aria-hidden="true"><use href="#{sign}"/></svg>'


def _signs() -> SafeString:
    """Every drawing that a cell may show, once: of 48 genets no two share hue and hatch. Each is a
    disc of its own, for what is used is styled by what it was copied with alone."""
    living = (
        (sign_of(number), disc(number).partition(">")[2].rpartition("</svg>")[0])
        for number in range(1, HUES * HATCHES + 1)
    )
    return mark_safe(  # noqa: S308 - our own drawings
        "".join(
            f'<symbol id="{name}" viewBox="0 0 20 20"><g class="disc">{inside}</g></symbol>'
            for name, inside in (*living, *_SIGNS)
        )
    )


def signs() -> SafeString:
    """The drawings that cells show by `use`."""
    return format_html('<svg class="signs" aria-hidden="true">{}</svg>', _SHARED)


_SHARED = _signs()


def taxa_in_words(bench: Bench) -> str:
    """The taxa that live there."""
    return ", ".join(str(taxon) for taxon in bench.taxa) or _("nothing yet")
