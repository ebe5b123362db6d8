"""What can be asked about samples and their genotypes."""

from __future__ import annotations

import uuid
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from django.db.models import Q
from django.db.models.functions import Coalesce

from nursery.core.errors import Problem, Refused
from nursery.donors.models import Genet
from nursery.genotyping.calls import Calls, together
from nursery.genotyping.confirming import confirmations, standing
from nursery.genotyping.models import (
    Decision,
    GenotypeTable,
    GroupMember,
    MatchGroup,
    Panel,
    Proposal,
    Sample,
    TableRow,
    Verdict,
)


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
    """The calls of these tables of one panel, in the order of their import, without the samples
    whose sampling was voided. One query."""
    tables = list(tables)
    rows: dict[int, list[Sample]] = {table.pk: [] for table in tables}
    found = TableRow.objects.filter(table__in=tables).order_by("table", "number")
    related = (
        "sample__event",
        "sample__ramet__genet__canonical",
        "sample__colony__genet__canonical",
    )
    for row in found.select_related(*related):
        rows[row.table_id].append(row.sample)
    samples = [sample for table in tables for sample in rows[table.pk]]
    parts = [table.genotypes(tuple(s.code for s in rows[table.pk])) for table in tables]
    calls = together(parts)
    last = {sample.pk: number for number, sample in enumerate(samples) if sample.event.live}
    kept = sorted(last.values())
    if len(kept) == len(samples):
        return Typed(calls, tuple(samples))
    return Typed(calls.of(kept), tuple(samples[number] for number in kept))


def last_proposal(
    panel: Panel | None = None, table: GenotypeTable | None = None
) -> Proposal | None:
    """The last proposal by a table, or by all of a panel."""
    rows = Proposal.objects.filter(table=table)
    return (rows if panel is None else rows.filter(panel=panel)).order_by("-pk").first()


@dataclass(frozen=True, slots=True)
class Link:
    """Two samples by their codes, at how many loci they differ, and how many both have."""

    first: str
    second: str
    mismatches: int
    shared: int


@dataclass(frozen=True, slots=True)
class Chain:
    """By which matches a group hangs together (`links`), which pairs in it do not match though
    others join them (`apart`), and which share too few loci to be compared (`untold`): the first of
    these, and how many there are."""

    links: tuple[Link, ...]
    apart: tuple[Link, ...]
    apart_count: int
    untold: tuple[Link, ...]
    untold_count: int


@dataclass(frozen=True, slots=True)
class Standing:
    """A group of a proposal: its members, what they are labelled as, how they match, and what was
    decided about it. Genets are by the codes that they are known as."""

    number: int
    members: tuple[Member, ...]
    genets: tuple[str, ...]
    chain: Chain
    verdict: str | None
    stands: bool
    """Whether what it was accepted for is still so: none of its entries was voided."""
    genet: str | None
    reason: str
    events: tuple[uuid.UUID, ...]

    @property
    def unlabelled(self) -> tuple[Member, ...]:
        """Those of which the genet is not known."""
        return tuple(member for member in self.members if member.genet is None)

    @property
    def agrees(self) -> bool:
        """Whether all its members bear one label already."""
        return len(self.genets) == 1 and not self.unlabelled


@dataclass(frozen=True, slots=True)
class Member:
    """A sample in a group, what it was taken from, and the genet that this is labelled as."""

    sample: str
    source: str
    of_colony: bool
    genet: str | None


def groups_of(rows: Iterable[MatchGroup]) -> tuple[Standing, ...]:
    """Groups with all that is known of them. Five queries for all."""
    groups = list(rows)
    members: dict[int, list[Member]] = defaultdict(list)
    found = GroupMember.objects.filter(group__in=groups).select_related(
        "sample__ramet__genet__canonical", "sample__colony__genet__canonical"
    )
    for row in found.order_by("pk"):
        genet = individual_of(row.sample)
        members[row.group_id].append(
            Member(
                row.sample.code,
                row.sample.source.code,
                row.sample.colony is not None,
                genet.code if genet is not None else None,
            )
        )
    made = Decision.objects.filter(group__in=groups).select_related("genet").order_by("pk")
    last = {row.group_id: row for row in made.prefetch_related("events")}
    good = set(standing().filter(group__in=groups).values_list("pk", flat=True))
    return tuple(_standing(group, members[group.pk], last.get(group.pk), good) for group in groups)


@dataclass(frozen=True, slots=True)
class Elsewhere:
    """A genet of a group that samples of another group bear as well, by that one's number."""

    genet: str
    group: int


def elsewhere(proposal: Proposal, group: Standing) -> tuple[Elsewhere, ...]:
    """Where else the labels of a group are: one individual is in one group, so some label is wrong,
    or the threshold is. One query."""
    label = Coalesce(
        "sample__ramet__genet__canonical__code",
        "sample__ramet__genet__code",
        "sample__colony__genet__canonical__code",
        "sample__colony__genet__code",
    )
    rows = (
        GroupMember.objects.filter(group__proposal=proposal)
        .exclude(group__number=group.number)
        .annotate(label=label)
        .filter(label__in=group.genets)
        .order_by("label", "group__number")
    )
    return tuple(Elsewhere(*row) for row in rows.values_list("label", "group__number").distinct())


def _standing(
    group: MatchGroup, members: list[Member], decision: Decision | None, good: set[int]
) -> Standing:
    return Standing(
        number=group.number,
        members=tuple(members),
        genets=tuple(sorted({member.genet for member in members if member.genet is not None})),
        chain=Chain(
            links=_links(group.chain["links"]),
            apart=_links(group.chain["apart"]),
            apart_count=group.chain["apart_count"],
            untold=_links(group.chain["untold"]),
            untold_count=group.chain["untold_count"],
        ),
        verdict=Verdict(decision.verdict).word if decision is not None else None,
        stands=decision is not None and decision.pk in good,
        genet=decision.genet.code if decision is not None and decision.genet is not None else None,
        reason=decision.reason if decision is not None else "",
        events=tuple(event.uid for event in decision.events.all()) if decision is not None else (),
    )


def _links(rows: Iterable[tuple[str, str, int, int]]) -> tuple[Link, ...]:
    return tuple(Link(*row) for row in rows)


def individual_of(sample: Sample) -> Genet | None:
    """The genet of what a sample was taken from, or the one that it turned out to be."""
    genet = sample.source.genet
    if genet is None or genet.canonical is None:
        return genet
    return genet.canonical


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
    rows = (
        confirmations()
        .filter(Q(genet=genet) | Q(genet__canonical=genet))
        .select_related("sample__ramet", "sample__colony", "decision__group__proposal__panel")
    )
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
