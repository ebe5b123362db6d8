"""Tables of genotypes come into the record as a whole, or not at all."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass

from django.db import transaction

from nursery.core import bulk
from nursery.core.actor import Actor, require
from nursery.core.errors import Problem, ProblemList, Refused
from nursery.genotyping.calls import packed
from nursery.genotyping.inputs import TableIn
from nursery.genotyping.models import GenotypeTable, Panel, Sample, TableRow
from nursery.genotyping.reading import MOST_FAULTS, SAMPLE, Marker, Table, read_table

ACT = "import tables of genotypes"


@dataclass(frozen=True, slots=True)
class Imported:
    """A table, and whether this call wrote it (`fresh`) or found the same one."""

    table: GenotypeTable
    fresh: bool


def import_table(actor: Actor, given: TableIn) -> Imported:
    """Read a table and keep it; the same text of the same panel again is the table that is there.

    For leads alone. Raises NotAllowed; Refused (`unknown_panel`, `unknown_sample`,
    `ambiguous_sample`, `named_twice`, and those of `read_table`), every fault with its line and
    column, and then nothing is kept.
    """
    require(actor, act=ACT)
    panel = Panel.objects.filter(code=given.panel).first()
    if panel is None:
        raise Refused(Problem("unknown_panel", f"There is no panel {given.panel}.", ("panel",)))
    digest = hashlib.sha256(given.text.encode()).hexdigest()
    known = GenotypeTable.objects.filter(panel=panel, digest=digest).first()
    if known is not None:
        return Imported(known, fresh=False)
    # Reading a large table takes seconds: it is done before anything is locked.
    try:
        table = read_table(given.text, Marker(panel.marker), panel.loci)
        samples = _samples(table)
    except Refused as refusal:
        raise Refused([problem.under("text") for problem in refusal.problems]) from refusal
    with transaction.atomic():
        # The panel's loci stay as they are from now on; the same table again waits here.
        locked = Panel.objects.select_for_update().get(pk=panel.pk)
        if (locked.marker, locked.loci) != (panel.marker, panel.loci):
            message = f"Panel {panel.code} was changed meanwhile. Import the table again."
            raise Refused(Problem("panel_changed", message, ("panel",)))
        known = GenotypeTable.objects.filter(panel=panel, digest=digest).first()
        if known is not None:
            return Imported(known, fresh=False)
        made = GenotypeTable.objects.create(
            panel=panel,
            name=given.name,
            writing=table.writing,
            digest=digest,
            calls=packed(table.calls),
            imported_by_id=actor.user_id,
        )
        typed = table.calls.typed.sum(axis=1).tolist()
        bulk.insert_values(
            TableRow,
            ("table_id", "number", "sample_id", "typed"),
            [
                (made.pk, n, pk, count)
                for n, (pk, count) in enumerate(zip(samples, typed, strict=True))
            ],
        )
    return Imported(made, fresh=True)


def _samples(table: Table) -> list[int]:
    """The id of each row's sample, by its code or the laboratory's label. Two queries."""
    names = table.calls.samples
    taken = Sample.objects.filter(event__live=True)
    by_code = dict(taken.filter(code__in=names).values_list("code", "pk"))
    by_label: dict[str, list[int]] = {}
    left = {name for name in names if name not in by_code}
    for label, pk in taken.exclude(label="").values_list("label", "pk") if left else ():
        if label.upper() in left:
            by_label.setdefault(label.upper(), []).append(pk)
    problems = ProblemList()
    seen: dict[int, int] = {}
    found = []
    for line, name in zip(table.lines, names, strict=True):
        named = [by_code[name]] if name in by_code else by_label.get(name, [])
        where = f"Line {line}, {SAMPLE}:"
        if not named:
            problems.add(
                "unknown_sample",
                f"{where} there is no sample {name}. Enter it first.",
                line,
                SAMPLE,
            )
        elif len(named) > 1:
            message = f"{where} {len(named)} samples have the label {name}. Use their codes."
            problems.add("ambiguous_sample", message, line, SAMPLE)
        elif named[0] in seen:
            message = f"{where} {name} is the sample of line {seen[named[0]]}."
            problems.add("named_twice", message, line, SAMPLE)
        else:
            seen[named[0]] = line
            found.append(named[0])
    if len(problems.items) > MOST_FAULTS:
        beyond = len(problems.items) - MOST_FAULTS
        problems.items[MOST_FAULTS:] = [
            Problem("more_faults", f"There are {beyond:,} more faults.")
        ]
    problems.raise_if_any()
    return found
