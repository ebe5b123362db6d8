"""What disagrees or is irregular in the record, for a lead to settle: by a correction, or by saying
that it stands as it is.

Nothing here was refused and nothing is changed by being listed. Each kind is looked for in a
number of queries that does not grow with the record; only counts of structures and plots are
compared part by part (tallies.py).
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any
from uuid import UUID

from django.db.models import CharField, Count, Exists, OuterRef, Q, QuerySet, Subquery, Value
from django.db.models.functions import Cast
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from nursery.core.actor import Actor, require_read
from nursery.core.models import Event
from nursery.core.phrases import on
from nursery.core.spoken import shown
from nursery.donors.flagged import flags_of_collections
from nursery.donors.models import Collection
from nursery.lineage.living import living
from nursery.lineage.models import Ramet, Step
from nursery.lineage.queries import candidates_of_cuttings, relabelled
from nursery.lineage.replay import ACTS, SIGHTINGS
from nursery.lineage.rows import histories
from nursery.lineage.timeline import Line
from nursery.lineage.words import Life, Origin, Place, What
from nursery.outplanting import tallies
from nursery.outplanting.models import Outplanting, Settled

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
    "sightings_disagree": gettext_lazy("Dead or missing on record, and seen alive later"),
    "act_after_death": gettext_lazy(
        "Something was done to a ramet that had been seen dead or missing"
    ),
    "count_differs": gettext_lazy("A count that differs from the record"),
    "irregular_collection": gettext_lazy("An irregular collection"),
    "irregular_outplanting": gettext_lazy("An outplanting without a permit"),
    "pooled": gettext_lazy("Living ramets of pooled cuttings, whose genet is one of several"),
    "unidentified": gettext_lazy("Living ramets without a genet"),
    "label_not_among_candidates": gettext_lazy(
        "Relabelled with a genet that none of its sources has"
    ),
    "without_place": gettext_lazy("Living ramets without a place"),
    "in_lost_structure": gettext_lazy("Living ramets in a structure that was lost"),
}
"""The kinds, in the order in which they are told, each with its heading."""


def unsettled(
    actor: Actor, codes: Iterable[str] = tuple(CODES), settled: bool = False
) -> list[Unsettled]:
    """Everything of these kinds that is still to be settled, or (`settled`) that was.

    Raises NotAllowed (`no_role`).
    """
    require_read(actor)
    asked = [code for code in CODES if code in codes]
    known = _settled()
    rows = _told(_OF[code] for code in asked)
    found = [
        row for row in rows if row.code in asked and ((row.code, row.thing) in known) == settled
    ]
    return sorted(found, key=lambda row: asked.index(row.code))


def how_many(actor: Actor) -> int:
    """How many things of all kinds are still to be settled: what the database finds by itself is
    counted in one query, without being told. Raises NotAllowed (`no_role`)."""
    require_read(actor)
    plain = _plain()
    things = {(row.code, row.thing) for row in _told(_OF[code] for code in CODES.keys() - plain)}
    first, *others = (
        rows.order_by().values_list(Value(code), Cast(path, CharField()))
        for code, (rows, path) in plain.items()
    )
    for code, thing in first.union(*others):
        uid = plain[code][1].endswith("uid")
        things.add((code, str(UUID(thing)) if uid else thing))
    return len(things - _settled())


def _told(tellers: Iterable[Callable[[], Iterable[Unsettled]]]) -> Iterator[Unsettled]:
    """What they tell, each asked once: one may tell of several kinds."""
    for tell in dict.fromkeys(tellers):
        yield from tell()


def _settled() -> set[tuple[str, str]]:
    """What stands as it is, by code and thing."""
    return set(Settled.objects.values_list("code", "thing"))


def _plain() -> dict[str, tuple[QuerySet[Any], str]]:
    """The kinds that the database finds by itself: the rows, and what the thing is in them."""
    return {
        "sightings_disagree": (_seen_again(), "ramet__code"),
        "act_after_death": (_undone(), "ramet__code"),
        "irregular_outplanting": (_unpermitted(), "event__uid"),
        "without_place": (_placeless_ramets(), "born__uid"),
        "in_lost_structure": (_in_lost(), "structure__code"),
    }


def _seen_again() -> QuerySet[Any]:
    """The steps by which ramets had gone, of which the next word is a sighting that they live; its
    id is `then`."""
    lives = Step.objects.filter(live=True, life__isnull=False)
    seen = Q(what__in=SIGHTINGS)
    alive = lives.filter(seen, life=Life.LIVING)
    later = {"ramet": OuterRef("ramet"), "order__gt": OuterRef("order")}
    following = lives.filter(**later).order_by("order").values("pk")
    gone = lives.filter((seen & Q(life__in=_GONE)) | (~seen & Q(life__in=_ENDED_BY_ACT)))
    # Few were seen alive later: only for these is the next word looked up.
    return (
        gone.filter(Exists(alive.filter(**later)))
        .annotate(then=Subquery(following[:1]))
        .filter(then__in=alive.values("pk"))
    )


def _sightings() -> Iterator[Unsettled]:
    """Ramets of which a sighting says that they live after a sighting that said otherwise, or after
    an act that had ended them; that what was lost is found again is none."""
    rows = _seen_again().select_related("event", "ramet").order_by("ramet_id", "-order")
    firsts = {before.ramet_id: before for before in rows}
    after = Step.objects.select_related("event").in_bulk(row.then for row in firsts.values())
    for before in firsts.values():
        code, then = before.ramet.code, after[before.then]
        yield Unsettled(
            "sightings_disagree",
            code,
            _("%(ramet)s was %(before)s %(day)s, and %(then)s %(later)s. The later one counts.")
            % {
                "ramet": code,
                "before": _said(before),
                "day": on(before.event.when),
                "then": _said(then),
                "later": on(then.event.when),
            },
            (str(before.event.uid), str(then.event.uid)),
            (code,),
        )


_GONE = (Life.DEAD, Life.LOST)
"""What a sighting says of a ramet that is not there alive."""
_ENDED_BY_ACT = frozenset(Life) - {Life.NEVER, Life.LIVING, Life.LOST, Life.IDENTIFIED}
"""The lives of which nobody expects to see it alive again."""


def _said(step: Step) -> str:
    """What a step said of a ramet's life, `seen dead`, `ended: sampled`."""
    what = What(step.what)
    if what is What.ENDED:
        return _("ended: %(fate)s") % {"fate": shown(Life(step.life or 0))}
    return shown(what)


