"""Entries of which one says what another contradicts: sightings, acts and counts; a part of what is
to be settled (unsettled.py)."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from django.db.models import Exists, OuterRef, Q, QuerySet, Subquery
from django.utils.translation import gettext as _

from nursery.core.models import Event
from nursery.core.phrases import on
from nursery.core.spoken import shown
from nursery.lineage.models import Step
from nursery.lineage.replay import ACTS, SIGHTINGS
from nursery.lineage.rows import histories
from nursery.lineage.timeline import Line
from nursery.lineage.words import Life, What
from nursery.outplanting import tallies


@dataclass(frozen=True, slots=True)
class Unsettled:
    """One thing to settle: a stable code, what it is about (an entry's uid or a ramet's code), the
    sentence, and the entries that say different things, by their uids."""

    code: str
    thing: str
    message: str
    events: tuple[str, ...] = ()
    ramets: tuple[str, ...] = ()


def seen_again() -> QuerySet[Any]:
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


def sightings() -> Iterator[Unsettled]:
    """Ramets of which a sighting says that they live after a sighting that said otherwise, or after
    an act that had ended them; that what was lost is found again is none."""
    rows = seen_again().select_related("event", "ramet").order_by("ramet_id", "-order")
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


def undone() -> QuerySet[Step]:
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


def acts_after_death() -> Iterator[Unsettled]:
    """Acts that stand although a sighting entered later, of an earlier day, says it was dead."""
    codes = dict(undone().order_by().values_list("ramet_id", "ramet__code"))
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


def counts() -> Iterator[Unsettled]:
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
