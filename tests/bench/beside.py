"""The same questions asked in other ways: by attributes of the ORM, by networkx on the same
records, and by a tree of materialised paths (django-treebeard), which knows one mother each."""

from __future__ import annotations

import itertools
import time
from collections.abc import Iterator
from typing import Any

from django.db import connection, models, transaction
from treebeard.mp_tree import MP_Node

from nursery.core.actor import Actor
from nursery.lineage.models import Ramet, Source
from nursery.lineage.queries import of_ramet
from nursery.outplanting.queries import trace
from tests.bench.family import Family
from tests.bench.measure import Fact, Ratio, compare
from tests.bench.programme import Programme
from tests.bench.reading import WALK
from tests.bench.tables import Table

_DIGITS = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ"


class Twig(MP_Node):
    """A ramet in a tree in which each has one mother: the first of its cutting."""

    ramet = models.BigIntegerField(db_index=True)

    class Meta:
        app_label = "bench"

    def __str__(self) -> str:
        return self.path


def others(made: Programme, actor: Actor, family: Family, built: float) -> Iterator[Ratio | Fact]:
    """Traces and recalls, ours and theirs."""
    codes = made.deepest
    pks = list(Ramet.objects.filter(code__in=codes).values_list("pk", flat=True))
    middle = made.middle
    yield compare(
        f"trace, depth {made.depth} : the same by attributes of the ORM",
        lambda turn: trace(actor, codes[turn % len(codes)]),
        lambda turn: _by_attributes(codes[turn % len(codes)]),
        rounds=10,
    )
    yield Fact("networkx: reading the records into a graph", f"{built:.1f} s")
    yield compare(
        "ids of all ancestors of the deepest : networkx, its graph built",
        lambda turn: _ancestors(pks[turn % len(pks)]),
        lambda turn: family.before(pks[turn % len(pks)]),
        rounds=50,
    )
    yield compare(
        "ids of all descendants, mid-tree : networkx, its graph built",
        lambda turn: list(of_ramet(Ramet(pk=middle[turn % len(middle)])).values_list("pk")),
        lambda turn: family.of_ramet(middle[turn % len(middle)]),
        rounds=50,
    )
    start = time.perf_counter()
    _plant_tree()
    yield Fact("treebeard: filling its table", f"{time.perf_counter() - start:.1f} s")
    twigs = {twig.ramet: twig for twig in Twig.objects.filter(ramet__in=[*pks, *middle])}
    yield compare(
        "ids of all ancestors of the deepest : treebeard, one mother each",
        lambda turn: _ancestors(pks[turn % len(pks)]),
        lambda turn: list(twigs[pks[turn % len(pks)]].get_ancestors().values_list("ramet")),
        rounds=50,
    )
    yield compare(
        "ids of all descendants, mid-tree : treebeard, one mother each",
        lambda turn: list(of_ramet(Ramet(pk=middle[turn % len(middle)])).values_list("pk")),
        lambda turn: list(twigs[middle[turn % len(middle)]].get_descendants().values_list("ramet")),
        rounds=50,
    )
    times = []
    for pk in middle[:3]:
        start = time.perf_counter()
        _add_children(pk, 117)
        times.append(time.perf_counter() - start)
    yield Fact("treebeard: 117 children by add_child()", f"{sorted(times)[1] * 1000:.0f} ms")


def _ancestors(pk: int) -> list[tuple[int]]:
    with connection.cursor() as cursor:
        cursor.execute(WALK, [pk])
        return cursor.fetchall()


def _by_attributes(code: str) -> int:
    """A trace as it is often written: following attributes, asking as it goes. Returns how many
    steps it saw."""
    seen: set[int] = set()

    def follow(ramet: Ramet) -> int:
        if ramet.pk in seen:
            return 0
        seen.add(ramet.pk)
        found = sum(step.event is not None for step in ramet.steps.all())
        if ramet.fragmentation is not None:
            for source in ramet.fragmentation.sources.all():
                found += follow(source.ramet)
        elif ramet.collection is not None:
            found += ramet.collection.colony is not None
        return found

    return follow(Ramet.objects.get(code=code))


def _plant_tree() -> None:
    """The tree of all ramets, straight into its table."""
    with connection.cursor() as cursor:
        cursor.execute(f'DROP TABLE IF EXISTS "{Twig._meta.db_table}"')
    with connection.schema_editor() as editor:
        editor.create_model(Twig)
    mothers: dict[int, int] = {}
    for cutting, ramet in Source.objects.order_by("-pk").values_list(
        "fragmentation_id", "ramet_id"
    ):
        mothers[cutting] = ramet
    paths: dict[int, str] = {}
    children: dict[int, int] = {}
    roots = itertools.count(1)
    rows = Ramet.everything.order_by("pk").values_list("pk", "fragmentation_id")
    for pk, cutting in rows.iterator(chunk_size=50_000):
        if cutting is None:
            paths[pk] = _step(next(roots))
            continue
        mother = mothers[cutting]
        children[mother] = children.get(mother, 0) + 1
        paths[pk] = paths[mother] + _step(children[mother])
    table = Table(Twig, "path", "depth", "numchild", "ramet")
    with transaction.atomic():
        for pk, path in paths.items():
            table.add(path, len(path) // Twig.steplen, children.get(pk, 0), pk)
        table.flush()
    with connection.cursor() as cursor:
        cursor.execute("ANALYZE")


def _step(number: int) -> str:
    text = ""
    for _ in range(Twig.steplen):
        number, digit = divmod(number, 36)
        text = _DIGITS[digit] + text
    return text


@transaction.atomic
def _add_children(pk: int, count: int) -> None:
    twig: Any = Twig.objects.get(ramet=pk)
    for number in range(count):
        twig.add_child(ramet=-number)
