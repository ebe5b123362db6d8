"""The tables of a site's sheet, as they are read and as files."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

from django.utils.html import format_html
from django.utils.safestring import SafeString
from django.utils.translation import gettext as _

from nursery.core.phrases import day, link, number, percent
from nursery.core.views.tables import Column, Shown, Table, table
from nursery.diversity.cohorts import By, Cohort, Tally
from nursery.diversity.measures import MEASURES
from nursery.diversity.origins import ColonyHere, Origins, ReefHere
from nursery.diversity.overlaps import Overlaps
from nursery.diversity.report import GenetHere, OtherSite
from nursery.diversity.values import Value
from nursery.diversity.views.pictures import HEADS

__all__ = ["HEADS"]
_PLACES = 6
"""The decimals of a number in a file."""


def plainly(value: Value) -> str:
    """A number for a file; empty where it is not defined."""
    return "" if value.value is None else f"{value.value:.{_PLACES}f}"


def _shown(value: Value, places: int) -> SafeString | str:
    if value.value is None:
        return format_html('<span class="undefined">{}</span>', value.reason)
    return number(value.value, places)


# Genets


def genets_table(rows: Sequence[GenetHere]) -> Table:
    columns = [
        Column(_("Genet"), lambda row: link(f"{row.genet} {row.name}".strip(), "genet", row.genet)),
        Column(_("Taxon"), lambda row: row.taxon, minor=True),
        Column(_("Status"), lambda row: _(row.status)),
        Column(_("Planted"), lambda row: row.planted, number=True),
        Column(_("Alive"), lambda row: row.alive, number=True),
        Column(_("Left"), _left, number=True),
    ]
    empty = _("No ramet of a known genet was planted here.")
    return table(columns, rows, _("Genets planted and alive"), empty, compact=True)


def _left(row: GenetHere) -> str:
    """The share of the planted that is alive; none where more live than were planted here."""
    return percent(row.alive / row.planted) if row.alive <= row.planted else "–"


def genet_file() -> list[Column]:
    names = ("genet", "name", "status", "taxon", "planted", "alive")
    return [Column(name, _field(name)) for name in names]


def _field(name: str) -> Callable[[Any], Shown]:
    def show(row: Any) -> Shown:
        value = getattr(row, name)
        if value is None:
            return ""
        return f"{value:.{_PLACES}f}" if isinstance(value, float) else str(value)

    return show


# Groups


def group_file() -> list[Column]:
    return [
        Column("plot", _field("plot")),
        Column("taxon", _field("taxon")),
        Column("ramets", _field("ramets")),
        Column("without_genet", _field("without_genet")),
        Column("genets_presumed", _field("presumed")),
        *(Column(measure.key, _index(measure.key)) for measure in MEASURES),
    ]


def _index(key: str) -> Callable[[Any], Shown]:
    return lambda row: plainly(getattr(row.indices, key))


# Cohorts


def cohorts_table(rows: Sequence[Cohort], by: By) -> Table:
    columns = [
        Column(_("Planted in") if by is By.YEAR else _("Planting"), _cohort_words),
        Column(_("Ramets planted"), lambda row: number(row.planted.ramets), number=True),
        Column(_("Ramets alive"), lambda row: number(row.alive.ramets), number=True),
        Column(_("Genets planted"), _genets(lambda row: row.planted), number=True, minor=True),
        Column(_("Genets alive"), _genets(lambda row: row.alive), number=True, minor=True),
        Column(
            _("Effective genets planted"),
            lambda row: _shown(row.planted.indices.hill_1, 1),
            number=True,
        ),
        Column(
            _("Effective genets alive"),
            lambda row: _shown(row.alive.indices.hill_1, 1),
            number=True,
        ),
    ]
    return table(columns, rows, _("By the time of planting"), compact=True)


def _genets(tally: Callable[[Cohort], Tally]) -> Callable[[Cohort], Shown]:
    return lambda row: number(tally(row).indices.genets)


def _cohort_words(row: Cohort) -> SafeString | str:
    if row.first is None or row.last is None:
        return _("no planting on record")
    if not row.plot:
        return row.name
    days = day(row.last)
    if row.first != row.last:
        days = _("%(first)s to %(last)s") % {"first": day(row.first), "last": day(row.last)}
    return format_html("{}, {}", link(days, "event", row.name), link(row.plot, "plot", row.plot))


def cohort_file() -> list[Column]:
    columns = [Column(name, _field(name)) for name in ("name", "plot", "first", "last")]
    for side in ("planted", "alive"):
        columns.append(Column(f"{side}_ramets", _of(side, "ramets")))
        columns.append(Column(f"{side}_without_genet", _of(side, "without_genet")))
        columns += [
            Column(f"{side}_{measure.key}", _index_of(side, measure.key)) for measure in MEASURES
        ]
    return columns


def _of(side: str, name: str) -> Callable[[Any], Shown]:
    return lambda row: getattr(getattr(row, side), name)


def _index_of(side: str, key: str) -> Callable[[Any], Shown]:
    return lambda row: plainly(getattr(getattr(row, side).indices, key))


# Origins


def reefs_table(found: Origins) -> Table:
    columns = [
        Column(_("Donor reef"), _reef_words),
        Column(_("Ramets"), lambda row: number(row.ramets), number=True),
        Column(_("Colonies"), lambda row: row.colonies, number=True),
        Column(_("Way to here"), lambda row: _range(row), number=True),
    ]
    return table(columns, found.reefs, _("Ramets by donor reef"), compact=True)


def _reef_words(row: ReefHere) -> SafeString | str:
    return link(row.reef, "reef", row.code) if row.code else _(row.reef)


def _range(row: ReefHere) -> str:
    if row.nearest_m is None or row.farthest_m is None:
        return "–"
    near, far = kilometres(row.nearest_m), kilometres(row.farthest_m)
    return near if near == far else _("%(low)s to %(high)s") % {"low": near, "high": far}


def kilometres(metres: float) -> str:
    """A distance as people read it."""
    return f"{number(metres / 1000, 1)} km"


def reef_file() -> list[Column]:
    names = ("code", "reef", "ramets", "colonies", "nearest_m", "farthest_m")
    return [Column(name, _field(name)) for name in names]


def colonies_table(found: Origins) -> Table:
    columns = [
        Column(
            _("Donor colony"),
            lambda row: link(f"{row.colony} {row.name}".strip(), "colony", row.colony),
        ),
        Column(_("Reef"), lambda row: row.reef, minor=True),
        Column(_("Plot"), lambda row: link(row.plot, "plot", row.plot)),
        Column(_("Ramets"), _ramets_words, number=True),
        Column(_("Way to here"), _way_words, number=True),
        Column(_("Deeper than the plot"), _deeper_words, number=True),
    ]
    return table(columns, found.colonies, _("Ramets by donor colony and plot"), compact=True)


def _ramets_words(row: ColonyHere) -> str:
    if not row.shared:
        return number(row.ramets)
    return _("%(n)s, %(shared)s of them pooled") % {
        "n": number(row.ramets),
        "shared": number(row.shared),
    }


def _way_words(row: ColonyHere) -> SafeString | str:
    if row.distance_m is None:
        return "–"
    way = kilometres(row.distance_m)
    if row.uncertainty_m is None:
        return way
    unsure = _("± %(km)s") % {"km": kilometres(row.uncertainty_m)}
    return format_html('{} <span class="aside">{}</span>', way, unsure)


def _deeper_words(row: ColonyHere) -> str:
    return "–" if row.deeper_m is None else f"{row.deeper_m:+f} m"


def colony_file() -> list[Column]:
    names = (
        "plot",
        "colony",
        "name",
        "reef",
        "taxon",
        "ramets",
        "shared",
        "distance_m",
        "uncertainty_m",
        "deeper_m",
    )
    return [Column(name, _field(name)) for name in names]


# Other sites


def others_table(rows: Sequence[OtherSite]) -> Table:
    columns = [
        Column(_("Site"), lambda row: link(row.site.name, "site", row.site.site)),
        Column(_("Ramets"), lambda row: number(row.site.ramets), number=True),
        Column(_("Genets"), lambda row: number(row.site.genets), number=True),
        Column(_("Overlap"), lambda row: _shown(row.overlap, 2), number=True),
    ]
    empty = _("No other site has a ramet of a known genet.")
    return table(columns, rows, _("Overlap with other sites"), empty, compact=True)


def other_file() -> list[Column]:
    return [
        Column("site", lambda row: row.site.site),
        Column("name", lambda row: row.site.name),
        Column("ramets", lambda row: row.site.ramets),
        Column("genets", lambda row: row.site.genets),
        Column("overlap", lambda row: plainly(row.overlap)),
    ]


def overlap_table(found: Overlaps) -> Table:
    """Each site with each: a row and a column for every one."""
    columns = [
        Column(_("Site"), lambda row: link(row[0].name, "site", row[0].site)),
        Column(_("Genets"), lambda row: number(row[0].genets), number=True),
    ]
    columns += [Column(site.site, _at(n), number=True) for n, site in enumerate(found.sites)]
    rows = list(zip(found.sites, found.rows, strict=True))
    empty = _("No site has a ramet of a known genet.")
    return table(columns, rows, _("Overlap of sites"), empty, compact=True)


def _at(n: int) -> Callable[[Any], Shown]:
    return lambda row: _shown(row[1][n], 2)


def overlap_sentence(found: Overlaps) -> str:
    """Which two sites are most alike."""
    pairs = [
        (value.number, here, there)
        for n, (here, row) in enumerate(zip(found.sites, found.rows, strict=True))
        for there, value in list(zip(found.sites, row, strict=True))[n + 1 :]
    ]
    if not pairs:
        return _("There are no two sites to compare.")
    most, here, there = max(pairs, key=lambda pair: pair[0])
    if not most:
        return _("No genet stands at two sites.")
    return _("%(here)s and %(there)s are most alike: they overlap by %(share)s.") % {
        "here": here.name,
        "there": there.name,
        "share": number(most, 2),
    }


def pair_file() -> list[Column]:
    return [
        Column("site", lambda row: row[0]),
        Column("other_site", lambda row: row[1]),
        Column("overlap", lambda row: plainly(row[2])),
    ]
