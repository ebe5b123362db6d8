"""What a lead is waited for: manifests to sign off, and sites that stand below the policy."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from nursery.diversity.audit.gather import sites_standing
from nursery.diversity.audit.judge import failing_site
from nursery.outplanting.models import Manifest, Stage
from nursery.places.models import Site


@dataclass(frozen=True, slots=True)
class Below:
    """A site that fails rules of the policy as it stands: their words, each once."""

    site: Site
    rules: Sequence[str]


def sites_below(day: date) -> list[Below]:
    """Sites below the policy of a day, by code. Four queries however many there are."""
    failed = {
        site: list(dict.fromkeys(answer.rule for answer in failing_site(case)))
        for site, case in sites_standing(day).items()
    }
    below = {site: rules for site, rules in failed.items() if rules}
    rows = Site.objects.filter(pk__in=below, closed_on=None).order_by("code")
    return [Below(row, below[row.pk]) for row in rows]


def manifests_waiting() -> list[Manifest]:
    """Manifests that were audited and wait for a lead, the soonest planned first. One query."""
    rows = Manifest.objects.filter(stage=Stage.AUDITED).select_related("site")
    return list(rows.order_by("earliest", "pk"))
