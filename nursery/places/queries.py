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


def lost_on(ids: Iterable[int], when: When) -> dict[int, When]:
    """The structures, of these, that were lost all the time of a date, each with the date since
    which it was. One query."""
    lost = StructureStep.objects.filter(structure__in=list(ids), lost=True, live=True)
    steps = StructureStep.objects.filter(structure__in=lost.values("structure"), live=True)
    last: dict[int, StructureStep] = {}
    for step in steps.select_related("event").order_by("structure_id", "order"):
        if step.event.when.lower <= when.upper:
            last[step.structure_id] = step
    return {pk: step.event.when for pk, step in last.items() if step.lost}
