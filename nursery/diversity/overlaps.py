"""How alike the sites are in their genets: each with each."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass

from nursery.core.actor import Actor, require_read
from nursery.diversity.overlap import morisita_horn
from nursery.diversity.values import Value
from nursery.donors.models import Taxon
from nursery.outplanting.counts import Stand, genets_living_by_site, genets_planted_by_site
from nursery.places.models import Site


@dataclass(frozen=True, slots=True)
class SiteGenets:
    """A site and how many ramets of how many genets stand in its row."""

    site: str
    name: str
    ramets: int
    genets: int


@dataclass(frozen=True, slots=True)
class Overlaps:
    """The Morisita–Horn overlap of each site with each; `rows` are in the order of `sites`, and so
    are the values of a row."""

    state: Stand
    taxon: str | None
    sites: tuple[SiteGenets, ...]
    rows: tuple[tuple[Value, ...], ...]

    def of(self, site: str) -> list[tuple[SiteGenets, Value]]:
        """The other sites with their overlap with this one, the most alike first."""
        codes = [row.site for row in self.sites]
        if site not in codes:
            return []
        found = zip(self.sites, self.rows[codes.index(site)], strict=True)
        others = [(row, value) for row, value in found if row.site != site]
        return sorted(others, key=lambda each: (-(each[1].value or 0.0), each[0].site))


def overlaps(actor: Actor, state: Stand = Stand.ALIVE, taxon: Taxon | None = None) -> Overlaps:
    """How alike the sites are in what lives there now, or in what was ever planted there (PLANTED);
    sites without a ramet of a known genet are left out. Two queries. Raises NotAllowed (`no_role`);
    ValueError for another state."""
    require_read(actor)
    if state is Stand.SEEN:
        raise ValueError("Sites are compared by what lives there or by what was planted.")
    told = genets_living_by_site if state is Stand.ALIVE else genets_planted_by_site
    counts = told(taxon)
    sites = list(Site.objects.filter(pk__in=counts).order_by("code"))
    return Overlaps(
        state,
        taxon.name if taxon else None,
        tuple(_told(site, counts[site.pk]) for site in sites),
        tuple(
            tuple(morisita_horn(counts[here.pk], counts[there.pk]) for there in sites)
            for here in sites
        ),
    )


def _told(site: Site, counts: Counter[int]) -> SiteGenets:
    return SiteGenets(site.code, site.name, counts.total(), len(counts))
