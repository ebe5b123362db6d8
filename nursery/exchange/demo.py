"""What the demo's people plan: a policy, and a manifest that would not do its site good.

Plans are no events, so no file of the loader holds them.
"""

from __future__ import annotations

import csv
import uuid
from collections import Counter
from datetime import timedelta
from pathlib import Path

from django.conf import settings
from django.db.models import Max, Q

from nursery.core.actor import Actor
from nursery.core.inputs import read
from nursery.core.models import Event
from nursery.diversity.actions import audit
from nursery.diversity.indices import hill
from nursery.donors.models import Permit
from nursery.exchange.loading.naming import NAMESPACE
from nursery.lineage.living import INDIVIDUAL, living
from nursery.lineage.words import Origin, Place, Purpose
from nursery.outplanting.actions import draft, set_rule
from nursery.outplanting.counts import Stand, standing
from nursery.outplanting.inputs import ManifestIn, PolicyRuleIn
from nursery.outplanting.manifests import unplanted
from nursery.outplanting.models import Manifest, PolicyRule
from nursery.places.models import Site

POLICY = settings.BASE_DIR / "fixtures" / "policy.csv"
_PLANNED = uuid.uuid5(NAMESPACE, "manifest/one genet once more")
_OF_FIRST, _OF_SECOND = 48, 6
"""How many the manifest has of the genet with the most plugs, and of the next."""


def plan(actor: Actor) -> None:
    """Set the demo's policy and draft its manifest, where they are missing."""
    if not PolicyRule.objects.exists():
        _set_policy(actor, POLICY)
    if not Manifest.objects.filter(uid=_PLANNED).exists():
        _draft(actor)


def _set_policy(actor: Actor, path: Path) -> None:
    with path.open(encoding="utf-8", newline="") as file:
        for row in csv.DictReader(file):
            given = {name: value for name, value in row.items() if value}
            set_rule(actor, read(PolicyRuleIn, given))


def _draft(actor: Actor) -> None:
    """More of one genet for the site that is least diverse as it is, audited by the lead."""
    site = min(Site.objects.filter(closed_on=None), key=_effective)
    plot = site.plots.filter(closed_on=None).order_by("code").first()
    ready = (
        living()
        .filter(
            place=Place.STRUCTURE,
            origin=Origin.CUT,
            purpose=Purpose.PRODUCTION,
            row__isnull=False,
            genet__isnull=False,
        )
        .exclude(pk__in=unplanted().values("ramet"))
        .annotate(individual=INDIVIDUAL)
    )
    codes: dict[tuple[int, int], list[str]] = {}
    young = ready.order_by("-born__earliest", "code")
    for taxon, genet, code in young.values_list("taxon", "individual", "code"):
        codes.setdefault((taxon, genet), []).append(code)
    # Of one taxon: the genet with the most plugs, and the one with the next most.
    most = sorted(codes, key=lambda key: (-len(codes[key]), key))
    chosen = [key for key in most if key[0] == most[0][0]][:2]
    if plot is None or len(chosen) < 2:
        return
    plugs = [*codes[chosen[0]][:_OF_FIRST], *codes[chosen[1]][:_OF_SECOND]]
    last = Event.objects.filter(live=True).aggregate(day=Max("latest"))["day"]
    permit = (
        Permit.objects.filter(Q(sites=site) | Q(sites=None))
        .order_by("-valid_until", "code")
        .first()
    )
    given = {
        "uid": str(_PLANNED),
        "site": site.code,
        "title": "What is ready now",
        "planned": f"{last + timedelta(days=14)}/{last + timedelta(days=16)}",
        "plot": plot.code,
        "permits": [permit.code] if permit is not None else [],
        "note": "Drafted from the fullest plates. Is it good for the site?",
        "lines": [{"ramet": code} for code in plugs],
    }
    audit(actor, draft(actor, read(ManifestIn, given)).manifest)


def _effective(site: Site) -> tuple[float, str]:
    """Effective genets alive at a site."""
    counts: Counter[int] = Counter()
    for row in standing(site, Stand.ALIVE, None):
        if row.genet is not None:
            counts[row.genet] += row.ramets
    return hill(counts.values(), 1).value or 0.0, site.code
