"""What is on manifests, and what of it is planted already.

Whether a line is planted is no mark of its own: it is, while a live outplanting of its manifest
planted its ramet. A void so gives the line back, and a restoration takes it again.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from django.db.models import Count, Exists, Max, Min, OuterRef, QuerySet
from django.db.models.functions import Coalesce

from nursery.core.errors import Problem, Unknown
from nursery.core.registers import as_asked
from nursery.donors.models import Genet, Taxon
from nursery.lineage.words import Life, Place
from nursery.outplanting.counts import GenetCount
from nursery.outplanting.models import Manifest, ManifestLine, Outplant, Stage
from nursery.outplanting.stock import Changed, Difference, Seen, stock_digest
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
INDIVIDUAL_OF_LINE = Coalesce("ramet__genet__canonical_id", "ramet__genet_id")
"""The genet of a line's ramet, or the one that it turned out to be the same as."""


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
        .annotate(individual=INDIVIDUAL_OF_LINE)
        .values_list("plot__code", "ramet__taxon", "individual")
        .annotate(n=Count("pk"))
    )
    return [GenetCount(*row) for row in found]


def planned_days(site: Site) -> tuple[date | None, date | None]:
    """The first and the last planned day of the open manifests of a site."""
    rows = Manifest.objects.filter(site=site, stage__in=OPEN)
    days = rows.aggregate(first=Min("earliest"), last=Max("latest"))
    return days["first"], days["last"]


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


def since_seen(of: Manifest) -> list[Difference]:
    """How the ramets that are still to be planted differ from what the last audit saw. One query.

    That a ramet was moved or packed is no difference: every one is carried to the boat.
    """
    rows = ManifestLine.objects.filter(~IS_PLANTED, manifest=of).order_by("ramet__code")
    told = rows.annotate(individual=INDIVIDUAL_OF_LINE).values_list(
        "ramet__code",
        "taken_off",
        "individual",
        "ramet__life",
        "ramet__place",
        "seen_genet",
        "seen_life",
        "seen_place",
    )
    found = []
    for code, off, genet, life, place, seen_genet, seen_life, seen_place in told:
        gone, was_gone = _gone(life, place), _gone(seen_life, seen_place)
        if off or seen_life is None:
            if off and seen_life is not None and not was_gone:
                found.append(Difference(code, Changed.TAKEN_OFF, seen_genet))
            elif not off:
                found.append(Difference(code, Changed.PUT_ON, genet))
        elif genet != seen_genet:
            found.append(Difference(code, Changed.OTHER_GENET, genet))
        elif gone and not was_gone:
            kind = Changed.ENDED if life != Life.LIVING else Changed.PLANTED_ELSEWHERE
            found.append(Difference(code, kind, genet))
        elif was_gone and not gone:
            found.append(Difference(code, Changed.AT_HAND_AGAIN, genet))
    return found


def stock_of(of: Manifest) -> str:
    """The digest of what the last audit saw of a manifest's ramets. One query."""
    rows = ManifestLine.objects.filter(manifest=of, seen_life__isnull=False).order_by("pk")
    told = rows.values_list(
        "ramet__code", "seen_plot__code", "seen_genet__code", "seen_life", "seen_place"
    )
    return stock_digest(
        Seen(code, plot, genet or "", Life(life).word, Place(place).word)
        for code, plot, genet, life, place in told
        if life is not None and place is not None
    )


def _gone(life: int | None, place: int | None) -> bool:
    """Whether a ramet of this life and place cannot be planted."""
    return life != Life.LIVING or place == Place.PLOT


@dataclass(frozen=True, slots=True)
class Bunch:
    """So many ramets of one genet from one place, meant for one plot: they are interchangeable.

    `held` is the code of the structure that they are in; empty for those that are packed. Of ramets
    that are planted, or that live no more, it is not asked where they are.
    """

    plot: str
    taxon: str
    genet: int | None
    genet_name: str
    held: str
    packed: bool
    planted: int
    gone: int
    left: int

    @property
    def ramets(self) -> int:
        return self.planted + self.gone + self.left


def bunches(of: Manifest) -> list[Bunch]:
    """The lines of a manifest by plot, genet and structure. Two queries."""
    counted = (
        lines(of)
        .order_by()
        .annotate(individual=INDIVIDUAL_OF_LINE, done=IS_PLANTED)
        .values_list(
            "plot__code",
            "ramet__taxon__name",
            "individual",
            "ramet__structure__code",
            "ramet__place",
            "ramet__life",
            "done",
        )
        .annotate(n=Count("pk"))
    )
    found: dict[tuple[str, str, int | None, str, bool], list[int]] = {}
    for plot, taxon, genet, held, place, life, done, n in counted:
        which = 0 if done else 1 if _gone(life, place) else 2
        left = which == 2
        key = (plot, taxon, genet, (held or "") if left else "", left and place == Place.PACKED)
        found.setdefault(key, [0, 0, 0])[which] += n
    genets = Genet.objects.in_bulk({key[2] for key in found if key[2] is not None})
    rows = [
        Bunch(plot, taxon, pk, str(genets[pk]) if pk is not None else "", held, packed, *numbers)
        for (plot, taxon, pk, held, packed), numbers in found.items()
    ]
    return sorted(rows, key=lambda row: (row.plot, row.taxon, row.genet_name, row.held))
