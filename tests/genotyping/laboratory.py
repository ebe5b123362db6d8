"""Samples, panels and tables as tests enter them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import count
from typing import Any

from nursery.core import registers
from nursery.core.actor import Actor
from nursery.core.inputs import read
from nursery.core.models import Event
from nursery.donors.models import DonorColony, Genet
from nursery.genotyping import actions
from nursery.genotyping.inputs import AcceptedIn, MatchingIn, RejectedIn, SamplingIn, TableIn
from nursery.genotyping.models import Decision, GenotypeTable, MatchGroup, Panel, Proposal, Sample
from nursery.lineage.models import Ramet

SAMPLED = "2021-10-10"
"""A day after everything that the factories make."""
DECIDED = "2021-11-11"
LOCI = ("Inv1", "Inv2", "Inv3", "Inv4")

_numbers = count(1)


def sampling(by: Actor, /, *sources: Ramet | DonorColony, **values: Any) -> Event:
    """A sample of each of these, or as the rows in `values` say."""
    rows = [
        {"ramet": one.code} if isinstance(one, Ramet) else {"colony": one.code} for one in sources
    ]
    given = {"when": SAMPLED, "samples": rows, **values}
    return actions.take_samples(by, read(SamplingIn, given)).event


def samples(by: Actor, /, *sources: Ramet | DonorColony, **values: Any) -> list[Sample]:
    event = sampling(by, *sources, **values)
    return list(Sample.objects.filter(event=event).order_by("pk"))


def panel(by: Actor, **values: Any) -> Panel:
    given = {"code": f"PANEL{next(_numbers)}", "marker": "microsatellite", "loci": list(LOCI)}
    return registers.create(by, Panel, {**given, **values})


def text_of(calls: Mapping[Sample, Sequence[str]], loci: Sequence[str] = LOCI) -> str:
    """A table as text: the call of each sample at each locus."""
    lines = [",".join(["sample", *loci])]
    lines += [",".join([sample.code, *row]) for sample, row in calls.items()]
    return "\n".join(lines)


def table(
    by: Actor, of: Panel, calls: Mapping[Sample, Sequence[str]], **values: Any
) -> GenotypeTable:
    given = {"panel": of.code, "text": text_of(calls), **values}
    return actions.import_table(by, read(TableIn, given)).table


def proposal(
    by: Actor, of: GenotypeTable | Panel, threshold: int = 0, minimum: int = 3
) -> Proposal:
    named = {"panel": of.code} if isinstance(of, Panel) else {"table": str(of.uid)}
    given = {**named, "threshold": threshold, "minimum": minimum}
    return actions.propose(by, read(MatchingIn, given)).proposal


def accepted_in(group: MatchGroup, genet: Genet, /, **values: Any) -> AcceptedIn:
    given = {
        "proposal": str(group.proposal.uid),
        "group": group.number,
        "genet": genet.code,
        "when": DECIDED,
        "reason": "one genotype",
        **values,
    }
    return read(AcceptedIn, given)


def accept(by: Actor, group: MatchGroup, genet: Genet, /, **values: Any) -> Decision:
    return actions.accept(by, accepted_in(group, genet, **values)).decision


def reject(by: Actor, group: MatchGroup, /, **values: Any) -> Decision:
    given = {
        "proposal": str(group.proposal.uid),
        "group": group.number,
        "reason": "scored badly",
        **values,
    }
    return actions.reject(by, read(RejectedIn, given)).decision


ONE = ("1/2", "3/4", "5/6", "7/8")
"""The calls of one individual."""
OTHER = ("1/1", "3/3", "5/5", "7/7")
"""And of another."""
