"""The pictures of a site: what was planted beside what lives, genets by rank, and two curves."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.utils.html import format_html
from django.utils.safestring import SafeString
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext_lazy

from nursery.core.charts import Line, LineChart, ceiling, line_chart, short, tick_text
from nursery.core.phrases import counted, day, link, number, percent
from nursery.core.views.tables import Column, Table, table
from nursery.diversity.indices import hill_profile, rarefied, sizes
from nursery.diversity.indices import rarefaction as expected_genets
from nursery.diversity.measures import MEASURES, Measure
from nursery.diversity.queries import ORDERS, GenetShare, Group, Planned, Report, Side
from nursery.diversity.values import Value
from nursery.donors.marks import mark_of
from nursery.donors.templatetags.genet_marks import disc, genet_mark
from nursery.outplanting.counts import Stand

STATE_WORDS = {
    Stand.ALIVE: gettext_lazy("alive"),
    Stand.SEEN: gettext_lazy("seen alive at the last look"),
    Stand.PLANTED: gettext_lazy("planted"),
}
HEADS = {
    Stand.PLANTED: gettext_lazy("Planted"),
    Stand.ALIVE: gettext_lazy("Alive"),
    Stand.SEEN: gettext_lazy("Seen alive"),
}
BESIDE = ("hill_1", "hill_2", "largest_share", "pielou", "clonal_richness")
"""The measures that stand side by side; all of them stand further down."""
MOST_RANKED = 12
"""The most genets that are drawn at once; the rest are folded."""
_ORDERS = [step / 10 for step in range(31)]
"""The orders q of a profile: 0 to 3 in tenths."""
_SIZES = 48
"""At how many sizes of a draw the curve of a rarefaction is worked out."""
_MEASURE = {measure.key: measure for measure in MEASURES}


def value_words(measure: Measure, value: Value) -> str:
    """The number of an index as it is written, empty where it has none."""
    if value.value is None:
        return ""
    if measure.key == "largest_share":
        return percent(value.value)
    return number(value.value, measure.places)


# What was planted beside what lives


@dataclass(frozen=True, slots=True)
class _Row:
    """One line of the comparison: its name and what stands in it for each state."""

    name: str
    planned: SafeString | str
    shown: Mapping[Stand, SafeString | str]


def sides_table(found: Sequence[Side], planned: Planned | None, today: str) -> Table:
    """Planned, planted and alive, one beside the other; the days come with the numbers. What is
    planned is of now: beside a past day (None) it has no number."""
    group = planned.group if planned is not None and planned.group.ramets else None
    rows = [
        _Row(
            _("On which day"),
            _planned_days(planned),
            {side.state: _days(side, today) for side in found},
        ),
        _Row(
            _("Ramets of a known genet (n)"),
            number(group.indices.ramets) if group else "–",
            {side.state: number(side.group.indices.ramets) for side in found},
        ),
        _Row(
            _("Genets"),
            number(group.indices.genets) if group else "–",
            {side.state: number(side.group.indices.genets) for side in found},
        ),
    ]
    for key in BESIDE:
        measure = _MEASURE[key]
        shown = {side.state: _cell(measure, side) for side in found}
        rows.append(_Row(_(measure.name), _value(measure, group) if group else "–", shown))
    columns = [
        Column(_("What"), lambda row: row.name),
        Column(_("Planned"), lambda row: row.planned, number=True),
    ]
    for side in found:
        columns.append(Column(str(HEADS[side.state]), _in(side.state), number=True))
    return table(columns, rows, _("Planned, planted and alive side by side"), compact=True)


def _in(state: Stand) -> Any:
    return lambda row: row.shown[state]


def _cell(measure: Measure, side: Side) -> SafeString | str:
    shown = _value(measure, side.group)
    bounds = interval_words(side, measure.key)
    return format_html('{} <span class="aside">{}</span>', shown, bounds) if bounds else shown


def _value(measure: Measure, group: Group) -> SafeString | str:
    value: Value = getattr(group.indices, measure.key)
    if value.value is None:
        return format_html('<span class="undefined">{}</span>', value.reason)
    return value_words(measure, value)


def interval_words(side: Side, key: str) -> str:
    """The 95 % interval of a Hill number, empty for other measures and where there is none."""
    by_key = {f"hill_{q}": bounds for q, bounds in zip(ORDERS, side.intervals, strict=True)}
    bounds = by_key.get(key)
    if bounds is None or bounds.low is None or bounds.high is None:
        return ""
    return _("%(low)s to %(high)s") % {
        "low": number(bounds.low, 1),
        "high": number(bounds.high, 1),
    }


def _days(side: Side, today: str) -> str:
    """The days that one side's numbers rest on."""
    if side.earliest is None or side.latest is None:
        return today if side.state is Stand.ALIVE else "–"
    return _between(side.earliest, side.latest)


