"""What disagrees or is irregular in the record, for a lead to settle: by a correction, or by saying
that it stands as it is.

Nothing here was refused and nothing is changed by being listed. Each kind is looked for in a
number of queries that does not grow with the record; only counts of structures and plots are
compared part by part (tallies.py).
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Callable, Iterable, Iterator, Sequence
from typing import Any
from uuid import UUID

from django.db.models import CharField, Count, QuerySet, Value
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
from nursery.lineage.words import Origin, Place, What
from nursery.outplanting import disagreeing
from nursery.outplanting.disagreeing import Unsettled
from nursery.outplanting.models import Outplanting, Settled

MOST_NAMED = 5
"""The most ramets that one line names."""


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
        "sightings_disagree": (disagreeing.seen_again(), "ramet__code"),
        "act_after_death": (disagreeing.undone(), "ramet__code"),
        "irregular_outplanting": (_unpermitted(), "event__uid"),
        "without_place": (_placeless_ramets(), "born__uid"),
        "in_lost_structure": (_in_lost(), "structure__code"),
    }


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
    "sightings_disagree": disagreeing.sightings,
    "act_after_death": disagreeing.acts_after_death,
    "count_differs": disagreeing.counts,
    "irregular_collection": _collections,
    "irregular_outplanting": _outplantings,
    "pooled": _without_genet,
    "unidentified": _without_genet,
    "label_not_among_candidates": _labels,
    "without_place": _placeless,
    "in_lost_structure": _in_lost_structures,
}
