"""A descent by its cuttings: how many each made, what became of them, what they were cut from."""

from __future__ import annotations

from collections import defaultdict

from django.db.models import Count, QuerySet

from nursery.core.models import Event
from nursery.lineage.branches import Cutting, Tally
from nursery.lineage.models import Ramet, Source, Step
from nursery.lineage.words import Life, Origin, What


def cuttings(ramets: QuerySet[Ramet]) -> list[Cutting]:
    """The entries by which these ramets were born, by date; each goes by its uid. Four queries,
    however many they are."""
    asked = ramets.order_by()
    rows = asked.values_list("born_id", "origin", "generation", "life").annotate(n=Count("*"))
    tallies: dict[int, Tally] = defaultdict(Tally)
    origins: dict[int, Origin] = {}
    generations: dict[int, int | None] = {}
    for born, origin, generation, life, n in rows:
        tallies[born] += _tally(Life(life), n)
        origins[born] = Origin(origin)
        generations[born] = generation
    planted = dict(
        Step.objects.filter(what=What.PLANTED, live=True, ramet__in=asked.values("pk"))
        .order_by()
        .values_list("ramet__born_id")
        .annotate(n=Count("ramet", distinct=True))
    )
    events = list(Event.objects.filter(pk__in=asked.values("born")).order_by("moment", "pk"))
    uids = {event.pk: str(event.uid) for event in events}
    sources: dict[int, dict[str, int]] = defaultdict(dict)
    outside: dict[int, int] = defaultdict(int)
    edges = (
        Source.objects.filter(fragmentation__in=asked.values("fragmentation"))
        .order_by()
        .values_list("fragmentation_id", "ramet__born_id")
        .annotate(n=Count("*"))
    )
    for cut, born, n in edges:
        if born in uids:
            sources[cut][uids[born]] = n
        else:
            outside[cut] += n
    return [
        Cutting(
            key=uids[event.pk],
            word=origins[event.pk].word,
            first=event.earliest,
            last=event.latest,
            generation=generations[event.pk],
            tally=tallies[event.pk] + Tally(planted=planted.get(event.pk, 0)),
            sources=sources[event.pk],
            outside=outside[event.pk],
            gap=origins[event.pk] not in (Origin.COLLECTED, Origin.CUT),
        )
        for event in events
    ]


def _tally(life: Life, n: int) -> Tally:
    if life is Life.LIVING:
        return Tally(living=n)
    return Tally(dead=n) if life is Life.DEAD else Tally(other=n)
