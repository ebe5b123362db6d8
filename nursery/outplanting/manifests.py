"""What is on manifests, and what of it is planted already.

Whether a line is planted is no mark of its own: it is, while a live outplanting of its manifest
planted its ramet. A void so gives the line back, and a restoration takes it again.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from django.db.models import Count, Exists, OuterRef, QuerySet
from django.db.models.functions import Coalesce

from nursery.core.errors import Problem, Unknown
from nursery.core.registers import as_asked
from nursery.donors.models import Taxon
from nursery.lineage.words import Life, Place
from nursery.outplanting.counts import GenetCount
from nursery.outplanting.models import Manifest, ManifestLine, Outplant, Stage
from nursery.places.models import Site

OPEN = (Stage.DRAFT, Stage.AUDITED, Stage.SIGNED)
"""The stages in which something may still be planted of a manifest."""

IS_PLANTED = Exists(
    Outplant.objects.filter(
        ramet=OuterRef("ramet"),
        outplanting__manifest=OuterRef("manifest"),
        outplanting__event__live=True,
    )
)


def manifest(code: str) -> Manifest:
    """The manifest of this code (any case); raises Unknown (`unknown_manifest`)."""
    row = Manifest.objects.select_related("site").filter(code=as_asked(code).upper()[:40]).first()
    if row is None:
        raise Unknown(Problem("unknown_manifest", f"There is no manifest {code!r}."))
    return row


def lines(of: Manifest | Iterable[Manifest] | None = None) -> QuerySet[ManifestLine]:
    """Lines that are on their manifests (of one, of some, of all)."""
    rows = ManifestLine.objects.filter(taken_off=False)
    if of is None:
        return rows
    return rows.filter(manifest=of) if isinstance(of, Manifest) else rows.filter(manifest__in=of)


def unplanted(of: Manifest | Iterable[Manifest] | None = None) -> QuerySet[ManifestLine]:
    """Lines that are still to be planted, of these manifests or of all that are open."""
    return lines(of).filter(~IS_PLANTED, manifest__stage__in=OPEN)


def planned(
    site: Site, taxon: Taxon | None = None, but: Manifest | None = None
) -> list[GenetCount]:
    """What is meant for a site and not planted yet, by plot, taxon and genet, merged ones as one.

    Living ramets of open manifests, drafts among them, without those of `but`. One query.
    """
    rows = unplanted().filter(manifest__site=site, ramet__life=Life.LIVING)
    rows = rows.exclude(ramet__place=Place.PLOT)
    if taxon is not None:
        rows = rows.filter(ramet__taxon=taxon)
    if but is not None:
        rows = rows.exclude(manifest=but)
    found = (
        rows.order_by()
        .annotate(individual=Coalesce("ramet__genet__canonical_id", "ramet__genet_id"))
        .values_list("plot__code", "ramet__taxon", "individual")
        .annotate(n=Count("pk"))
    )
    return [GenetCount(*row) for row in found]


@dataclass(frozen=True, slots=True)
class Tally:
    """How many lines a manifest has, and how many of them are planted."""

    lines: int
    planted: int

    @property
    def left(self) -> int:
        return self.lines - self.planted


def tallies(of: Iterable[Manifest]) -> dict[int, Tally]:
    """The tally of each manifest, by its id. Two queries for all."""
    ids = [row.pk for row in of]
    on = ManifestLine.objects.filter(manifest__in=ids, taken_off=False).order_by()
    total = dict(on.values_list("manifest").annotate(n=Count("pk")))
    done = (
        Outplant.objects.filter(outplanting__manifest__in=ids, outplanting__event__live=True)
        .order_by()
        .values_list("outplanting__manifest")
        .annotate(n=Count("ramet", distinct=True))
    )
    count = dict(done)
    return {pk: Tally(total.get(pk, 0), count.get(pk, 0)) for pk in ids}
