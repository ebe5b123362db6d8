"""The programme's genets in plain values: what lives of each and where, and which are gone."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from nursery.core.actor import Actor
from nursery.core.dates import When
from nursery.diversity.lost import gone
from nursery.diversity.risk import FEW, Risk, keeping
from nursery.donors.models import Taxon
from nursery.lineage.words import Cause, Life


@dataclass(frozen=True, slots=True)
class BankedGenet:
    """A genet with living ramets: how many, by nursery, by system, on the reef and without a
    place, and why it may be lost."""

    genet: str
    name: str
    status: str
    taxon: str
    living: int
    by_nursery: Mapping[str, int]
    by_system: Mapping[str, int]
    on_reef: int
    elsewhere: int
    risks: tuple[Risk, ...]


@dataclass(frozen=True, slots=True)
class LostGenet:
    """A genet that had `ramets` and has none that lives: when and how the last one ended."""

    genet: str
    name: str
    status: str
    taxon: str
    ramets: int
    ended: When
    how: Life
    cause: Cause | None


@dataclass(frozen=True, slots=True)
class GenetBank:
    """All genets that ever had a ramet. Fewer living ramets than `few` are a risk."""

    few: int
    at_risk: int
    genets: tuple[BankedGenet, ...]
    lost: tuple[LostGenet, ...]


def genet_bank(actor: Actor, taxon: Taxon | None = None, few: int = FEW) -> GenetBank:
    """The genets of the programme, of one taxon where one is given. Seven queries. Raises
    NotAllowed (`no_role`)."""
    kept = keeping(actor, taxon, few)
    return GenetBank(
        few=few,
        at_risk=len(kept.at_risk),
        genets=tuple(
            BankedGenet(
                genet=row.genet.code,
                name=row.genet.name,
                status=row.genet.status,
                taxon=row.genet.taxon.name,
                living=row.living,
                by_nursery=row.by_nursery,
                by_system=row.by_water,
                on_reef=row.on_reef,
                elsewhere=row.elsewhere,
                risks=row.risks,
            )
            for row in kept.rows
        ),
        lost=tuple(
            LostGenet(
                genet=row.genet.code,
                name=row.genet.name,
                status=row.genet.status,
                taxon=row.genet.taxon.name,
                ramets=row.ramets,
                ended=row.ended,
                how=row.how,
                cause=row.cause,
            )
            for row in gone(actor, taxon)
        ),
    )
