"""Permits at work: attached to events, and the flags where one does not cover what was done.

What happened is recorded all the same: an irregular act is flagged for a lead, never lost.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from django.utils import timezone
from django.utils.translation import gettext as _

from nursery.core import bulk
from nursery.core.dates import When
from nursery.core.errors import ProblemList
from nursery.core.models import Event
from nursery.donors.models import EventPermit, Permit


@dataclass(frozen=True, slots=True)
class Flag:
    """Something irregular about an entry that stands nevertheless."""

    code: str
    message: str


@dataclass(frozen=True, slots=True)
class Use:
    """What a permit would have to cover. Ids; None where it does not apply.

    `pieces` is how many had been taken under each permit by then, by the permit's id.
    """

    when: When
    taxa: frozenset[int] = frozenset()
    reef: int | None = None
    site: int | None = None
    pieces: Mapping[int, int] = field(default_factory=dict)


def permits_to_choose(named: Collection[str]) -> list[Permit]:
    """Permits to choose from: those that are open and not lapsed today, and any that was named."""
    today = timezone.localdate()
    return [
        row
        for row in Permit.objects.order_by("code")
        if row.code in named
        or (row.closed_on is None and (row.valid_until is None or row.valid_until >= today))
    ]


def attach(event: Event, codes: Iterable[str]) -> list[Permit]:
    """Attach permits to an event by code; raises Refused (`unknown_permit`)."""
    wanted = list(dict.fromkeys(code.upper() for code in codes))
    if not wanted:
        return []
    known = {row.code: row for row in Permit.objects.filter(code__in=wanted)}
    problems = ProblemList()
    for number, code in enumerate(wanted):
        if code not in known:
            problems.add("unknown_permit", f"There is no permit {code}.", "permits", number)
    problems.raise_if_any()
    permits = [known[code] for code in wanted]
    bulk.insert(EventPermit, [EventPermit(event=event, permit=row) for row in permits])
    return permits


def flags(permits: Sequence[Permit], use: Use) -> list[Flag]:
    """What is irregular about a use under these permits: none at all, or none that covers it."""
    if not permits:
        return [Flag("no_permit", _("No permit is named for this."))]
    faults = [_faults(permit, use) for permit in permits]
    if any(not found for found in faults):
        return []
    return [flag for found in faults for flag in found]


def _faults(permit: Permit, use: Use) -> list[Flag]:
    found, of = [], {"permit": permit.code}
    if permit.valid_from is not None and use.when.latest < permit.valid_from:
        found.append(
            Flag(
                "permit_not_yet_valid",
                _("%(permit)s is valid only from %(day)s.") % {**of, "day": permit.valid_from},
            )
        )
    if permit.valid_until is not None and use.when.earliest > permit.valid_until:
        text = _("%(permit)s lapsed on %(day)s.") % {**of, "day": permit.valid_until}
        found.append(Flag("permit_lapsed", text))
    taxa = {row.pk for row in permit.taxa.all()}
    if taxa and not use.taxa <= taxa:
        found.append(Flag("permit_other_taxon", _("%(permit)s does not name this taxon.") % of))
    reefs = {row.pk for row in permit.reefs.all()}
    if use.reef is not None and reefs and use.reef not in reefs:
        found.append(Flag("permit_other_reef", _("%(permit)s does not name this reef.") % of))
    sites = {row.pk for row in permit.sites.all()}
    if use.site is not None and sites and use.site not in sites:
        found.append(Flag("permit_other_site", _("%(permit)s does not name this site.") % of))
    taken = use.pieces.get(permit.pk, 0)
    if permit.pieces is not None and taken > permit.pieces:
        found.append(
            Flag(
                "permit_exceeded",
                _("%(permit)s allows %(pieces)d pieces; %(taken)d were taken.")
                % {**of, "pieces": permit.pieces, "taken": taken},
            )
        )
    return found
