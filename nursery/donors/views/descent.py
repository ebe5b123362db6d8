"""The whole descent of a colony or a genet as a picture: every cutting a node, by its date."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from functools import cached_property
from typing import Any, ClassVar

from django.db.models import QuerySet
from django.urls import reverse
from django.utils.html import format_html
from django.utils.http import urlencode
from django.utils.safestring import SafeString
from django.utils.translation import gettext as _
from django.utils.translation import ngettext_lazy

from nursery.core.charts import short
from nursery.core.dates import When
from nursery.core.phrases import counted, in_words, number
from nursery.core.views.register import RegisterPage
from nursery.core.views.tables import Column, Table, table
from nursery.donors.models import DonorColony, Genet
from nursery.lineage import queries as lineage
from nursery.lineage.branches import MOST_DRAWN, Cutting, Fold, Node, Picture, Row, Tally, picture
from nursery.lineage.models import Ramet
from nursery.lineage.queries.cuttings import cuttings

_FIRST, _LAST = 10.0, 92.0
"""Where the time begins and ends, in per cent of the picture; the root stands left of it."""
_ROOT, _ASIDE = 4.0, 2.0
_LEAST, _MOST = 7.0, 20.0
"""How wide the dots are in pixels: the area goes with the ramets."""


@dataclass(frozen=True, slots=True)
class Dot:
    """A node as it is drawn: a line of no length with round ends, so that it stays round while the
    picture is stretched. `hollow` where none lives."""

    d: str
    size: str
    core: str
    hollow: bool


@dataclass(frozen=True, slots=True)
class Limb:
    """What is told beside a dot."""

    heading: SafeString
    says: str
    beside: str
    dot: Dot
    gap: bool


@dataclass(frozen=True, slots=True)
class Drawing:
    """The picture: stems and side stems as paths in a frame of 100 by as many rows."""

    height: int
    limbs: Sequence[Limb]
    stems: Sequence[str]
    gaps: Sequence[str]
    sides: Sequence[str]
    years: Sequence[tuple[str, int]]
    root: Dot


class DescentPage(RegisterPage):
    """The cuttings of everything that comes from one row."""

    template_name = "donors/descent.html"
    home_name: ClassVar[str] = ""
    """The address of the row's own page."""
    kind_of_list: ClassVar[str] = ""
    """The name of the filter by which lists show what comes from the row."""

    def ramets(self) -> QuerySet[Ramet]:
        raise NotImplementedError

    @cached_property
    def cuttings(self) -> list[Cutting]:
        return cuttings(self.ramets())

    @cached_property
    def picture(self) -> Picture | None:
        return picture(self.cuttings)

    def says(self) -> str:
        whole = sum((each.tally for each in self.cuttings), Tally())
        if not whole.total:
            return _("Nothing that comes from %(what)s is in the record.") % {"what": self.row}
        oldest = max((each.generation or 0 for each in self.cuttings), default=0)
        return _(
            "%(ramets)s from %(what)s in %(entries)s, up to generation %(oldest)s: %(fate)s."
        ) % {
            "ramets": counted(whole.total, ngettext_lazy("ramet comes", "ramets come")),
            "what": self.row,
            "entries": counted(len(self.cuttings), ngettext_lazy("entry", "entries")),
            "oldest": oldest,
            "fate": fate(whole),
        }

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        found = self.picture
        filters = {self.kind_of_list: self.row.code}
        return super().get_context_data(
            found=found,
            rule=rule(found.fold) if found is not None else "",
            drawing=drawn(found, filters) if found is not None else None,
            table=node_table(found, filters) if found is not None else None,
            home=reverse(self.home_name, args=[self.row.code]),
            **kwargs,
        )


class ColonyDescent(DescentPage):
    """What came from a wild colony, through every cutting, pooled ones included."""

    place = "colonies"
    model = DonorColony
    name = "colony-descent"
    home_name = "colony"
    joined = ("genet__canonical",)
    kind_of_list = "donor"

    def ramets(self) -> QuerySet[Ramet]:
        return lineage.of_donor(self.row)

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        genet = self.row.genet
        return super().get_context_data(mark=genet.canonical_id or genet.pk, **kwargs)


class GenetDescent(DescentPage):
    """What is of a genet."""

    place = "genets"
    model = Genet
    name = "genet-descent"
    home_name = "genet"
    kind_of_list = "genet"

    def ramets(self) -> QuerySet[Ramet]:
        return lineage.of_genet(self.row)

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        return super().get_context_data(mark=self.row.canonical_id or self.row.pk, **kwargs)


def rule(fold: Fold) -> str:
    """By which rule the picture is folded."""
    most = {"most": MOST_DRAWN}
    if fold is Fold.YEAR:
        return (
            _(
                "There are more than %(most)s entries, so those of one generation in one year "
                "are drawn as one."
            )
            % most
        )
    if fold is Fold.GENERATION:
        return (
            _(
                "There are more than %(most)s entries, even by year, so each generation is "
                "drawn as one."
            )
            % most
        )
    return _("Each entry is one dot: the larger, the more ramets; hollow where none lives.")


def fate(tally: Tally) -> str:
    """What became of ramets; those planted are among the living, the dead and the others."""
    parts = [_("%(n)s living") % {"n": number(tally.living)}]
    if tally.dead:
        parts.append(_("%(n)s dead") % {"n": number(tally.dead)})
    if tally.other:
        parts.append(_("%(n)s ended otherwise") % {"n": number(tally.other)})
    text = ", ".join(parts)
    if tally.planted:
        text += _("; %(n)s planted") % {"n": number(tally.planted)}
    return text


