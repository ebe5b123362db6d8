"""What asking costs: traces, recalls, diversity; and whether recalls are right."""

from __future__ import annotations

import random
import statistics
import time
from collections.abc import Iterator
from datetime import date

from django.db import connection
from django.db.models import Count

from nursery.core.actor import Actor
from nursery.diversity.queries import diversity
from nursery.donors.models import DonorColony, DonorSetMember
from nursery.lineage.models import Ramet
from nursery.lineage.queries import of_donor, of_ramet, summary
from nursery.lineage.walk import STEM
from nursery.outplanting.queries import trace
from nursery.places.models import Site
from tests.bench.family import Family
from tests.bench.measure import Bare, Fact, Ratio, compare, statements_of
from tests.bench.programme import Programme

AS_OF = date(2019, 7, 1)
WALK = STEM.format(asked="id = %s") + "SELECT id FROM stem"  # noqa: S608
"""The ids of a ramet and of all that it was cut from."""


def traces(made: Programme, actor: Actor, bare: Bare) -> Iterator[Ratio | Fact]:
    """The trace of ramets one cutting and 25 cuttings from the wild."""
    medians = []
    for depth, codes in ((1, made.shallow), (made.depth, made.deepest)):
        sent = [statements_of(lambda code=code: trace(actor, code)) for code in codes]
        most = max(map(len, sent))
        yield Fact(f"trace, depth {depth}: statements", f"{most} (aim ≤ 2)", most <= 2)
        found = compare(
            f"trace, depth {depth} : its statements",
            lambda turn, codes=codes: trace(actor, codes[turn % len(codes)]),
            lambda turn, sent=sent: bare.replay(sent[turn % len(sent)]),
            rounds=150,
            aim=1.7,
        )
        yield found
        medians.append(found.ours)
        ids = list(Ramet.objects.filter(code__in=codes).values_list("pk", flat=True))
        walks = [[(WALK, (pk,))] for pk in ids]
        yield compare(
            f"trace, depth {depth} : the walk alone",
            lambda turn, codes=codes: trace(actor, codes[turn % len(codes)]),
            lambda turn, walks=walks: bare.replay(walks[turn % len(walks)]),
            rounds=100,
        )
    yield Ratio(f"trace, depth {made.depth} : depth 1", medians[1], medians[0], aim=4)


def recalls(made: Programme, bare: Bare, family: Family) -> Iterator[Ratio | Fact]:
    """Descendants of donors and of ramets in the middle of the tree."""
    sizes = dict(
        DonorSetMember.objects.values_list("colony").annotate(n=Count("donor_set__ramets"))
    )
    largest = max(sizes, key=lambda pk: sizes[pk])
    donors = sorted(sizes)
    if made.ramets > 200_000:
        donors = sorted({*random.Random(1).sample(donors, min(300, len(donors))), largest})
    wrong = sum(
        set(of_donor(DonorColony(pk=pk)).values_list("pk", flat=True)) != family.of_colony(pk)
        for pk in donors
    )
    name = "recall of a donor: the same ramets as networkx"
    yield Fact(name, f"{len(donors) - wrong} of {len(donors)} donors", not wrong)
    wrong = sum(
        set(of_ramet(Ramet(pk=pk)).values_list("pk", flat=True)) != family.of_ramet(pk)
        for pk in made.middle
    )
    name = "recall of a ramet in the middle of the tree: the same as networkx"
    yield Fact(name, f"{len(made.middle) - wrong} of {len(made.middle)} ramets", not wrong)
    colony = DonorColony.objects.get(pk=largest)
    sets = tuple(
        DonorSetMember.objects.filter(colony=colony).values_list("donor_set_id", flat=True)
    )
    _covering(bare)
    marks = ", ".join(["%s"] * len(sets))
    ids = f"SELECT id FROM covering WHERE donor_set_id IN ({marks})"  # noqa: S608
    yield compare(
        f"recall of the largest donor ({sizes[largest]}), ids : covering index",
        lambda turn: list(of_donor(colony).values_list("pk", flat=True)),
        lambda turn: bare.run(ids, sets),
        rounds=30,
        aim=3,
    )
    grouped = (
        "SELECT place, structure_id, plot_id, life, count(*) FROM covering "  # noqa: S608
        f"WHERE donor_set_id IN ({marks}) GROUP BY 1, 2, 3, 4"
    )
    yield compare(
        "recall of the largest donor, by state and place : covering index, grouped",
        lambda turn: summary(of_donor(colony)),
        lambda turn: bare.run(grouped, sets),
        rounds=30,
        aim=3,
    )


def _covering(bare: Bare) -> None:
    """A table of its own, for its index holds all that is asked."""
    columns = "donor_set_id, id, place, structure_id, plot_id, life"
    bare.run(f"CREATE TEMP TABLE covering AS SELECT {columns} FROM lineage_ramet")  # noqa: S608
    bare.run(f"CREATE INDEX covering_all ON covering ({columns})")
    bare.run("ANALYZE covering" if bare.lite else "VACUUM ANALYZE covering")


def diversities(made: Programme, actor: Actor, bare: Bare) -> Iterator[Ratio | Fact]:
    """The report of the largest site."""
    site = Site.objects.get(code=made.site)
    grouped = (
        "SELECT ramet.plot_id, ramet.taxon_id, ramet.genet_id, count(*) "
        "FROM lineage_ramet AS ramet "
        "JOIN places_plot AS plot ON plot.id = ramet.plot_id "
        "WHERE plot.site_id = %s AND ramet.life = 1 GROUP BY 1, 2, 3"
    )
    yield compare(
        f"diversity of the largest site ({made.largest_site} alive), its report : GROUP BY",
        lambda turn: diversity(actor, site),
        lambda turn: bare.run(grouped, (site.pk,)),
        rounds=20,
        aim=2.5,
    )
    times = []
    for _ in range(5):
        start = time.perf_counter()
        diversity(actor, site, as_of=AS_OF)
        times.append(time.perf_counter() - start)
    yield Fact(
        f"diversity of the largest site as of {AS_OF}",
        f"{statistics.median(times) * 1000:.0f} ms",
    )


def described() -> str:
    """The database's name and version."""
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            cursor.execute("SHOW server_version")
            return f"PostgreSQL {cursor.fetchone()[0]}"
        cursor.execute("SELECT sqlite_version()")
        return f"SQLite {cursor.fetchone()[0]}"
