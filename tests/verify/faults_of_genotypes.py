"""Faults in samples, tables of genotypes and what they confirm; each makes one rule untrue."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from nursery.genotyping.calls import packed
from nursery.genotyping.models import Confirmation, GenotypeTable, Sample, TableRow
from nursery.lineage.models import Step
from tests.verify.faults_of_events import Plant
from tests.verify.season import Season


def sample_of_another_ramet(s: Season) -> None:
    Sample.objects.filter(event=s.sampling, ramet=s.mother).update(ramet=s.children[3])


def sample_without_its_step(s: Season) -> None:
    Step.objects.filter(event=s.sampling).update(live=False)


def row_with_a_gap(s: Season) -> None:
    TableRow.objects.filter(table=s.table, number=1).update(number=2)


def row_gone(s: Season) -> None:
    TableRow.objects.filter(table=s.table, number=1).delete()


def typed_at_more_loci(s: Season) -> None:
    TableRow.objects.filter(table=s.table, number=1).update(typed=4)


def calls_of_others(s: Season) -> None:
    codes = tuple(s.table.rows.order_by("number").values_list("sample__code", flat=True))
    calls = packed(s.table.genotypes(codes).of([0]))
    GenotypeTable.objects.filter(pk=s.table.pk).update(calls=calls)


def calls_that_cannot_be_read(s: Season) -> None:
    GenotypeTable.objects.filter(pk=s.table.pk).update(calls=b"nothing of the kind")


def another_genet_confirmed(s: Season) -> None:
    Confirmation.objects.filter(decision=s.decision).update(genet=s.kept_genet)


FAULTS: Mapping[str, Sequence[Plant]] = {
    "samples": [sample_of_another_ramet, sample_without_its_step],
    "table_rows": [row_with_a_gap],
    "table_calls": [row_gone, typed_at_more_loci, calls_of_others, calls_that_cannot_be_read],
    "confirmed_genet": [another_genet_confirmed],
}
