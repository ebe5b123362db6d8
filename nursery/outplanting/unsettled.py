"""What disagrees or is irregular in the record, for a lead to settle: by a correction, or by saying
that it stands as it is.

Nothing here was refused and nothing is changed by being listed. Each kind is looked for in a
number of queries that does not grow with the record; only a count of a structure or plot is
compared by a query of its own.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

from django.db.models import Count, Exists, OuterRef, Q

from nursery.core.actor import Actor, require_read
from nursery.core.dates import dated
from nursery.core.models import Event
from nursery.donors.flagged import flags_of_collections
from nursery.donors.models import Collection
from nursery.lineage.living import living
from nursery.lineage.models import Ramet, Source, Step, StructureCount
from nursery.lineage.occupancy import ramets_ever_in
from nursery.lineage.replay import ACTS, SIGHTINGS
from nursery.lineage.rows import histories, key_of
from nursery.lineage.timeline import Clash, Key, Line, states
from nursery.lineage.words import Life, Origin, Place, What
from nursery.outplanting.models import Outplanting, PlotCount, Settled

MOST_NAMED = 5
"""The most ramets that one line names."""


@dataclass(frozen=True, slots=True)
class Unsettled:
    """One thing to settle: a stable code, what it is about (an entry's uid or a ramet's code), the
    sentence, and the entries that say different things, by their uids."""

    code: str
    thing: str
    message: str
    events: tuple[str, ...] = ()
    ramets: tuple[str, ...] = ()


CODES = {
    "sightings_disagree": "Seen dead or missing, and alive later",
    "act_after_death": "Something was done to a ramet that had been seen dead or missing",
    "count_differs": "A count that differs from the record",
    "irregular_collection": "A collection whose permits do not cover it",
    "irregular_outplanting": "An outplanting without a permit",
    "pooled": "Living ramets of pooled cuttings, whose genet is one of several",
    "unidentified": "Living ramets without a genet",
    "label_not_among_candidates": "Relabelled with a genet that none of its sources has",
    "without_place": "Living ramets without a place",
    "in_lost_structure": "Living ramets in a structure that was lost",
}
"""The kinds, in the order in which they are told, each with its heading."""


def unsettled(
    actor: Actor, codes: Iterable[str] = tuple(CODES), settled: bool = False
) -> list[Unsettled]:
    """Everything of these kinds that is still to be settled, or (`settled`) that was.

    Raises NotAllowed (`no_role`).
    """
    require_read(actor)
    known = set(Settled.objects.values_list("code", "thing"))
    found = []
    for code in CODES:
        if code in codes:
            found += [row for row in _OF[code]() if ((row.code, row.thing) in known) == settled]
    return found


def _sightings() -> Iterator[Unsettled]:
    """Ramets of which a sighting says that they live after one that said otherwise."""
    seen = Step.objects.filter(what__in=SIGHTINGS, live=True)
    gone = seen.filter(life__in=[Life.DEAD, Life.LOST]).values("ramet")
    rows = (
        seen.filter(ramet__in=gone).select_related("event", "ramet").order_by("ramet_id", "order")
    )
    by_ramet: dict[int, list[Step]] = defaultdict(list)
    for step in rows:
        by_ramet[step.ramet_id].append(step)
    for steps in by_ramet.values():
        for before, after in pairwise(steps):
            if before.life != Life.LIVING and after.life == Life.LIVING:
                ramet = after.ramet
                yield Unsettled(
                    "sightings_disagree",
                    ramet.code,
                    f"{ramet.code} was {What(before.what).label} {dated(before.event.when)}, and "
                    f"{What(after.what).label} {dated(after.event.when)}. The later one counts.",
                    (str(before.event.uid), str(after.event.uid)),
                    (ramet.code,),
                )
                break


def _acts_after_death() -> Iterator[Unsettled]:
    """Acts that stand although a sighting entered later, of an earlier day, says it was dead."""
    gone = Step.objects.filter(
        ramet=OuterRef("ramet"),
        live=True,
        what__in=SIGHTINGS,
        life__in=[Life.DEAD, Life.LOST],
        order__lt=OuterRef("order"),
        event__gt=OuterRef("event"),
    )
    acts = Step.objects.filter(Exists(gone), what__in=ACTS, live=True)
    ids = set(acts.values_list("ramet_id", flat=True))
    codes = dict(Ramet.objects.filter(pk__in=ids).values_list("pk", "code"))
    pairs: dict[int, tuple[Line, Line]] = {}
    for pk, lines in histories(ids).items():
        sighting = None
        for line in lines:
            if line.change.what in SIGHTINGS:
                gone_by = line.change.life in (Life.DEAD, Life.LOST)
                sighting = line if gone_by else None
            elif line.change.what in ACTS and sighting is not None:
                pairs[pk] = sighting, line
                break
    events = Event.objects.in_bulk({line.key[1] for pair in pairs.values() for line in pair})
    for pk, (sighting, act) in pairs.items():
        seen, done = events[sighting.key[1]], events[act.key[1]]
        yield Unsettled(
            "act_after_death",
            codes[pk],
            f"{codes[pk]} was {sighting.change.what.label} {dated(seen.when)}, but "
            f"{act.change.what.label} {dated(done.when)}. What was done shows that it lived.",
            (str(seen.uid), str(done.uid)),
            (codes[pk],),
        )


def _counts() -> Iterator[Unsettled]:
    rows = StructureCount.objects.filter(event__live=True, alive__isnull=False)
    for row in rows.select_related("event", "structure", "lot"):
        here = _living_then(row)
        if here != row.alive:
            lot = " of that cutting" if row.lot_id else ""
            yield Unsettled(
                "count_differs",
                f"{row.event.uid} {row.structure.code}"[:60],
                f"{row.structure.code}: {row.alive} alive{lot} were counted {dated(row.event.when)}"
                f"; by the record {here} lived there then.",
                (str(row.event.uid),),
            )
    plots = PlotCount.objects.filter(visit__event__live=True)
    for count in plots.select_related("visit__event", "plot", "genet", "taxon"):
        then = _alive_in_plot(count)
        if then < count.alive:
            of = count.genet or count.taxon
            what = f" of {of}" if of is not None else ""
            yield Unsettled(
                "count_differs",
                f"{count.visit.event.uid} {count.plot.code}"[:60],
                f"Plot {count.plot.code}: {count.alive} alive{what} were counted "
                f"{dated(count.visit.event.when)}; by the record only {then} planted there were "
                "not known dead.",
                (str(count.visit.event.uid),),
            )


def _living_then(row: StructureCount) -> int:
    """How many lived in the structure once the count had been taken down."""
    ids = ramets_ever_in([row.structure_id])
    if row.lot_id:
        ids &= set(Ramet.objects.filter(fragmentation=row.lot_id).values_list("pk", flat=True))
    return _number_at(ids, key_of(row.event), structure=row.structure_id)


def _alive_in_plot(count: PlotCount) -> int:
    steps = Step.objects.filter(plot=count.plot, what=What.PLANTED, live=True)
    if count.genet is not None:
        one = count.genet.canonical_id or count.genet_id
        steps = steps.filter(Q(ramet__genet=one) | Q(ramet__genet__canonical=one))
    if count.taxon is not None:
        steps = steps.filter(ramet__taxon=count.taxon)
    ids = set(steps.values_list("ramet_id", flat=True))
    return _number_at(ids, key_of(count.visit.event), plot=count.plot_id)


def _number_at(
    ids: Iterable[int], at: Key, structure: int | None = None, plot: int | None = None
) -> int:
    """How many of the ramets lived in a structure or plot right after a moment."""
    found = 0
    for lines in histories(ids).values():
        until = [line for line in lines if line.key <= at]
        try:
            after = states(until)
        except Clash:
            continue
        if after and after[-1].life is Life.LIVING:
            last = after[-1]
            found += (structure is not None and last.structure == structure) or (
                plot is not None and last.plot == plot
            )
    return found


def _collections() -> Iterator[Unsettled]:
    rows = list(
        Collection.objects.filter(event__live=True)
        .select_related("event", "colony", "reef")
        .order_by("-event__earliest", "-event_id")
    )
    flags = flags_of_collections(rows)
    for row in rows:
        if row.pk in flags:
            source = row.colony.code if row.colony is not None else f"loose at {row.reef.code}"
            yield Unsettled(
                "irregular_collection",
                str(row.event.uid),
                f"Collection {dated(row.event.when)} ({source}): "
                + " ".join(flag.message for flag in flags[row.pk]),
                (str(row.event.uid),),
            )


def _outplantings() -> Iterator[Unsettled]:
    rows = Outplanting.objects.filter(event__live=True, event__permit_links__isnull=True)
    for row in rows.select_related("event", "plot").order_by("-event__earliest", "-event_id"):
        yield Unsettled(
            "irregular_outplanting",
            str(row.event.uid),
            f"Outplanting {dated(row.event.when)} in {row.plot.code}: no permit is named for it.",
            (str(row.event.uid),),
        )


def _pooled() -> Iterator[Unsettled]:
    rows = (
        living()
        .filter(genet__isnull=True, origin=Origin.CUT)
        .values("fragmentation")
        .annotate(n=Count("pk"))
        .order_by("-fragmentation")
    )
    counts = {row["fragmentation"]: row["n"] for row in rows}
    events = Event.objects.in_bulk(counts)
    genets: dict[int, set[str]] = defaultdict(set)
    sources = Source.objects.filter(fragmentation__in=counts, ramet__genet__isnull=False)
    for cutting, own, canonical in sources.values_list(
        "fragmentation_id", "ramet__genet__code", "ramet__genet__canonical__code"
    ):
        genets[cutting].add(canonical or own)
    for pk, n in counts.items():
        event = events[pk]
        which = ", ".join(sorted(genets[pk])) or "none that is known"
        yield Unsettled(
            "pooled",
            str(event.uid),
            f"{n} living from the fragmentation {dated(event.when)}: their genet is one of {which}."
            " Relabel them when it is known.",
            (str(event.uid),),
        )


def _unidentified() -> Iterator[Unsettled]:
    rows = (
        living()
        .filter(genet__isnull=True)
        .exclude(origin=Origin.CUT)
        .values("born", "origin")
        .annotate(n=Count("pk"))
        .order_by("-born")
    )
    found = list(rows)
    events = Event.objects.in_bulk({row["born"] for row in found})
    for row in found:
        event, origin = events[row["born"]], Origin(row["origin"])
        yield Unsettled(
            "unidentified",
            f"{event.uid} {origin.word}",
            f"{row['n']} living {origin.label} from the {event.get_kind_display()} "
            f"{dated(event.when)} have no genet; they are counted apart.",
            (str(event.uid),),
        )


def _labels() -> Iterator[Unsettled]:
    """Relabelled ramets cut from ramets of other genets only, all of them known."""
    steps = Step.objects.filter(what=What.RELABELLED, live=True, ramet__origin=Origin.CUT)
    rows = steps.filter(event__relabelling__genet__isnull=False).select_related(
        "event__relabelling__genet__canonical", "ramet"
    )
    sources: dict[int, set[int | None]] = defaultdict(set)
    cut = Source.objects.filter(fragmentation__in=rows.values("ramet__fragmentation"))
    for cutting, own, canonical in cut.values_list(
        "fragmentation_id", "ramet__genet_id", "ramet__genet__canonical_id"
    ):
        sources[cutting].add(canonical or own)
    by_event: dict[int, list[Step]] = defaultdict(list)
    for step in rows.order_by("pk"):
        genet = step.event.relabelling.genet
        known = sources[step.ramet.fragmentation_id or 0]
        pooled = len(known) > 1 and None not in known
        if genet is not None and pooled and (genet.canonical_id or genet.pk) not in known:
            by_event[step.event_id].append(step)
    for found in by_event.values():
        event = found[0].event
        codes = tuple(step.ramet.code for step in found)
        yield Unsettled(
            "label_not_among_candidates",
            str(event.uid),
            f"{_named(codes)} relabelled as {event.relabelling.genet} {dated(event.when)}, which "
            "none of the ramets they were cut from is.",
            (str(event.uid),),
            codes,
        )


def _placeless() -> Iterator[Unsettled]:
    rows = living().filter(place=Place.NOWHERE).values("born").annotate(n=Count("pk"))
    counts = {row["born"]: row["n"] for row in rows.order_by("-born")}
    events = Event.objects.in_bulk(counts)
    for pk, n in counts.items():
        event = events[pk]
        yield Unsettled(
            "without_place",
            str(event.uid),
            f"{n} living from the {event.get_kind_display()} {dated(event.when)} have no place.",
            (str(event.uid),),
        )


def _in_lost_structures() -> Iterator[Unsettled]:
    """Ramets that were entered late into what is lost: nobody said what became of them."""
    rows = living().filter(structure__lost=True).values("structure__code").annotate(n=Count("pk"))
    for row in rows.order_by("structure__code"):
        code = row["structure__code"]
        yield Unsettled(
            "in_lost_structure",
            code,
            f"{row['n']} living are in {code}, which was lost. End them, or say where they are.",
        )


def _named(codes: Sequence[str]) -> str:
    more = len(codes) - MOST_NAMED
    shown = ", ".join(codes[:MOST_NAMED])
    return f"{shown} and {more} more" if more > 0 else shown


_OF = {
    "sightings_disagree": _sightings,
    "act_after_death": _acts_after_death,
    "count_differs": _counts,
    "irregular_collection": _collections,
    "irregular_outplanting": _outplantings,
    "pooled": _pooled,
    "unidentified": _unidentified,
    "label_not_among_candidates": _labels,
    "without_place": _placeless,
    "in_lost_structure": _in_lost_structures,
}
