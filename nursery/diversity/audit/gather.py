"""What the audit of a manifest needs to know, in a constant number of queries."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date

from django.db.models import Count, QuerySet

from nursery.core.dates import When
from nursery.core.geodesy import Point, distance_m
from nursery.diversity.audit.case import (
    Case,
    Donor,
    Limit,
    Plug,
    Standing,
)
from nursery.donors.models import DonorSetMember, EventPermit, Genet, Permit, Taxon
from nursery.donors.permits import Use, flags
from nursery.husbandry.models import ALIVE, Finding
from nursery.lineage.living import INDIVIDUAL, living
from nursery.lineage.words import Life, Origin, Place
from nursery.outplanting.manifests import INDIVIDUAL_OF_LINE, IS_PLANTED, lines
from nursery.outplanting.models import Manifest, ManifestLine, PolicyRule
from nursery.outplanting.policies import Policy, in_force
from nursery.outplanting.rules import Rule
from nursery.places.models import Site

KILOMETRE = 1000.0


@dataclass(frozen=True, slots=True)
class Gathered:
    """A case, and the rows of the policy that ask something of its taxa."""

    case: Case
    rows: tuple[PolicyRule, ...]


def gather(manifest: Manifest) -> Gathered:
    """The case of a manifest as everything stands now, under the policy of its planned day."""
    plugs, gone = _plugs(manifest)
    standing = _standing(manifest.site)
    taxa = {plug.taxon for plug in plugs}
    policy = in_force(manifest.earliest)
    limits, used = _limits(policy, taxa)
    sets = {key for plug in plugs if (key := plug.donors) is not None}
    sets |= {row.donors for row in standing if row.donors is not None}
    genets = {plug.genet for plug in plugs} | {row.genet for row in standing}
    case = Case(
        days=(manifest.earliest, manifest.latest),
        plugs=plugs,
        gone=gone,
        standing=standing,
        donors=_donors(manifest.site, sets),
        depths={
            code: None if depth is None else float(depth)
            for code, depth in manifest.site.plots.values_list("code", "depth_m")
        },
        presumed=_presumed({pk for pk in genets if pk is not None}),
        permits=_permits(manifest, plugs, policy),
        limits=limits,
    )
    return Gathered(case, used)


def sites_standing(day: date) -> dict[int, Case]:
    """What lives on each site now, by its id, and what the policy of a day asks of it; nothing
    where no policy asks anything. Three queries for all sites."""
    policy = in_force(day)
    if not policy.rows:
        return {}
    rows = (
        living()
        .filter(place=Place.PLOT)
        .annotate(individual=INDIVIDUAL)
        .values_list("plot__site", "plot__code", "taxon", "individual", "donor_set")
        .annotate(n=Count("pk"))
    )
    found: dict[int, list[Standing]] = {}
    for site, *told in rows:
        found.setdefault(site, []).append(Standing(*told))
    sets = {row.donors for standing in found.values() for row in standing}
    members = DonorSetMember.objects.filter(donor_set__in=[key for key in sets if key is not None])
    donors: dict[int, list[Donor]] = {}
    for key, colony, reef in members.values_list("donor_set", "colony__code", "colony__reef__code"):
        donors.setdefault(key, []).append(Donor(colony, reef, None, 0.0, None))
    reefs = {key: tuple(each) for key, each in donors.items()}
    taxa = {row.taxon for standing in found.values() for row in standing}
    limits, _ = _limits(policy, taxa)
    return {
        site: Case((day, day), (), standing=standing, donors=reefs, limits=limits)
        for site, standing in found.items()
    }


def _limits(
    policy: Policy, taxa: Iterable[int]
) -> tuple[dict[tuple[Rule, int], Limit], tuple[PolicyRule, ...]]:
    """What the policy asks of each of these taxa, and the rows that ask it."""
    limits: dict[tuple[Rule, int], Limit] = {}
    used: dict[int, PolicyRule] = {}
    for taxon in taxa:
        for rule in Rule:
            row = policy.of(rule, taxon)
            if row is not None:
                number = float(row.number) if row.number is not None else None
                limits[rule, taxon] = Limit(number, row.word)
                used[row.pk] = row
    return limits, tuple(used.values())


def _plugs(manifest: Manifest) -> tuple[list[Plug], list[str]]:
    """The ramets of a manifest, and the codes of those that cannot be planted any more."""
    looked, sizes = _looks(lines(manifest))
    told = (
        lines(manifest)
        .annotate(individual=INDIVIDUAL_OF_LINE, done=IS_PLANTED)
        .order_by("ramet__code")
        .values_list(
            "ramet",
            "ramet__code",
            "ramet__taxon",
            "individual",
            "plot__code",
            "ramet__donor_set",
            "ramet__origin",
            "ramet__born__earliest",
            "ramet__born__latest",
            "ramet__life",
            "ramet__place",
            "done",
        )
    )
    plugs: list[Plug] = []
    gone: list[str] = []
    for pk, code, taxon, genet, plot, donors, origin, first, last, life, place, done in told:
        if not done and (life != Life.LIVING or place == Place.PLOT):
            gone.append(code)
            continue
        born = (first, last) if origin == Origin.CUT else None
        plugs.append(
            Plug(code, taxon, genet, plot, donors, born, sizes.get(pk), looked.get(pk), done)
        )
    return plugs, gone


def _looks(
    of: QuerySet[ManifestLine],
) -> tuple[dict[int, tuple[date, date]], dict[int, float]]:
    """The days of the last check that found each ramet alive, and the last size of each."""
    rows = (
        Finding.objects.filter(
            ramet__in=of.values("ramet"), during__event__live=True, state__in=ALIVE
        )
        .order_by("during__event__moment", "during")
        .values_list("ramet", "size_cm", "during__event__earliest", "during__event__latest")
    )
    looked: dict[int, tuple[date, date]] = {}
    sizes: dict[int, float] = {}
    for ramet, size, first, last in rows:
        looked[ramet] = (first, last)
        if size is not None:
            sizes[ramet] = float(size)
    return looked, sizes


def _standing(site: Site) -> list[Standing]:
    """What lives on the site now: neither dead nor missing nor lifted."""
    rows = (
        living()
        .filter(place=Place.PLOT, plot__site=site)
        .annotate(individual=INDIVIDUAL)
        .values_list("plot__code", "taxon", "individual", "donor_set")
        .annotate(n=Count("pk"))
    )
    return [Standing(*row) for row in rows]


def _donors(site: Site, sets: Iterable[int]) -> dict[int, tuple[Donor, ...]]:
    """The colonies of each donor set. Distances are those of rounded positions, with the
    uncertainty that goes with them: an exact one would be told by them."""
    members = DonorSetMember.objects.filter(donor_set__in=sets).order_by("donor_set", "colony")
    here = _point(site.latitude, site.longitude)
    found: dict[int, list[Donor]] = {}
    known: dict[int, Donor] = {}
    for member in members.select_related("colony__reef"):
        colony = member.colony
        if colony.pk not in known:
            there = _point(colony.rounded_latitude, colony.rounded_longitude)
            apart = distance_m(here, there) / KILOMETRE if here and there else None
            known[colony.pk] = Donor(
                colony.code,
                colony.reef.code,
                apart,
                (colony.uncertainty_m or 0) / KILOMETRE,
                None if colony.depth_m is None else float(colony.depth_m),
            )
        found.setdefault(member.donor_set_id, []).append(known[colony.pk])
    return {key: tuple(donors) for key, donors in found.items()}


def _point(latitude: object, longitude: object) -> Point | None:
    if latitude is None or longitude is None:
        return None
    return Point(float(str(latitude)), float(str(longitude)))


def _presumed(genets: Iterable[int]) -> frozenset[int]:
    rows = Genet.objects.filter(pk__in=genets, status=Genet.Status.PRESUMED)
    return frozenset(rows.values_list("pk", flat=True))


def _permits(
    manifest: Manifest, plugs: Sequence[Plug], policy: Policy
) -> dict[int, tuple[str, ...]]:
    """What is wrong with the manifest's permits, for each taxon of which the policy asks it.

    A permit's number is held against what was planted under it and what is still to be.
    """
    asked = {plug.taxon for plug in plugs if policy.yes(Rule.PERMIT_COVERS, plug.taxon)}
    if not asked:
        return {}
    held = list(manifest.permits.order_by("code").prefetch_related("taxa", "reefs", "sites"))
    left = sum(not plug.planted for plug in plugs)
    pieces = {pk: n + left for pk, n in _planted_under(held).items()}
    when = When(manifest.earliest, manifest.latest)
    return {
        taxon: tuple(
            flag.code
            for flag in flags(
                held, Use(when, frozenset({taxon}), site=manifest.site_id, pieces=pieces)
            )
        )
        for taxon in asked
    }


def _planted_under(permits: Sequence[Permit]) -> dict[int, int]:
    """How many ramets were planted under each of these permits."""
    rows = (
        EventPermit.objects.filter(permit__in=permits, event__live=True)
        .order_by()
        .values_list("permit")
        .annotate(n=Count("event__outplanting__outplants"))
    )
    return {**{permit.pk: 0 for permit in permits}, **dict(rows)}


def taxon_names(ids: Iterable[int]) -> dict[int, tuple[str, str]]:
    """Code and name of each taxon, by its id. One query."""
    rows = Taxon.objects.filter(pk__in=ids).values_list("pk", "code", "name")
    return {pk: (code, name) for pk, code, name in rows}