def _planned_days(planned: Planned | None) -> str:
    if planned is None:
        return _("told as of today only")
    if planned.earliest is None or planned.latest is None:
        return _("nothing is planned in the record")
    return _between(planned.earliest, planned.latest)


def _between(first: date, last: date) -> str:
    if first == last:
        return day(last)
    return _("%(first)s to %(last)s") % {"first": day(first), "last": day(last)}


def sides_sentence(found: Sequence[Side]) -> str:
    """What became of the planting's diversity, in one sentence; empty without numbers."""
    by = {side.state: side.group.indices for side in found}
    planted, alive = by[Stand.PLANTED], by[Stand.ALIVE]
    if planted.hill_1.value is None or alive.hill_1.value is None:
        return ""
    kept = alive.hill_1.value / planted.hill_1.value
    return _(
        "Of %(planted)s effective genets planted, %(alive)s stand (%(kept)s); of %(genets)s "
        "genets, %(left)s have a ramet alive."
    ) % {
        "planted": number(planted.hill_1.value, 1),
        "alive": number(alive.hill_1.value, 1),
        "kept": percent(kept),
        "genets": number(planted.genets),
        "left": number(alive.genets),
    }


# Genets by rank


@dataclass(frozen=True, slots=True)
class Ranked:
    """A genet by its rank: how many of its ramets are counted, of how many planted."""

    genet: GenetShare
    ramets: int
    share: float
    planted: int


def ranked(report: Report, planted: Group) -> list[Ranked]:
    """The genets counted, the most numerous first; then those planted of which none is left."""
    were = {share.genet: share.ramets for share in planted.genets}
    here = [
        Ranked(share, share.ramets, share.share, were.get(share.genet, share.ramets))
        for share in report.whole.genets
    ]
    left = {share.genet for share in report.whole.genets}
    gone = [
        Ranked(share, 0, 0.0, share.ramets) for share in planted.genets if share.genet not in left
    ]
    return here + gone


def ranks_tables(
    rows: Sequence[Ranked], ids: Mapping[str, int], state: Stand
) -> tuple[Table, Table | None]:
    """The first ranks, and the others (None: there are no more). All bars are drawn on one line."""
    top = ceiling(max((row.planted for row in rows), default=0))
    caption = _("Genets %(state)s at this site") % {"state": STATE_WORDS[state]}
    columns = [
        Column(
            _("Genet"),
            lambda row: format_html(
                "{} {}",
                _mark(ids.get(row.genet.genet), row),
                link(f"{row.genet.genet} {row.genet.name}".strip(), "genet", row.genet.genet),
            ),
        ),
        Column(_("Taxon"), lambda row: row.genet.taxon, minor=True),
        Column(_("Status"), lambda row: _(row.genet.status), minor=True),
        Column(str(HEADS[state]), lambda row: row.ramets, number=True),
        Column(_("Share"), lambda row: percent(row.share) if row.ramets else "–", number=True),
        Column(
            _("Drawn, 0 to %(top)s ramets") % {"top": tick_text(top)},
            lambda row: ramets_bar(row.ramets, row.planted, top, ids.get(row.genet.genet)),
        ),
    ]
    if state is not Stand.PLANTED:
        columns.insert(4, Column(_("Of planted"), lambda row: row.planted, number=True, minor=True))
    most = MOST_RANKED if len(rows) > MOST_RANKED + 1 else len(rows)
    first = table(columns, rows[:most], caption, _("There is no genet to show."), compact=True)
    if most == len(rows):
        return first, None
    return first, table(columns, rows[most:], _("Further genets"), compact=True)


def ranks_sentence(rows: Sequence[Ranked], state: Stand) -> str:
    """How long the tail is: genets of a single ramet, and those of which none is left."""
    single = sum(row.ramets == 1 for row in rows)
    gone = sum(not row.ramets for row in rows)
    parts = []
    if single:
        word = counted(single, ngettext_lazy("genet stands", "genets stand"))
        parts.append(_("%(genets)s in a single ramet") % {"genets": word})
    if gone and state is not Stand.PLANTED:
        word = counted(
            gone, ngettext_lazy("genet that was planted has", "genets that were planted have")
        )
        parts.append(_("%(genets)s no ramet left here") % {"genets": word})
    return f"{'; '.join(parts)}." if parts else ""


def _mark(pk: int | None, row: Ranked) -> SafeString:
    """The genet's mark; hollow where none of it is left."""
    if row.ramets:
        return genet_mark(pk)
    label = genet_mark(pk).partition('<span class="mark-label">')[2]
    return format_html(
        '<span class="mark">{}<span class="mark-label">{}',
        disc(None, dead=True),
        SafeString(label),
    )


