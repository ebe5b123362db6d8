"""Sampling: pieces of tissue are taken for the laboratory, from ramets and donor colonies."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence

from django.db import IntegrityError, transaction

from nursery.core import bulk
from nursery.core.actor import Actor, Role, require
from nursery.core.errors import Problem, ProblemList, Refused
from nursery.core.models import EventKind
from nursery.core.recording import Recorded, begin
from nursery.donors.models import DonorColony
from nursery.donors.permits import attach
from nursery.genotyping.inputs import SampledIn, SamplingIn
from nursery.genotyping.models import Sample
from nursery.lineage.actions.collect import refuse_when
from nursery.lineage.ledger import Entry, lock, record
from nursery.lineage.models import Ramet
from nursery.lineage.permission import require_stock
from nursery.lineage.replay import Change
from nursery.lineage.resolve import all_of
from nursery.lineage.words import Life, What

ACT = "take samples"


@transaction.atomic
def take_samples(actor: Actor, given: SamplingIn) -> Recorded:
    """Record up to 1,000 samples. A ramet lives on unless its row says that all of it was taken.

    Field staff take samples of colonies and on the reef, nursery staff in their nurseries. Raises
    NotAllowed; Refused (`unknown_ramet`, `unknown_donorcolony`, `colony_closed`,
    `before_colony_found`, `named_twice`, `not_living`, `before_…`, `code_taken`).
    """
    require(actor, Role.FIELD, Role.NURSERY, act=ACT)
    recorded = begin(actor, EventKind.SAMPLING, given)
    if not recorded.fresh:
        return recorded
    event = recorded.event
    attach(event, given.permits)
    colonies = _colonies(actor, given)
    numbers = [number for number, row in enumerate(given.samples) if row.ramet is not None]
    ids = all_of(
        [(given.samples[n].ramet or "", ("samples", n, "ramet")) for n in numbers],
        on=given.when.latest,
    )
    locked = lock(ids)
    ramets = {number: locked[pk] for number, pk in zip(numbers, ids, strict=True)}
    require_stock(actor, ramets.values(), [], act=ACT)
    if ramets:
        record(
            event,
            [
                Entry(ramet, _change(given.samples[number]), ("samples", number, "ramet"))
                for number, ramet in ramets.items()
            ],
        )
    codes = _codes(given.samples, ramets, colonies)
    try:
        with transaction.atomic():
            bulk.insert(
                Sample,
                [
                    Sample(
                        code=codes[number],
                        label=row.label,
                        laboratory=given.laboratory,
                        event=event,
                        ramet=ramets.get(number),
                        colony=colonies.get(number),
                    )
                    for number, row in enumerate(given.samples)
                ],
            )
    except IntegrityError as error:
        raise Refused(
            Problem(
                "code_taken",
                "Another sampling has just taken one of these codes. Enter this one again.",
                ("samples",),
            )
        ) from error
    return recorded


def _change(row: SampledIn) -> Change:
    if row.ended:
        return Change(What.ENDED, life=Life.SAMPLED)
    return Change(What.SAMPLED)


def _colonies(actor: Actor, given: SamplingIn) -> dict[int, DonorColony]:
    """The colonies by the numbers of their rows."""
    named = {number: row.colony for number, row in enumerate(given.samples) if row.colony}
    if not named:
        return {}
    require(actor, Role.FIELD, act="take samples of donor colonies")
    known = {row.code: row for row in DonorColony.objects.filter(code__in=named.values())}
    problems = ProblemList()
    seen: set[str] = set()
    for number, code in named.items():
        path = ("samples", number, "colony")
        if code not in known:
            problems.add("unknown_donorcolony", f"There is no donor colony {code}.", *path)
            continue
        if code in seen:
            problems.add("named_twice", f"{code} is named twice in this entry.", *path)
            continue
        seen.add(code)
        try:
            refuse_when(known[code], given.when)
        except Refused as refusal:
            problems.items += [Problem(one.code, one.message, path) for one in refusal.problems]
    problems.raise_if_any()
    return {number: known[code] for number, code in named.items()}


def _codes(
    rows: Sequence[SampledIn], ramets: Mapping[int, Ramet], colonies: Mapping[int, DonorColony]
) -> list[str]:
    """The code of each sample: its own, or that of its source with the number of the sample there.

    Raises Refused (`named_twice`, `code_taken`).
    """
    sources = {number: row.code for number, row in ramets.items()}
    sources |= {number: row.code for number, row in colonies.items()}
    taken = _taken(
        [row.code for row in rows if row.code],
        [sources[number] for number, row in enumerate(rows) if row.code is None],
    )
    counts = Counter(code.rpartition(".")[0] for code in taken)
    problems = ProblemList()
    codes: list[str] = []
    used = set(taken)
    for number, row in enumerate(rows):
        code = row.code
        if code is None:
            source = sources[number][:36]
            following = counts[source] + 1
            while f"{source}.{following}" in used:
                following += 1
            code = f"{source}.{following}"
        elif code in taken:
            message = f"{code} is already another sample's code."
            problems.add("code_taken", message, "samples", number, "code")
        elif code in used:
            problems.add("named_twice", f"{code} is given twice.", "samples", number, "code")
        used.add(code)
        codes.append(code)
    problems.raise_if_any()
    return codes


def _taken(named: Sequence[str], sources: Iterable[str]) -> set[str]:
    """The codes of samples that are on record: of these, and all that were ever made of these
    sources'."""
    found = set(Sample.objects.filter(code__in=named).values_list("code", flat=True))
    asked = set(sources)
    if asked:
        rows = Sample.objects.filter(ramet__code__in=asked).values_list("code", flat=True)
        also = Sample.objects.filter(colony__code__in=asked).values_list("code", flat=True)
        found |= {*rows, *also}
    return found
