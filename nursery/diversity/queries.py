"""How many different individuals stand on a site, and how evenly: the report."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date

from django.db.models import Max, Min

from nursery.core.actor import Actor, require_read
from nursery.diversity.intervals import Interval, hill_intervals
from nursery.diversity.summary import Indices, summary
from nursery.donors.models import Genet, Taxon
from nursery.outplanting.counts import GenetCount, Look, Stand, look, standing
from nursery.outplanting.manifests import planned, planned_days
from nursery.outplanting.models import Outplanting
from nursery.places.models import Site

ORDERS = (0, 1, 2)
"""The orders of the Hill numbers that are told with their intervals."""


@dataclass(frozen=True, slots=True)
class GenetShare:
    """One genet's ramets and its share of the ramets with a genet, 0 to 1."""

    genet: str
    name: str
    status: str
    taxon: str
    ramets: int
    share: float


@dataclass(frozen=True, slots=True)
class Group:
    """The diversity of one group: a site or one of its plots, one taxon or all taxa (None).

    `without_genet` ramets are counted apart and stand in no index.
    """

    plot: str | None
    taxon: str | None
    ramets: int
    without_genet: int
    presumed: int
    indices: Indices
    genets: tuple[GenetShare, ...]


@dataclass(frozen=True, slots=True)
class Report:
    """Genet diversity of a site. `groups` begins with the whole site and all taxa."""

    site: str
    site_name: str
    taxon: str | None
    state: Stand
    as_of: date | None
    look: Look
    groups: tuple[Group, ...]

    @property
    def whole(self) -> Group:
        return self.groups[0]


def diversity(
    actor: Actor,
    site: Site,
    taxon: Taxon | None = None,
    state: Stand = Stand.ALIVE,
    as_of: date | None = None,
) -> Report:
    """Genet diversity of a site, by plot and by taxon, in a state, on a day (None: today).

    The number of queries does not grow with the ramets. Undefined indices are None with a reason.
    """
    require_read(actor)
    rows = standing(site, state, as_of, taxon)
    alive = rows if state is Stand.ALIVE else standing(site, Stand.ALIVE, as_of, taxon)
    labels = _Labels(rows)
    plots = list(site.plots.order_by("code").values_list("code", flat=True))
    taxa = sorted({row.taxon for row in rows}, key=labels.taxon)
    groups = [_group(rows, None, None, labels)]
    if len(taxa) > 1:
        groups += [_group(_of(rows, taxon=pk), None, pk, labels) for pk in taxa]
    for plot in plots:
        in_plot = _of(rows, plot=plot)
        groups.append(_group(in_plot, plot, None, labels))
        here = [pk for pk in taxa if any(row.taxon == pk for row in in_plot)]
        if len(taxa) > 1:
            groups += [_group(_of(in_plot, taxon=pk), plot, pk, labels) for pk in here]
    return Report(
        site=site.code,
        site_name=site.name,
        taxon=taxon.name if taxon else None,
        state=state,
        as_of=as_of,
        look=look(site, as_of, taxon, sum(row.ramets for row in alive)),
        groups=tuple(groups),
    )


@dataclass(frozen=True, slots=True)
class Side:
    """One state of a whole site beside the others: its numbers, and the days that it rests on.

    `intervals` are those of the Hill numbers of the ORDERS.
    """

    state: Stand
    group: Group
    earliest: date | None
    latest: date | None
    intervals: tuple[Interval, ...]


def sides(actor: Actor, site: Site, report: Report, taxon: Taxon | None = None) -> tuple[Side, ...]:
    """What was planted beside what lives of it (and what was seen, if the report is of that), on
    the report's day, of its taxon. The days of the planted are those of the plantings. The number
    of queries does not grow with the ramets.
    """
    require_read(actor)
    states = [Stand.PLANTED, Stand.ALIVE]
    if report.state is Stand.SEEN:
        states.append(Stand.SEEN)
    found = []
    for state in states:
        if state is report.state:
            group = report.whole
        else:
            rows = standing(site, state, report.as_of, taxon)
            group = _group(rows, None, None, _Labels(rows))
        first, last = report.as_of, report.as_of
        if state is Stand.PLANTED:
            first, last = _planted_between(site, report.as_of, taxon)
        elif state is Stand.SEEN:
            first, last = report.look.oldest, report.look.newest
        counts = [share.ramets for share in group.genets]
        intervals = hill_intervals(counts, ORDERS)
        found.append(Side(state, group, first, last, intervals))
    return tuple(found)


@dataclass(frozen=True, slots=True)
class Planned:
    """What open manifests mean for a site and is not planted yet, and between which days."""

    group: Group
    earliest: date | None
    latest: date | None


def planned_for(actor: Actor, site: Site, taxon: Taxon | None = None) -> Planned:
    """What is planned for a site as of now, drafts among it, of all taxa or of one. At most four
    queries."""
    require_read(actor)
    rows = planned(site, taxon)
    days = planned_days(site) if rows else (None, None)
    return Planned(_group(rows, None, None, _Labels(rows)), *days)


def _planted_between(
    site: Site, day: date | None, taxon: Taxon | None
) -> tuple[date | None, date | None]:
    """The first and the last day on which something was planted at the site."""
    rows = Outplanting.objects.filter(plot__site=site, event__live=True)
    if day is not None:
        rows = rows.filter(event__latest__lte=day)
    if taxon is not None:
        rows = rows.filter(outplants__ramet__taxon=taxon)
    days = rows.aggregate(first=Min("event__earliest"), last=Max("event__latest"))
    return days["first"], days["last"]


class _Labels:
    """The names of the genets and taxa that rows refer to, looked up together."""

    def __init__(self, rows: Iterable[GenetCount]) -> None:
        found = list(rows)
        ids = {row.genet for row in found if row.genet is not None}
        genets = Genet.objects.filter(pk__in=ids)
        self.genets = {
            pk: told
            for pk, *told in genets.values_list("pk", "code", "name", "status", "taxon__name")
        }
        taxa = {row.taxon for row in found}
        self.taxa = dict(Taxon.objects.filter(pk__in=taxa).values_list("pk", "name"))

    def taxon(self, pk: int) -> str:
        return self.taxa[pk]


def _of(
    rows: Sequence[GenetCount], plot: str | None = None, taxon: int | None = None
) -> list[GenetCount]:
    return [
        row
        for row in rows
        if (plot is None or row.plot == plot) and (taxon is None or row.taxon == taxon)
    ]


def _group(
    rows: Sequence[GenetCount], plot: str | None, taxon: int | None, labels: _Labels
) -> Group:
    counts: Counter[int] = Counter()
    without = 0
    for row in rows:
        if row.genet is None:
            without += row.ramets
        else:
            counts[row.genet] += row.ramets
    total = sum(counts.values())
    shares = []
    for pk, n in counts.items():
        code, name, status, taxon_name = labels.genets[pk]
        shares.append(GenetShare(code, name, status, taxon_name, n, n / total))
    shares.sort(key=lambda share: (-share.ramets, share.genet))
    return Group(
        plot=plot,
        taxon=labels.taxon(taxon) if taxon is not None else None,
        ramets=total + without,
        without_genet=without,
        presumed=sum(share.status == Genet.Status.PRESUMED for share in shares),
        indices=summary(list(counts.values())),
        genets=tuple(shares),
    )
