"""How many ramets live, for many things at once: one grouped query each."""

from __future__ import annotations

from collections.abc import Iterable

from django.db.models import Count, Q, QuerySet
from django.db.models.functions import Coalesce

from nursery.lineage.models import Ramet
from nursery.lineage.words import Life

COLONY = "donor_set__members__colony"
INDIVIDUAL = Coalesce("genet__canonical_id", "genet_id")
"""A ramet's genet, or the one that it turned out to be the same as."""


def living() -> QuerySet[Ramet]:
    """All living ramets, in no order."""
    return Ramet.objects.filter(life=Life.LIVING).order_by()


def living_by(path: str, ids: Iterable[int]) -> dict[int, int]:
    """Living ramets by what `path` leads to (`structure`, `plot__site`, COLONY …), of these ids."""
    rows = living().filter(**{f"{path}__in": list(ids)}).values_list(path)
    return dict(rows.annotate(n=Count("pk")))


def living_by_genet(ids: Iterable[int] | None = None) -> dict[int, int]:
    """Living ramets of each genet of these ids (None: of all), merged ones as one."""
    ramets = living().filter(genet__isnull=False)
    if ids is not None:
        wanted = list(ids)
        ramets = ramets.filter(Q(genet__in=wanted) | Q(genet__canonical__in=wanted))
    rows = ramets.annotate(individual=INDIVIDUAL).values_list("individual")
    return dict(rows.annotate(n=Count("pk")))