# The drawing


def drawn(found: Picture, filters: Mapping[str, str]) -> Drawing:
    """A picture as its template draws it; the root stands in the first row."""
    most = max(row.node.tally.total for row in found.rows)
    spots = [(_FIRST + row.at * (_LAST - _FIRST), n + 1.5) for n, row in enumerate(found.rows)]
    stems: list[str] = []
    gaps: list[str] = []
    sides: list[str] = []
    for n, row in enumerate(found.rows):
        # A gap keeps a line of its own, so that no stem hides its dashes.
        root = (_ROOT - _ASIDE if row.node.gap else _ROOT, 0.5)
        start = spots[row.stem] if row.stem is not None else root
        (gaps if row.node.gap else stems).append(_elbow(start, spots[n]))
        sides += [_elbow(spots[other], spots[n]) for other in row.side]
    return Drawing(
        height=len(found.rows) + 1,
        limbs=[
            Limb(
                heading=_heading(row.node, filters),
                says=fate(row.node.tally),
                beside=_beside(row.node),
                dot=_dot(spots[n], row.node.tally.total / most, not row.node.tally.living),
                gap=row.node.gap,
            )
            for n, row in enumerate(found.rows)
        ],
        stems=stems,
        gaps=gaps,
        sides=sides,
        years=[(short(at), year) for at, year in years(found.first, found.last)],
        root=_dot((_ROOT, 0.5), 0.4, True),
    )


def _elbow(start: tuple[float, float], end: tuple[float, float]) -> str:
    """Down from the mother, then along the time to what was cut."""
    return f"M{short(start[0])} {short(start[1])}V{short(end[1])}H{short(end[0])}"


def _dot(at: tuple[float, float], share: float, hollow: bool) -> Dot:
    size = _LEAST + (_MOST - _LEAST) * share**0.5
    return Dot(f"M{short(at[0])} {short(at[1])}h0", short(size), short(size - 4), hollow)


def years(first: date, last: date, most: int = 4) -> list[tuple[float, int]]:
    """The beginnings of years within the time, where they stand in per cent; at most so many."""
    span = (last - first).days
    if not span:
        return [((_FIRST + _LAST) / 2, first.year)]
    within = [date(year, 1, 1) for year in range(first.year + 1, last.year + 1)]
    every = -(-len(within) // most)
    return [
        (_FIRST + (day - first).days / span * (_LAST - _FIRST), day.year)
        for day in within[:: every or 1]
    ]


# The words


def _heading(node: Node, filters: Mapping[str, str]) -> SafeString:
    """What was done and when, leading to its entry, or to the ramets of what is folded."""
    if len(node.cuttings) == 1:
        (cutting,) = node.cuttings
        return format_html(
            '<a href="{}">{} {}</a>',
            reverse("event", args=[cutting.key]),
            _what(cutting.word),
            in_words(When(node.first, node.last)),
        )
    query = dict(filters)
    if node.generation is not None:
        query["generation"] = str(node.generation)
    return format_html(
        '<a href="{}?{}">{}</a>, {}',
        reverse("ramets"),
        urlencode(query),
        counted(len(node.cuttings), ngettext_lazy("entry", "entries")),
        _between(node.first, node.last),
    )


def _between(first: date, last: date) -> str:
    return str(first.year) if first.year == last.year else f"{first.year}–{last.year}"


def _what(word: str) -> str:
    return {
        "collected": _("Collected"),
        "cut": _("Cut"),
        "settled": _("Settled"),
        "received": _("Received"),
        "found": _("Found"),
        "legacy": _("Entered, cuttings not recorded,"),
    }[word]


def _beside(node: Node) -> str:
    """Generation, and what does not show in the lines."""
    parts = [_generation(node)]
    if node.outside:
        parts.append(
            _("with %(n)s of other descent")
            % {"n": counted(node.outside, ngettext_lazy("mother", "mothers"))}
        )
    return ", ".join(parts)


def _generation(node: Node) -> str:
    if node.generation is None:
        return _("generation not known")
    if node.generation == 0:
        return _("from the wild")
    return _("generation %(n)s") % {"n": node.generation}


def node_table(found: Picture, filters: Mapping[str, str]) -> Table:
    """The numbers behind the picture, row by row as it is drawn."""
    numbers = {row.node.key: n + 1 for n, row in enumerate(found.rows)}
    return table(
        [
            Column(_("No."), lambda row: numbers[row.node.key], number=True),
            Column(_("What"), lambda row: _heading(row.node, filters)),
            Column(_("Generation"), lambda row: _generation(row.node)),
            Column(_("Hangs on no."), lambda row: _hangs_on(row), number=True),
            Column(_("Ramets"), lambda row: number(row.node.tally.total), number=True),
            Column(_("Living"), lambda row: number(row.node.tally.living), number=True),
            Column(_("Dead"), lambda row: number(row.node.tally.dead), number=True),
            Column(_("Otherwise"), lambda row: number(row.node.tally.other), number=True),
            Column(_("Planted"), lambda row: number(row.node.tally.planted), number=True),
        ],
        list(found.rows),
        _("The descent entry by entry"),
    )


def _hangs_on(row: Row) -> str:
    """The numbers of what it was cut from, the main stem first."""
    stems = [row.stem] if row.stem is not None else []
    return ", ".join(str(n + 1) for n in [*stems, *row.side]) or "–"
