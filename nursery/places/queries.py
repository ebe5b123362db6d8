"""What can be asked of places."""

from __future__ import annotations

from collections.abc import Iterable

from nursery.core.dates import When
from nursery.core.errors import Problem, Unknown
from nursery.core.registers import as_asked
from nursery.places.models import Plot, Site, Structure, StructureStep


def site(code: str) -> Site:
    """The outplant site with this code, in any case; raises Unknown (`unknown_site`)."""
    row = Site.objects.filter(code=as_asked(code).upper()[:60]).first()
    if row is None:
        raise Unknown(Problem("unknown_site", f"There is no outplant site {code!r}."))
    return row


def structures_by_code(codes: Iterable[str]) -> dict[str, Structure]:
    """The structures with these codes, in one query."""
    rows = Structure.objects.filter(code__in={code.upper() for code in codes})
    return {row.code: row for row in rows.select_related("nursery")}


def plots_by_code(codes: Iterable[str]) -> dict[str, Plot]:
    rows = Plot.objects.filter(code__in={code.upper() for code in codes})
    return {row.code: row for row in rows.select_related("site")}


def lost_ever(ids: Iterable[int]) -> set[int]:
    """Which of these structures were ever lost."""
    steps = StructureStep.objects.filter(structure__in=list(ids), lost=True, live=True)
    return set(steps.values_list("structure_id", flat=True))


def lost_on(structure: Structure, when: When) -> When | None:
    """The date since which a structure was lost all the time of another date, or None."""
    steps = StructureStep.objects.filter(structure=structure, live=True).select_related("event")
    before = [step for step in steps.order_by("order") if step.event.when.lower <= when.upper]
    return before[-1].event.when if before and before[-1].lost else None
