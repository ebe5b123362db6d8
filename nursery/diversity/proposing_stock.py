"""What is ready in nurseries, what stands on sites, and which reefs genets come from.

Each is a grouped query or two, however many ramets, sites and plots there are. Merged genets are
counted as the one they turned out to be.
"""

from __future__ import annotations

import datetime
from collections import defaultdict
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass

from django.db.models import Count, Exists, OuterRef, Q, QuerySet
from django.db.models.functions import Coalesce

from nursery.diversity.proposing_inputs import ProposalIn
from nursery.diversity.risk import homes_of_structures
from nursery.donors.models import Genet
from nursery.husbandry.models import Finding
from nursery.lineage.living import COLONY, INDIVIDUAL, living
from nursery.lineage.models import Ramet
from nursery.lineage.words import Life, Place, Purpose
from nursery.outplanting.manifests import unplanted
from nursery.places.models import Plot

LINE_INDIVIDUAL = Coalesce("ramet__genet__canonical_id", "ramet__genet_id")


@dataclass(frozen=True, slots=True)
class Ready:
    """So many ready ramets of a genet in one structure."""

    taxon: int
    genet: int
    structure: int
    plate: str
    plugs: int


def offered() -> QuerySet[Ramet]:
    """Living ramets for production, of a known genet, in a structure, on no open manifest.
    Broodstock and reserve are never among them."""
    rows = living().filter(genet__isnull=False, purpose=Purpose.PRODUCTION, place=Place.STRUCTURE)
    return rows.filter(~Exists(unplanted().filter(ramet=OuterRef("pk"))))


def ready_ramets(given: ProposalIn, taxa: Collection[int]) -> QuerySet[Ramet]:
    """What is offered of these taxa, surely neither too young nor too old, and large enough."""
    latest = given.planned.earliest - datetime.timedelta(days=given.least_days)
    rows = offered().filter(taxon__in=taxa, born__latest__lte=latest)
    if given.most_days is not None:
        earliest = given.planned.latest - datetime.timedelta(days=given.most_days)
        rows = rows.filter(born__earliest__gte=earliest)
    if not given.presumed:
        itself = Q(genet__canonical=None, genet__status=Genet.Status.CONFIRMED)
        rows = rows.filter(itself | Q(genet__canonical__status=Genet.Status.CONFIRMED))
    if given.smallest is None:
        return rows
    measured = Finding.objects.filter(
        ramet=OuterRef("pk"), during__event__live=True, size_cm__gte=given.smallest
    )
    return rows.filter(Exists(measured))


def offered_by_taxon() -> dict[int, tuple[int, int]]:
    """How many ramets of each taxon are offered, and of how many genets. One query."""
    rows = (
        offered()
        .values_list("taxon")
        .annotate(n=Count("pk"), genets=Count(INDIVIDUAL, distinct=True))
    )
    return {taxon: (n, genets) for taxon, n, genets in rows}


def ready(given: ProposalIn, taxa: Collection[int], nurseries: Collection[str]) -> list[Ready]:
    """What is ready, by genet and structure; in these nurseries alone if any are named.

    Two queries: structures that are held by others are where those are.
    """
    rows = (
        ready_ramets(given, taxa)
        .annotate(individual=INDIVIDUAL)
        .values_list("taxon", "individual", "structure", "structure__code")
        .annotate(n=Count("pk"))
    )
    found = [Ready(*row) for row in rows]
    if not nurseries:
        return found
    homes = homes_of_structures()
    return [row for row in found if homes[row.structure].nursery in nurseries]


Counts = dict[tuple[int, int], dict[int, int]]
"""Ramets of each genet by (plot, taxon), all by their ids."""


def standing_now(sites: Collection[int], taxa: Collection[int], with_planned: bool) -> Counts:
    """Living ramets of known genets in the plots of sites; with what is on open manifests for them
    if that is asked."""
    found: Counts = defaultdict(dict)

    def add(rows: Iterator[tuple[int, int, int, int]]) -> None:
        for plot, taxon, genet, n in rows:
            counts = found[plot, taxon]
            counts[genet] = counts.get(genet, 0) + n

    plots = list(Plot.objects.filter(site__in=sites).values_list("pk", flat=True))
    there = living().filter(plot__in=plots, place=Place.PLOT, taxon__in=taxa, genet__isnull=False)
    add(
        there.annotate(individual=INDIVIDUAL)
        .values_list("plot", "taxon", "individual")
        .annotate(n=Count("pk"))
        .iterator()
    )
    if with_planned:
        lines = unplanted().filter(
            plot__in=plots,
            ramet__life=Life.LIVING,
            ramet__taxon__in=taxa,
            ramet__genet__isnull=False,
        )
        add(
            lines.exclude(ramet__place=Place.PLOT)
            .order_by()
            .annotate(individual=LINE_INDIVIDUAL)
            .values_list("plot", "ramet__taxon", "individual")
            .annotate(n=Count("pk"))
            .iterator()
        )
    return found


REEF = f"{COLONY}__reef__code"
DONOR = f"{COLONY}__code"


def origins_of(
    taxa: Collection[int], genets: Collection[int], path: str
) -> Mapping[int, frozenset[str]]:
    """The donor colonies of each genet's living ramets (DONOR), or the reefs of these (REEF); none
    where not known. One query."""
    rows = (
        living()
        .filter(taxon__in=taxa, donor_set__isnull=False)
        .filter(Q(genet__in=genets) | Q(genet__canonical__in=genets))
        .annotate(individual=INDIVIDUAL)
        .values_list("individual", path)
        .distinct()
    )
    found: dict[int, set[str]] = defaultdict(set)
    for genet, origin in rows:
        if origin is not None:
            found[genet].add(origin)
    return {genet: frozenset(origins) for genet, origins in found.items()}


def chosen(
    given: ProposalIn, taxa: Collection[int], wanted: Sequence[tuple[int, str, int]]
) -> list[list[str]]:
    """The codes of ramets for each (genet, plate, plugs) that is wanted, in turn.

    Ramets of one genet and plate stand for each other: those of one lot are taken together, in the
    order of their cells, the oldest first. Fewer come where fewer are ready. One query.
    """
    plates = {plate for _, plate, _ in wanted}
    rows = (
        ready_ramets(given, taxa)
        .filter(structure__code__in=plates)
        .annotate(individual=INDIVIDUAL)
        .order_by("born__moment", "born_id", "row", "column", "pk")
        .values_list("individual", "structure__code", "code")
    )
    left: dict[tuple[int, str], list[str]] = defaultdict(list)
    for genet, plate, code in rows:
        left[genet, plate].append(code)
    found = []
    for genet, plate, plugs in wanted:
        here = left[genet, plate]
        found.append(here[:plugs])
        del here[:plugs]
    return found