def _undone() -> QuerySet[Step]:
    """The sightings that ramets had gone which an act of a later day, entered before, contradicts;
    if no sighting between the two says that they lived."""
    sightings = Step.objects.filter(
        ramet=OuterRef("ramet"), live=True, what__in=SIGHTINGS, order__gt=OuterRef("order")
    )
    again = sightings.exclude(life__in=_GONE).order_by("order").values("order")
    acts = Step.objects.filter(
        ramet=OuterRef("ramet"),
        live=True,
        what__in=ACTS,
        order__gt=OuterRef("order"),
        event__lt=OuterRef("event"),
    )
    gone = Step.objects.filter(what__in=SIGHTINGS, life__in=_GONE, live=True)
    # Few were followed by an act: only for these is the next sighting looked up.
    return (
        gone.filter(Exists(acts))
        .annotate(again=Subquery(again[:1]))
        .filter(Q(again__isnull=True) | Exists(acts.filter(order__lt=OuterRef("again"))))
    )


def _acts_after_death() -> Iterator[Unsettled]:
    """Acts that stand although a sighting entered later, of an earlier day, says it was dead."""
    codes = dict(_undone().order_by().values_list("ramet_id", "ramet__code"))
    pairs: dict[int, tuple[Line, Line]] = {}
    for pk, lines in histories(codes).items():
        sighting = None
        for line in lines:
            if line.change.what in SIGHTINGS:
                gone_by = line.change.life in _GONE
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
            _(
                "%(ramet)s was %(seen)s %(day)s, but %(done)s %(later)s. What was done shows that "
                "it lived."
            )
            % {
                "ramet": codes[pk],
                "seen": shown(sighting.change.what),
                "day": on(seen.when),
                "done": shown(act.change.what),
                "later": on(done.when),
            },
            (str(seen.uid), str(done.uid)),
            (codes[pk],),
        )


