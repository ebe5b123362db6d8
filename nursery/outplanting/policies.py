"""The programme's policy: which rule asks what, of which taxon, on a day.

Policy stands here and not above, in diversity, because planting itself heeds a rule of it.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from django.db.models import Q

from nursery.outplanting.models import PolicyRule
from nursery.outplanting.rules import Rule


@dataclass(frozen=True, slots=True)
class Policy:
    """The rows in force on a day."""

    day: date
    rows: tuple[PolicyRule, ...]

    def of(self, rule: Rule, taxon: int | None) -> PolicyRule | None:
        """The row that holds for a taxon: its own, else that of all taxa; None where nothing is
        asked. A row without a value says that nothing is asked of its taxon."""
        found = {row.taxon_id: row for row in self.rows if row.rule == rule}
        row = found.get(taxon, found.get(None))
        return row if row is not None and row.asks else None

    def yes(self, rule: Rule, taxon: int | None) -> bool:
        """Whether a rule of yes or no says yes of a taxon."""
        row = self.of(rule, taxon)
        return row is not None and bool(row.number)


def in_force(day: date) -> Policy:
    """The policy on a day. One query."""
    rows = PolicyRule.objects.filter(Q(until=None) | Q(until__gte=day), since__lte=day)
    return Policy(day, tuple(rows.select_related("taxon").order_by("rule", "taxon__name", "pk")))


def history() -> list[PolicyRule]:
    """All rows there ever were, the newest of each rule and taxon first."""
    rows = PolicyRule.objects.select_related("taxon", "by")
    return list(rows.order_by("rule", "taxon__name", "-since", "-pk"))


def demanding(day: date, taxa: Iterable[int]) -> set[int]:
    """Of which of these taxa nothing may be planted without a manifest, on a day. One query."""
    policy = in_force(day)
    return {taxon for taxon in taxa if policy.yes(Rule.MANIFEST_DEMANDED, taxon)}