def ramets_bar(ramets: int, planted: int, top: float, pk: int | None) -> SafeString:
    """A bar as long as what is counted, in a hollow one as long as what was planted; the line goes
    to `top`."""
    return format_html(
        '<svg class="bar rank" viewBox="0 0 100 10" preserveAspectRatio="none" aria-hidden="true">'
        '<path d="M0 9.5h100" class="bar-line"/>'
        '<rect y="1" width="{}" height="7" class="bar-planted"/>'
        '<rect y="1" width="{}" height="7" class="{}"/></svg>',
        short(planted / top * 100),
        short(ramets / top * 100),
        f"hue-{mark_of(pk).hue}" if pk else "bar-full",
    )


# Two curves


def _counts(side: Side) -> list[int]:
    return [share.ramets for share in side.group.genets]


def _shown_first(found: Sequence[Side]) -> list[tuple[Side, list[int]]]:
    """The sides with their counts, what lives before what was planted."""
    order = {Stand.ALIVE: 0, Stand.SEEN: 1, Stand.PLANTED: 2}
    kept = [(side, _counts(side)) for side in found if side.group.genets]
    return sorted(kept, key=lambda item: order[item[0].state])


def profile(found: Sequence[Side], name: str) -> tuple[LineChart, Table, str] | None:
    """The Hill numbers of all orders from 0 to 3: the less a line falls, the more even the genets.

    None where there is no ramet with a genet."""
    kept = _shown_first(found)
    if not kept:
        return None
    lines, values = [], {}
    for side, counts in kept:
        by_order = {q: value.number for q, value in hill_profile(counts, _ORDERS).items()}
        values[side.state] = by_order
        dots = [(q, by_order[q]) for q in (0.0, 1.0, 2.0)]
        lines.append(Line(str(HEADS[side.state]).lower(), list(by_order.items()), dots))
    drawn = line_chart(
        _("Effective genets of %(site)s by the order q, from 0 to 3") % {"site": name},
        _("order q"),
        _("effective genets"),
        lines,
    )
    rows = [q for n, q in enumerate(_ORDERS) if n % 5 == 0]
    columns = [Column(_("Order q"), lambda q: number(q, 1), number=True)]
    columns += [
        Column(str(HEADS[state]), _at(by_order), number=True) for state, by_order in values.items()
    ]
    shown = table(columns, rows, _("Effective genets by order"), compact=True)
    return drawn, shown, _ns(kept)


def _at(by_order: Mapping[float, float]) -> Any:
    return lambda q: number(by_order[q], 1)


def rarefaction(found: Sequence[Side], name: str) -> tuple[LineChart, Table, str] | None:
    """How many genets so many ramets are expected to be of, for every number of them.

    None where there is no ramet with a genet."""
    kept = _shown_first(found)
    if not kept:
        return None
    lines, columns, largest = [], [], 0
    for side, counts in kept:
        total = sum(counts)
        largest = max(largest, total)
        curve = expected_genets(counts, _SIZES)
        points = [(float(n), expected.number) for n, expected in curve.items()]
        head = str(HEADS[side.state])
        lines.append(Line(head.lower(), points, dots=points[-1:]))
        columns.append(Column(head, _expected(counts, total), number=True))
    drawn = line_chart(
        _("Genets expected in a draw of ramets of %(site)s") % {"site": name},
        _("ramets drawn"),
        _("genets expected"),
        lines,
    )
    ends = {sum(counts) for _side, counts in kept}
    rows = sorted({*sizes(largest, 8), *ends})
    first = Column(_("Ramets drawn"), lambda n: number(n), number=True)
    shown = table([first, *columns], rows, _("Genets expected in a draw"), compact=True)
    return drawn, shown, _evenly(kept)


def _expected(counts: Sequence[int], total: int) -> Any:
    return lambda n: number(rarefied(counts, n).value, 1) if n <= total else "–"


def _ns(kept: Sequence[tuple[Side, list[int]]]) -> str:
    """How many ramets each line rests on."""
    parts = [
        _("n = %(n)s %(state)s") % {"n": number(sum(counts)), "state": STATE_WORDS[side.state]}
        for side, counts in kept
    ]
    return f"{'; '.join(parts)}."


def _evenly(kept: Sequence[tuple[Side, list[int]]]) -> str:
    """The fair comparison: as many of the planted as are left, and how many genets each holds."""
    by = {side.state: counts for side, counts in kept}
    planted, alive = by.get(Stand.PLANTED), by.get(Stand.ALIVE)
    if planted is None or alive is None or sum(alive) > sum(planted):
        return _ns(kept)
    left = sum(alive)
    return _(
        "Any %(n)s of the planted would be of %(expected)s genets; the %(n)s alive are of "
        "%(genets)s."
    ) % {
        "n": number(left),
        "expected": number(rarefied(planted, left).value, 1),
        "genets": number(len(alive)),
    }