def _counts() -> Iterator[Unsettled]:
    for found in tallies.of_structures():
        row = found.row
        told = {
            "structure": row.structure.code,
            "alive": row.alive,
            "when": on(row.event.when),
            "lived": found.lived,
        }
        text = _(
            "%(structure)s: %(alive)s alive were counted %(when)s; by the record %(lived)s lived "
            "there then."
        )
        if row.lot_id:
            text = _(
                "%(structure)s: %(alive)s alive of that cutting were counted %(when)s; by the "
                "record %(lived)s lived there then."
            )
        yield Unsettled(
            "count_differs",
            f"{row.event.uid} {row.pk}",
            text % told,
            (str(row.event.uid),),
        )
    for differing in tallies.of_plots():
        count = differing.row
        of = count.genet or count.taxon
        event = count.visit.event
        told = {
            "plot": count.plot.code,
            "alive": count.alive,
            "what": str(of),
            "when": on(event.when),
            "lived": differing.lived,
        }
        text = _(
            "Plot %(plot)s: %(alive)s alive were counted %(when)s; by the record only %(lived)s "
            "planted there were not known dead."
        )
        if of is not None:
            text = _(
                "Plot %(plot)s: %(alive)s alive of %(what)s were counted %(when)s; by the record "
                "only %(lived)s planted there were not known dead."
            )
        yield Unsettled(
            "count_differs",
            f"{event.uid} {count.pk}",
            text % told,
            (str(event.uid),),
        )


def _collections() -> Iterator[Unsettled]:
    rows = list(
        Collection.objects.filter(event__live=True)
        .select_related("event", "colony", "reef")
        .order_by("-event__earliest", "-event_id")
    )
    flags = flags_of_collections(rows)
    for row in rows:
        if row.pk in flags:
            if row.colony is not None:
                source = row.colony.code
            else:
                source = _("loose at %(reef)s") % {"reef": row.reef.code}
            text = _("Collection %(when)s (%(source)s): %(flags)s") % {
                "when": on(row.event.when),
                "source": source,
                "flags": " ".join(flag.message for flag in flags[row.pk]),
            }
            yield Unsettled(
                "irregular_collection",
                str(row.event.uid),
                text,
                (str(row.event.uid),),
            )


def _unpermitted() -> QuerySet[Outplanting]:
    return Outplanting.objects.filter(event__live=True, event__permit_links__isnull=True)


def _outplantings() -> Iterator[Unsettled]:
    rows = _unpermitted()
    for row in rows.select_related("event", "plot").order_by("-event__earliest", "-event_id"):
        yield Unsettled(
            "irregular_outplanting",
            str(row.event.uid),
            _("Outplanting %(when)s in %(plot)s: no permit is named for it.")
            % {"when": on(row.event.when), "plot": row.plot.code},
            (str(row.event.uid),),
        )


def _without_genet() -> Iterator[Unsettled]:
    """Living ramets without a genet, by what they were born by: those that are of one of several
    genets, and those of which nothing is known."""
    rows = list(
        living()
        .filter(genet__isnull=True)
        .values_list("born", "origin", relabelled("pk"))
        .annotate(n=Count("pk"))
        .order_by("-born", "origin")
    )
    may_be = candidates_of_cuttings(
        {born for born, origin, labelled, _ in rows if origin == Origin.CUT and not labelled}
    )
    events = Event.objects.in_bulk({born for born, *_ in rows})
    unknown: Counter[tuple[int, int]] = Counter()
    for born, origin, labelled, n in rows:
        event, found = events[born], may_be.get(born)
        if labelled or found is None or not found.codes:
            unknown[born, origin] += n
            continue
        which = ", ".join(found.codes)
        if not found.complete:
            which = _("%(genets)s, or another that is not known") % {"genets": which}
        yield Unsettled(
            "pooled",
            str(event.uid),
            _(
                "%(n)d living from the fragmentation %(when)s: their genet is one of %(genets)s. "
                "Relabel them when it is known."
            )
            % {"n": n, "when": on(event.when), "genets": which},
            (str(event.uid),),
        )
    for (born, number), n in unknown.items():
        event, origin = events[born], Origin(number)
        yield Unsettled(
            "unidentified",
            f"{event.uid} {origin.word}",
            _(
                "%(n)d living %(origin)s from the %(kind)s %(when)s have no genet; they are "
                "counted apart."
            )
            % {
                "n": n,
                "origin": shown(origin),
                "kind": event.get_kind_display(),
                "when": on(event.when),
            },
            (str(event.uid),),
        )


