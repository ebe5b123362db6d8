"""What asking and writing cost, each as a ratio to the same done barely, in one run.

Bare means psycopg alone on the same database: the same statements, prepared (reading), or the same
rows by COPY (writing), with the final indexes, constraints and the commit. The server does not
wait for its disk (`fsync=off`), which favours the bare way.
"""

from __future__ import annotations

import argparse
import os
import platform
import sys
from typing import Any

import django

django.setup()

import psycopg  # noqa: E402
from django.core.management import call_command  # noqa: E402
from django.db.models import Count  # noqa: E402

from nursery.core.actor import Actor, Role  # noqa: E402
from nursery.core.inputs import read  # noqa: E402
from nursery.diversity.queries import diversity  # noqa: E402
from nursery.donors.models import DonorColony  # noqa: E402
from nursery.lineage.actions import cut  # noqa: E402
from nursery.lineage.inputs import FragmentationIn  # noqa: E402
from nursery.lineage.models import Ramet, Step  # noqa: E402
from nursery.lineage.queries import of_donor, summary  # noqa: E402
from nursery.outplanting.queries import trace  # noqa: E402
from nursery.places.models import Site  # noqa: E402
from tests.bench.measure import Ratio, compare, replay, statements_of  # noqa: E402
from tests.bench.programme import Programme, make  # noqa: E402


def main() -> int:
    parser = argparse.ArgumentParser(prog="make bench")
    parser.add_argument("--ramets", type=int, default=100_000, help="default 100000")
    options = parser.parse_args()
    call_command("migrate", verbosity=0)
    made = make(options.ramets)
    print(f"{platform.machine()}, {os.cpu_count()} cores, Python {platform.python_version()}")
    print(f"{made.ramets} ramets; ratio of medians, ours : bare\n")
    with psycopg.connect(os.environ["DATABASE_URL"], autocommit=True) as bare:
        for ratio in ratios(made, bare):
            print(ratio, flush=True)
    return 0


def ratios(made: Programme, bare: psycopg.Connection[Any]) -> list[Ratio]:
    """Every ratio, measured one after the other."""
    actor = Actor(made.user.pk, "bench", frozenset({Role.LEAD}))
    return [
        *_traces(made, actor, bare),
        _recall(bare),
        _diversity(made, actor, bare),
        *_cuttings(made, actor, bare),
    ]


def _traces(made: Programme, actor: Actor, bare: psycopg.Connection[Any]) -> list[Ratio]:
    found = []
    for name, codes in (("shallow", made.shallow), ("deepest", made.deepest)):
        sent = [statements_of(lambda code=code: trace(actor, code)) for code in codes]  # type: ignore[misc]
        found.append(
            compare(
                f"trace, {name} ({len(sent[0])} statements)",
                lambda turn, codes=codes: trace(actor, codes[turn % len(codes)]),  # type: ignore[misc]
                lambda turn, sent=sent: replay(bare, sent[turn % len(sent)]),  # type: ignore[misc]
                rounds=100,
            )
        )
    return found


def _recall(bare: psycopg.Connection[Any]) -> Ratio:
    top = (
        Ramet.objects.values("donor_set__colonies")
        .annotate(n=Count("pk"))
        .order_by("-n")
        .values_list("donor_set__colonies", flat=True)[0]
    )
    colony = DonorColony.objects.get(pk=top)
    sent = statements_of(lambda: summary(of_donor(colony)))
    return compare(
        "descendants of the largest donor, by state and place",
        lambda turn: summary(of_donor(colony)),
        lambda turn: replay(bare, sent),
        rounds=30,
    )


def _diversity(made: Programme, actor: Actor, bare: psycopg.Connection[Any]) -> Ratio:
    site = Site.objects.get(pk=made.sites[0].pk)
    grouped = (
        "SELECT ramet.plot_id, ramet.taxon_id, ramet.genet_id, count(*) "
        "FROM lineage_ramet AS ramet "
        "JOIN places_plot AS plot ON plot.id = ramet.plot_id "
        "WHERE plot.site_id = %s AND ramet.life = 1 GROUP BY 1, 2, 3"
    )
    return compare(
        "diversity of the largest site, its report : one GROUP BY",
        lambda turn: diversity(actor, site),
        lambda turn: replay(bare, [(grouped, (site.pk,))]),
        rounds=30,
    )


def _cuttings(made: Programme, actor: Actor, bare: psycopg.Connection[Any]) -> list[Ratio]:
    found = []
    mother = made.shallow[0]
    for count in (117, 1000):
        given = read(
            FragmentationIn,
            {
                "when": "2026-01-01",
                "sources": [{"ramet": mother}],
                "count": count,
                "structure": "TRAY",
            },
        )
        event = cut(actor, given).event
        rows = _copied_rows(event.pk)
        found.append(
            compare(
                f"one cutting of {count} : COPY of its ramets and steps",
                lambda turn, given=given: cut(actor, given),  # type: ignore[misc]
                lambda turn, rows=rows: _copy(bare, rows, turn),  # type: ignore[misc]
                rounds=20,
            )
        )
    return found


_Rows = tuple[list[str], list[tuple[Any, ...]], list[str], list[tuple[Any, ...]]]


def _copied_rows(event: int) -> _Rows:
    """The ramets and birth steps of an event, column by column, without their ids."""
    ramet_columns = [f.column for f in Ramet._meta.concrete_fields if f.name != "id"]
    step_columns = [f.column for f in Step._meta.concrete_fields if f.name not in ("id", "ramet")]
    ramets = list(
        Ramet.objects.filter(born=event).values_list(
            *[f.attname for f in Ramet._meta.concrete_fields if f.name != "id"]
        )
    )
    steps = list(
        Step.objects.filter(event=event, order=1).values_list(
            *[f.attname for f in Step._meta.concrete_fields if f.name not in ("id", "ramet")]
        )
    )
    return ramet_columns, ramets, step_columns, steps


def _copy(bare: psycopg.Connection[Any], rows: _Rows, turn: int) -> None:
    """COPY the rows under new codes in one transaction."""
    ramet_columns, ramets, step_columns, steps = rows
    code = ramet_columns.index("code")
    with bare.transaction(), bare.cursor() as cursor:
        cursor.execute(
            "SELECT nextval(pg_get_serial_sequence('lineage_ramet', 'id')) "
            "FROM generate_series(1, %s)",
            (len(ramets),),
        )
        ids = [row[0] for row in cursor.fetchall()]
        quoted = ", ".join(f'"{name}"' for name in ramet_columns)
        with cursor.copy(f"COPY lineage_ramet (id, {quoted}) FROM STDIN") as copy:  # type: ignore[arg-type]
            for pk, ramet in zip(ids, ramets, strict=True):
                fresh = list(ramet)
                fresh[code] = f"Z{pk}-{turn % 10}"
                copy.write_row([pk, *fresh])
        quoted = ", ".join(f'"{name}"' for name in step_columns)
        with cursor.copy(f"COPY lineage_step (ramet_id, {quoted}) FROM STDIN") as copy:  # type: ignore[arg-type]
            for pk, step in zip(ids, steps, strict=True):
                copy.write_row([pk, *step])


if __name__ == "__main__":
    sys.exit(main())
