"""Where a site's ramets come from: donor reefs and colonies, how far off and how much deeper."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from django.utils.translation import gettext_noop as _

from nursery.core.actor import Actor, require_read
from nursery.core.geodesy import Point, distance_m
from nursery.diversity.places_map import middle, rings
from nursery.donors.models import DonorColony, DonorSetMember, Taxon
from nursery.donors.positions import Seen, of_colonies
from nursery.outplanting.counts import DonorCount, Stand, donors_standing
from nursery.places.models import Plot, Site

MIXED, UNKNOWN = _("several reefs"), _("not known")


@dataclass(frozen=True, slots=True)
class ColonyHere:
    """What descends from one donor colony in one plot.

    `shared` of its `ramets` may as well be of another colony, whose pieces were pooled with its.
    `distance_m` goes from the colony to the site as far as the one who asks may see it: it is good
    to `uncertainty_m`, where that is not None. `deeper_m` is how much deeper the colony stood than
    the plot. None where one of the two is not on record.
    """

    plot: str
    colony: str
    name: str
    reef: str
    taxon: str
    ramets: int
    shared: int
    distance_m: float | None
    uncertainty_m: int | None
    deeper_m: Decimal | None


@dataclass(frozen=True, slots=True)
class ReefHere:
    """Ramets of which all donors stood on one reef; `reef` is `several reefs` or `not known` for
    the others, which have no `code`."""

    code: str
    reef: str
    ramets: int
    colonies: int
    nearest_m: float | None
    farthest_m: float | None


@dataclass(frozen=True, slots=True)
class Origins:
    """The origins of a site's ramets: by reef, the largest first, and by plot and colony."""

    reefs: tuple[ReefHere, ...]
    colonies: tuple[ColonyHere, ...]

    @property
    def unknown(self) -> int:
        """How many ramets no donor colony is known of."""
        return sum(row.ramets for row in self.reefs if row.reef == UNKNOWN)

    @property
    def donor_reefs(self) -> int:
        """How many reefs are known to have given to this site."""
        return len({row.reef for row in self.colonies})


def origins(
    actor: Actor,
    site: Site,
    state: Stand = Stand.ALIVE,
    as_of: date | None = None,
    taxon: Taxon | None = None,
) -> Origins:
    """Where the ramets of a site in a state come from. Distances are geodesic, on WGS 84, between
    the middle of the site and the colony as the actor may see it.

    The number of queries does not grow with the ramets. Raises NotAllowed (`no_role`).
    """
    require_read(actor)
    rows = donors_standing(site, state, as_of, taxon)
    members = _members({row.donor_set for row in rows if row.donor_set is not None})
    known = DonorColony.objects.filter(pk__in={pk for each in members.values() for pk in each})
    colonies = {row.pk: row for row in known.select_related("reef", "taxon")}
    at = _middle(site)
    seen = of_colonies(actor, colonies.values()) if at is not None else {}
    away = {pk: distance_m(at, seen[pk].point) for pk in seen} if at is not None else {}
    depths = dict(Plot.objects.filter(site=site).values_list("code", "depth_m"))
    return Origins(
        _by_reef(rows, members, colonies, away),
        _by_colony(rows, members, colonies, away, seen, depths),
    )


def _members(sets: Iterable[int]) -> dict[int, list[int]]:
    """The colonies of each donor set."""
    found: dict[int, list[int]] = defaultdict(list)
    links = DonorSetMember.objects.filter(donor_set__in=list(sets)).order_by("pk")
    for donor_set, colony in links.values_list("donor_set_id", "colony_id"):
        found[donor_set].append(colony)
    return dict(found)


def _middle(site: Site) -> Point | None:
    if site.latitude is not None and site.longitude is not None:
        return Point(float(site.latitude), float(site.longitude))
    return middle(rings(site.outline))


def _by_reef(
    rows: Iterable[DonorCount],
    members: Mapping[int, list[int]],
    colonies: Mapping[int, DonorColony],
    away: Mapping[int, float],
) -> tuple[ReefHere, ...]:
    ramets: Counter[tuple[str, str]] = Counter()
    donors: dict[tuple[str, str], set[int]] = defaultdict(set)
    for row in rows:
        of = members.get(row.donor_set, []) if row.donor_set is not None else []
        reefs = {(colonies[pk].reef.code, colonies[pk].reef.name) for pk in of}
        where = ("", UNKNOWN) if not reefs else reefs.pop() if len(reefs) == 1 else ("", MIXED)
        ramets[where] += row.ramets
        donors[where].update(of)
    found = []
    for (code, reef), n in ramets.items():
        far = sorted(away[pk] for pk in donors[code, reef] if pk in away)
        near, farthest = (far[0], far[-1]) if far else (None, None)
        found.append(ReefHere(code, reef, n, len(donors[code, reef]), near, farthest))
    return tuple(sorted(found, key=lambda row: (not row.code, -row.ramets, row.code, row.reef)))


def _by_colony(
    rows: Iterable[DonorCount],
    members: Mapping[int, list[int]],
    colonies: Mapping[int, DonorColony],
    away: Mapping[int, float],
    seen: Mapping[int, Seen],
    depths: Mapping[str, Decimal | None],
) -> tuple[ColonyHere, ...]:
    ramets: Counter[tuple[str, int]] = Counter()
    shared: Counter[tuple[str, int]] = Counter()
    for row in rows:
        of = members.get(row.donor_set, []) if row.donor_set is not None else []
        for pk in of:
            ramets[row.plot, pk] += row.ramets
            shared[row.plot, pk] += row.ramets if len(of) > 1 else 0
    found = []
    for (plot, pk), n in ramets.items():
        colony, depth = colonies[pk], depths.get(plot)
        known = colony.depth_m is not None and depth is not None
        found.append(
            ColonyHere(
                plot=plot,
                colony=colony.code,
                name=colony.name,
                reef=colony.reef.name,
                taxon=colony.taxon.name,
                ramets=n,
                shared=shared[plot, pk],
                distance_m=away.get(pk),
                uncertainty_m=seen[pk].uncertainty_m if pk in seen else None,
                deeper_m=colony.depth_m - depth if known else None,  # type: ignore[operator]
            )
        )
    return tuple(sorted(found, key=lambda row: (row.plot, -row.ramets, row.colony)))
