"""How a proposal is told: its opening sentence, what it does not keep, and the map of a plot."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from nursery.core.dates import parse_when
from nursery.core.phrases import in_words, link, number, percent
from nursery.core.views.tables import Column, Table, table
from nursery.diversity.allocation.asked import Kind
from nursery.diversity.proposing_answers import (
    Broken,
    Laid,
    Numbers,
    PlotPlan,
    Pool,
    Portion,
    Proposal,
    RuleOf,
    Side,
)
from nursery.donors.marks import mark_of
from nursery.donors.templatetags.genet_marks import disc, genet_mark
from nursery.places.cells import column_letters

PROVEN = 1e-9
"""A gap of no more than this is none: it is rounding."""
WIDE, HIGH, EDGE = 30, 38, 24
"""How far apart positions are drawn, and the room for letters and numbers."""
SHOWN = 1.4
"""How many pixels a unit of the drawing is, where there is room."""

ALIKE = {
    "genet": gettext_lazy("of one genet"),
    "donor_colony": gettext_lazy("from one donor colony"),
    "donor_reef": gettext_lazy("from one donor reef"),
}
RULES = {
    Kind.PLUGS: gettext_lazy("the number of plugs"),
    Kind.LARGEST_SHARE: gettext_lazy("the largest share of a genet"),
    Kind.FEWEST_GENETS: gettext_lazy("the fewest genets"),
    Kind.FEWEST_REEFS: gettext_lazy("the fewest donor reefs"),
}


def planned(proposal: Proposal) -> str | SafeString:
    """The planned days as people read them."""
    return in_words(parse_when(proposal.planned))


def says(proposal: Proposal) -> str:
    """The opening sentence: what the site gains, or how much of what is asked has a place."""
    sides = [side for pool in proposal.pools for side in pool.sides]
    if len(sides) == 1 and sides[0].given:
        return _one_site(sides[0])
    return _("%(given)s of %(asked)s plugs have a place, on %(plots)s.") % {
        "given": number(proposal.given),
        "asked": number(proposal.asked),
        "plots": ngettext("%(n)d plot", "%(n)d plots", len(proposal.plots))
        % {"n": len(proposal.plots)},
    }


def _one_site(side: Side) -> str:
    said = {
        "site": side.site_name,
        "plugs": number(side.given),
        "after": number(side.after.hill_2, 1),
    }
    if side.before.hill_2 is None:
        return (
            _("Site %(site)s would begin with %(after)s effective genets, from %(plugs)s plugs.")
            % said
        )
    return _(
        "Site %(site)s would go from %(before)s to %(after)s effective genets with %(plugs)s plugs."
    ) % {**said, "before": number(side.before.hill_2, 1)}


def proof(pool: Pool) -> str:
    """How good the numbers are, and what is known of it."""
    if not any(side.given for side in pool.sides):
        return _("Nothing that may be planted is ready.")
    unknown = 1 - pool.bound / pool.evenest
    if unknown > PROVEN:
        text = _("A plan that is up to %(gap)s more even may exist: the search was ended.")
        return text % {"gap": percent(unknown)}
    if pool.price > PROVEN:
        text = _("To touch fewer plates it is %(price)s more uneven (Σ p²) than the evenest plan.")
        return text % {"price": percent(pool.price)}
    if pool.broken:
        return _("With the limits broken no further than this, no plan is more even.")
    return _("No plan within these limits is more even.")


def plates_words(pool: Pool) -> str:
    """How many plates are touched, and whether fewer could do."""
    if not pool.plates:
        return ""
    touched = ngettext(
        "%(n)d structure is touched", "%(n)d structures are touched", pool.plates
    ) % {"n": pool.plates}
    if pool.fewest_plates < pool.plates:
        least = _("at least %(n)d would be") % {"n": pool.fewest_plates}
    elif pool.weighed:
        least = _("no plan that is as even needs fewer")
    else:
        least = _("these numbers need no fewer")
    return f"{touched}; {least}."


def broken_words(broken: Broken) -> str:
    """What a limit asks and what would be."""
    where = place_words(broken.rule)
    said = {"where": where, "asked": number(broken.asked, 0), "reached": number(broken.reached, 0)}
    kind = broken.rule.kind
    if kind is Kind.PLUGS:
        return _("%(where)s gets %(reached)s of %(asked)s plugs: no more are ready.") % said
    if kind is Kind.LARGEST_SHARE:
        said |= {"asked": percent(broken.asked), "reached": percent(broken.reached)}
        return _("%(where)s: one genet would hold %(reached)s; at most %(asked)s may.") % said
    if kind is Kind.FEWEST_GENETS:
        return _("%(where)s: %(reached)s genets would stand; at least %(asked)s are asked.") % said
    return _("%(where)s: genets of %(reached)s reefs; at least %(asked)s are asked.") % said


def clash_words(rules: Sequence[RuleOf]) -> str:
    """Which limits cannot be kept together."""
    names = "; ".join(f"{RULES[rule.kind]}, {place_words(rule)}" for rule in rules)
    if len(rules) == 1:
        return _("With what is ready and what stands, this cannot be kept: %(rule)s.") % {
            "rule": names
        }
    return _("Of these, any one left out would do, but all cannot be kept: %(rules)s.") % {
        "rules": names
    }


def place_words(rule: RuleOf) -> str:
    """The site or plot of a rule."""
    if rule.plot is None:
        return _("site %(site)s") % {"site": rule.site}
    return _("plot %(plot)s") % {"plot": rule.plot}


# Tables


def sides_table(pool: Pool) -> Table:
    """Each site as it stands and as it would stand."""

    def pair(show: str, places: int | None = None) -> Column:
        heads = {
            "ramets": _("Ramets"),
            "genets": _("Genets"),
            "hill_1": _("Effective genets, q\u00a0=\u00a01"),
            "hill_2": _("Effective genets, q\u00a0=\u00a02"),
        }
        return Column(
            heads[show],
            lambda side: _arrow(
                *(number(getattr(one, show), places) or "–" for one in (side.before, side.after))
            ),
            number=True,
            minor=show in ("ramets", "hill_1"),
        )

    columns = [
        Column(_("Site"), lambda side: link(side.site_name, "site", side.site)),
        Column(
            _("Plugs"),
            lambda side: (
                _("%(given)s of %(asked)s")
                % {"given": number(side.given), "asked": number(side.asked)}
            ),
            number=True,
        ),
        pair("ramets"),
        pair("genets"),
        pair("hill_1", 1),
        pair("hill_2", 1),
        Column(_("Largest share"), lambda side: _shares(side.before, side.after), number=True),
    ]
    return table(columns, pool.sides, _("Sites before and after"), compact=True)


def _shares(before: Numbers, after: Numbers) -> str:
    return _arrow(percent(before.largest_share) or "–", percent(after.largest_share) or "–")


def _arrow(before: str, after: str) -> str:
    return f"{before} → {after}"


def portions_table(plot: PlotPlan) -> Table:
    """What one plot gets: genets and the structures that they come from."""
    columns = [
        Column(_("Genet"), _genet),
        Column(_("Taken from"), lambda one: link(one.plate, "structure", one.plate)),
        Column(_("Plugs"), lambda one: number(one.plugs), number=True),
    ]
    rows = sorted(plot.portions, key=lambda one: (one.taxon, one.genet, one.plate))
    caption = _("What plot %(plot)s gets") % {"plot": plot.plot}
    return table(columns, rows, caption, _("Nothing."), compact=True)


def _genet(one: Portion) -> SafeString:
    name = f"{one.genet} {one.genet_name}".strip()
    return format_html("{} {}", genet_mark(one.genet_id), link(name, "genet", one.genet))


# The map of a plot


def drawing(laid: Laid) -> SafeString:
    """The plot from above: each position with the mark of its genet, rows numbered, columns
    lettered."""
    letters = format_html_join(
        "",
        '<text x="{}" y="15" class="chart-name" text-anchor="middle">{}</text>',
        (
            (EDGE + WIDE * column + WIDE // 2, column_letters(column))
            for column in range(laid.columns)
        ),
    )
    numbers = format_html_join(
        "",
        '<text x="{}" y="{}" class="chart-name" text-anchor="end">{}</text>',
        ((EDGE - 6, EDGE + HIGH * row + 15, row + 1) for row in range(laid.rows)),
    )
    taken = {(spot.row, spot.column) for spot in laid.spots}
    empty = (
        (EDGE + WIDE * column + WIDE // 2, EDGE + HIGH * row + 11)
        for row in range(laid.rows)
        for column in range(laid.columns)
        if (row + 1, column + 1) not in taken
    )
    nothing = format_html_join("", '<circle cx="{}" cy="{}" r="2" class="empty-spot"/>', empty)
    marks = format_html_join(
        "",
        '<g transform="translate({} {})">{}<text x="10" y="31" text-anchor="middle">{}</text></g>',
        (
            (
                EDGE + WIDE * (spot.column - 1) + 5,
                EDGE + HIGH * (spot.row - 1) + 1,
                disc(spot.genet_id),
                mark_of(spot.genet_id).label,
            )
            for spot in laid.spots
        ),
    )
    return format_html(
        '<svg class="plot-map" width="{}" viewBox="0 0 {} {}" role="img" aria-label="{}">{}{}{}{}'
        "</svg>",
        round(SHOWN * (EDGE + WIDE * laid.columns)),
        EDGE + WIDE * laid.columns,
        EDGE + HIGH * laid.rows,
        layout_words(laid),
        letters,
        numbers,
        nothing,
        marks,
    )


def layout_words(laid: Laid) -> str:
    """How many neighbours are alike, against chance and against what is possible."""
    if not laid.pairs:
        return _("No two positions are neighbours.")
    text = _(
        "%(like)s of %(pairs)s neighbouring pairs are %(alike)s (%(share)s); at random it would be "
        "%(random)s, and no layout has fewer than %(bound)s."
    ) % {
        "alike": ALIKE[laid.kept_apart],
        "like": number(laid.like),
        "pairs": number(laid.pairs),
        "share": percent(laid.like / laid.pairs),
        "random": percent(laid.expected / laid.pairs),
        "bound": number(laid.bound),
    }
    if laid.unit > 1:
        text += " " + _("Units of %(n)d plugs of one genet lie side by side, to fuse.") % {
            "n": laid.unit
        }
    if laid.clashing:
        text += " " + ngettext(
            "%(n)d pair is of two taxa.", "%(n)d pairs are of two taxa.", laid.clashing
        ) % {"n": laid.clashing}
    return text


def legend(portions: Iterable[Portion]) -> list[tuple[int, str, int]]:
    """The genets of a plot with their numbers: id, name, plugs."""
    found: dict[int, tuple[str, int]] = {}
    for one in portions:
        name = f"{one.genet} {one.genet_name}".strip()
        found[one.genet_id] = (name, found.get(one.genet_id, (name, 0))[1] + one.plugs)
    return sorted(
        ((pk, name, n) for pk, (name, n) in found.items()), key=lambda row: (-row[2], row[1])
    )
