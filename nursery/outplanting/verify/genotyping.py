"""Samples beside the steps of their sampling, and tables of genotypes beside their rows."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator

from django.db.models import F

from nursery.core.models import Event, EventKind
from nursery.genotyping.models import Confirmation, GenotypeTable, Sample
from nursery.lineage.models import Step
from nursery.outplanting.verify.difference import Difference, Tell, breaks, differs
from nursery.outplanting.verify.reading import EVENT, by_id, each, event_name, ramet_codes


def find(tell: Tell) -> Iterator[Difference]:
    """Every sampling that is live, every table, and every confirmation."""
    yield from _samplings(tell)
    yield from _tables(tell)
    others = Confirmation.objects.exclude(decision__genet=F("genet"))
    for _, sample, found, right in each(
        others, "sample__code", "genet__code", "decision__genet__code"
    ):
        yield differs("confirmed_genet", f"sample {sample}", "the genet", found, right)


def _samplings(tell: Tell) -> Iterator[Difference]:
    rows = Event.objects.filter(kind=EventKind.SAMPLING, live=True)
    for batch in by_id(rows, *EVENT, tell=tell, things="samplings"):
        first, last = batch[0][0], batch[-1][0]
        taken: dict[int, set[int]] = defaultdict(set)
        samples = Sample.objects.filter(
            event__gte=first, event__lte=last, ramet__isnull=False, event__live=True
        )
        for pk, ramet in samples.values_list("event_id", "ramet_id"):
            taken[pk].add(ramet)
        said: dict[int, set[int]] = defaultdict(set)
        steps = Step.objects.filter(
            event__gte=first, event__lte=last, event__kind=EventKind.SAMPLING, live=True
        )
        for pk, ramet in steps.values_list("event_id", "ramet_id"):
            said[pk].add(ramet)
        for pk, *event in batch:
            if taken[pk] != said[pk]:
                names = ramet_codes(taken[pk] | said[pk])
                yield differs(
                    "samples",
                    event_name(event),
                    "what samples were taken of",
                    {names[ramet] for ramet in taken[pk]},
                    {names[ramet] for ramet in said[pk]},
                )


def _tables(tell: Tell) -> Iterator[Difference]:
    """One at a time: a table may be as large as memory wants to hold."""
    tables = GenotypeTable.objects.select_related("panel").order_by("pk")
    for number, table in enumerate(tables.iterator(chunk_size=1)):
        tell("tables of genotypes", number)
        rows = list(table.rows.order_by("number").values_list("number", "sample__code", "typed"))
        name = f"{table.panel.code} {table}"
        if [row for row, _, _ in rows] != list(range(len(rows))):
            yield breaks("table_rows", name, "its rows are not numbered from 0 without a gap.")
        try:
            calls = table.genotypes(tuple(code for _, code, _ in rows))
        except ValueError as error:
            yield breaks("table_calls", name, f"{error}.")
            continue
        found = [typed for _, _, typed in rows]
        right = calls.typed.sum(axis=1).tolist()
        if found != right:
            yield differs("table_calls", name, "the numbers of typed loci", found, right)