def _labels() -> Iterator[Unsettled]:
    """Ramets of pooled cuttings whose last label is none of the genets that they may be by these,
    where all of them are known."""
    steps = Step.objects.filter(what=What.RELABELLED, live=True, ramet__origin=Origin.CUT)
    rows = steps.select_related("event__relabelling__genet__canonical", "ramet")
    last = {step.ramet_id: step for step in rows.order_by("ramet_id", "order")}
    may_be = candidates_of_cuttings({step.ramet.fragmentation_id or 0 for step in last.values()})
    by_event: dict[int, list[Step]] = defaultdict(list)
    for step in sorted(last.values(), key=lambda step: step.pk):
        genet = step.event.relabelling.genet
        found = may_be.get(step.ramet.fragmentation_id or 0)
        if genet is None or found is None or not found.complete:
            continue
        if (genet.canonical or genet).code not in found.codes:
            by_event[step.event_id].append(step)
    for labelled in by_event.values():
        event = labelled[0].event
        codes = tuple(step.ramet.code for step in labelled)
        yield Unsettled(
            "label_not_among_candidates",
            str(event.uid),
            _(
                "%(ramets)s relabelled as %(genet)s %(when)s, which none of the ramets they were "
                "cut from is."
            )
            % {
                "ramets": _named(codes),
                "genet": event.relabelling.genet,
                "when": on(event.when),
            },
            (str(event.uid),),
            codes,
        )


def _placeless_ramets() -> QuerySet[Ramet]:
    return living().filter(place=Place.NOWHERE)


def _placeless() -> Iterator[Unsettled]:
    rows = _placeless_ramets().values("born").annotate(n=Count("pk"))
    counts = {row["born"]: row["n"] for row in rows.order_by("-born")}
    events = Event.objects.in_bulk(counts)
    for pk, n in counts.items():
        event = events[pk]
        yield Unsettled(
            "without_place",
            str(event.uid),
            _("%(n)d living from the %(kind)s %(when)s have no place.")
            % {"n": n, "kind": event.get_kind_display(), "when": on(event.when)},
            (str(event.uid),),
        )


def _in_lost() -> QuerySet[Ramet]:
    return living().filter(structure__lost=True)


def _in_lost_structures() -> Iterator[Unsettled]:
    """Ramets that were entered late into what is lost: nobody said what became of them."""
    rows = _in_lost().values("structure__code").annotate(n=Count("pk"))
    for row in rows.order_by("structure__code"):
        code = row["structure__code"]
        yield Unsettled(
            "in_lost_structure",
            code,
            _("%(n)d living are in %(structure)s, which was lost. End them, or say where they are.")
            % {"n": row["n"], "structure": code},
        )


def _named(codes: Sequence[str]) -> str:
    more = len(codes) - MOST_NAMED
    first = ", ".join(codes[:MOST_NAMED])
    return _("%(codes)s and %(n)d more") % {"codes": first, "n": more} if more > 0 else first


_OF: dict[str, Callable[[], Iterable[Unsettled]]] = {
    "sightings_disagree": _sightings,
    "act_after_death": _acts_after_death,
    "count_differs": _counts,
    "irregular_collection": _collections,
    "irregular_outplanting": _outplantings,
    "pooled": _without_genet,
    "unidentified": _without_genet,
    "label_not_among_candidates": _labels,
    "without_place": _placeless,
    "in_lost_structure": _in_lost_structures,
}
