"""What can be asked about samples and their genotypes."""

from __future__ import annotations

import uuid
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from django.db.models import Q

from nursery.core.errors import Problem, Refused
from nursery.donors.models import Genet
from nursery.genotyping.calls import Calls, together
from nursery.genotyping.confirming import standing
from nursery.genotyping.models import Confirmation, GenotypeTable, Panel, Sample, TableRow


@dataclass(frozen=True, slots=True)
class Typed:
    """Calls, and the samples of their rows."""

    calls: Calls
    samples: tuple[Sample, ...]


def typed_of_table(table: GenotypeTable) -> Typed:
    """The calls of one table. One query."""
    return typed_of([table])


def typed_of_panel(panel: Panel) -> Typed:
    """The calls of all tables of a panel; of a sample that was typed twice the last one's. Raises
    Refused (`nothing_typed`, `mixed_writing`)."""
    tables = list(panel.tables.order_by("pk"))
    if not tables:
        raise Refused(
            Problem("nothing_typed", f"There is no table of {panel.code} yet.", ("panel",))
        )
    if len({table.writing for table in tables}) > 1:
        raise Refused(
            Problem(
                "mixed_writing",
                f"Some tables of {panel.code} have letters and some counts, which cannot be "
                "compared. Propose by one table.",
                ("panel",),
            )
        )
    for table in tables:
        table.panel = panel
    return typed_of(tables)


def typed_of(tables: Iterable[GenotypeTable]) -> Typed:
    """The calls of these tables of one panel, in the order of their import. One query."""
    tables = list(tables)
    rows: dict[int, list[Sample]] = {table.pk: [] for table in tables}
    found = TableRow.objects.filter(table__in=tables).order_by("table", "number")
    related = ("sample__ramet__genet__canonical", "sample__colony__genet__canonical")
    for row in found.select_related(*related):
        rows[row.table_id].append(row.sample)
    samples = [sample for table in tables for sample in rows[table.pk]]
    parts = [table.genotypes(tuple(s.code for s in rows[table.pk])) for table in tables]
    calls = together(parts)
    last = {sample.pk: number for number, sample in enumerate(samples)}
    kept = sorted(last.values())
    if len(kept) == len(samples):
        return Typed(calls, tuple(samples))
    return Typed(calls.of(kept), tuple(samples[number] for number in kept))


@dataclass(frozen=True, slots=True)
class Confirmed:
    """By what a genet is confirmed: a panel on a day, and the sample of a colony or a ramet."""

    panel: str
    on: date
    sample: str
    source: str
    of_colony: bool
    proposal: uuid.UUID
    group: int


def confirmations_of(genet: Genet) -> tuple[Confirmed, ...]:
    """By what a genet and those merged into it are confirmed, by decisions that stand. One
    query."""
    rows = Confirmation.objects.filter(
        Q(genet=genet) | Q(genet__canonical=genet), decision__in=standing()
    ).select_related("sample__ramet", "sample__colony", "decision__group__proposal__panel")
    return tuple(
        Confirmed(
            panel=row.decision.group.proposal.panel.code,
            on=row.on,
            sample=row.sample.code,
            source=row.sample.source.code,
            of_colony=row.sample.colony is not None,
            proposal=row.decision.group.proposal.uid,
            group=row.decision.group.number,
        )
        for row in rows.order_by("on", "pk")
    )
