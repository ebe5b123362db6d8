"""Everything there is to tell of a site's diversity, on one sheet."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from nursery.core.actor import Actor
from nursery.diversity.cohorts import By, Cohort, cohorts
from nursery.diversity.origins import Origins, origins
from nursery.diversity.overlaps import SiteGenets, overlaps
from nursery.diversity.queries import (
    GenetShare,
    Planned,
    Report,
    Side,
    diversity,
    planned_for,
    sides,
)
from nursery.diversity.values import Value
from nursery.donors.models import Taxon
from nursery.outplanting.counts import Stand
from nursery.places.models import Site


@dataclass(frozen=True, slots=True)
class GenetHere:
    """One genet of a site: how many of its ramets were planted and are alive."""

    genet: str
    name: str
    status: str
    taxon: str
    planted: int
    alive: int


@dataclass(frozen=True, slots=True)
class OtherSite:
    """Another site and its Morisita–Horn overlap with this one."""

    site: SiteGenets
    overlap: Value


@dataclass(frozen=True, slots=True)
class SiteReport:
    """A site's diversity with all that stands beside it.

    `planned` is what open manifests mean for the site as of now; None in a report of a past day.
    `others` are of what is in the record today, whatever day the report is of.
    """

    report: Report
    planned: Planned | None
    sides: tuple[Side, ...]
    genets: tuple[GenetHere, ...]
    cohorts: tuple[Cohort, ...]
    origins: Origins
    others: tuple[OtherSite, ...]


def site_report(
    actor: Actor,
    site: Site,
    taxon: Taxon | None = None,
    state: Stand = Stand.ALIVE,
    as_of: date | None = None,
    by: By = By.YEAR,
) -> SiteReport:
    """All of it, of the ramets in a state on a day (None: today). The number of queries does not
    grow with the ramets. Raises NotAllowed (`no_role`)."""
    report = diversity(actor, site, taxon, state, as_of)
    found = sides(actor, site, report, taxon)
    alike = overlaps(actor, Stand.PLANTED if state is Stand.PLANTED else Stand.ALIVE, taxon)
    return SiteReport(
        report=report,
        planned=planned_for(actor, site, taxon) if as_of is None else None,
        sides=found,
        genets=_genets(found),
        cohorts=cohorts(actor, site, as_of, taxon, by),
        origins=origins(actor, site, state, as_of, taxon),
        others=tuple(OtherSite(other, value) for other, value in alike.of(site.code)),
    )


def _genets(found: tuple[Side, ...]) -> tuple[GenetHere, ...]:
    """Every genet that was planted or lives, the most numerous first."""
    by = {side.state: {share.genet: share for share in side.group.genets} for side in found}
    planted, alive = by[Stand.PLANTED], by[Stand.ALIVE]
    rows = [
        _genet_here(share, planted.get(code), alive.get(code))
        for code, share in (planted | alive).items()
    ]
    return tuple(sorted(rows, key=lambda row: (-row.alive, -row.planted, row.genet)))


def _genet_here(
    share: GenetShare, planted: GenetShare | None, alive: GenetShare | None
) -> GenetHere:
    return GenetHere(
        share.genet,
        share.name,
        share.status,
        share.taxon,
        planted.ramets if planted else 0,
        alive.ramets if alive else 0,
    )
