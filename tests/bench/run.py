"""What asking and writing cost, each as a ratio to the same done barely, in one run.

Bare means psycopg (or sqlite3) alone on the same database: the same statements, prepared (asking),
or the same rows by COPY (writing), with the final indexes, constraints and the commit. The server
does not wait for its disk (`fsync=off`), which favours the bare way.
"""

from __future__ import annotations

import argparse
import hashlib
import json
import os
import platform
import sys
import time
from collections.abc import Callable, Iterator
from functools import cached_property
from pathlib import Path

import django

django.setup()

from django.core.management import call_command, get_commands  # noqa: E402
from django.db import connection  # noqa: E402
from django.db.models import Q  # noqa: E402

from nursery.core.actor import Actor, Role  # noqa: E402
from nursery.lineage.models import Step  # noqa: E402
from nursery.lineage.words import What  # noqa: E402
from tests.bench import (  # noqa: E402
    allocating,
    beside,
    loading,
    matching,
    reading,
    web,
    writing,
)
from tests.bench.__main__ import GROUPS  # noqa: E402
from tests.bench.family import Family  # noqa: E402
from tests.bench.measure import Bare, Fact, Ratio  # noqa: E402
from tests.bench.programme import Programme, make  # noqa: E402
from tests.bench.tables import sizes  # noqa: E402
from tests.run_suite import ROOT  # noqa: E402


def main() -> int:
    parser = argparse.ArgumentParser()
    parser.add_argument("--ramets", type=int, required=True)
    parser.add_argument("--only", action="append", choices=GROUPS)
    parser.add_argument("--facts", type=Path)
    options = parser.parse_args()
    for line in machine():
        print(line, flush=True)
    made = filled(options.ramets, options.facts)
    for line in contents(made):
        print(line, flush=True)
    print("\nratio of medians, ours : the other", flush=True)
    run = Run(made)
    missed = 0
    for group in GROUPS:
        if options.only and group not in options.only:
            continue
        print(f"\n{group}", flush=True)
        for found in run.groups[group]():
            print(f"  {found}", flush=True)
            missed += str(found).endswith("MISSED")
    print(f"\n{missed} missed", flush=True)
    return 0


def machine() -> Iterator[str]:
    """What it runs on, and how busy that is with other things."""
    cpu = next(
        (
            line.split(":", 1)[1].strip()
            for line in Path("/proc/cpuinfo").read_text().splitlines()
            if line.startswith("model name")
        ),
        platform.machine(),
    )
    memory = os.sysconf("SC_PAGE_SIZE") * os.sysconf("SC_PHYS_PAGES") / 2**30
    load = ", ".join(f"{value:.1f}" for value in os.getloadavg())
    yield f"{cpu}, {os.cpu_count()} cores, {memory:.0f} GiB; load before: {load}"
    yield f"{reading.described()}, Python {platform.python_version()}, Django {django.__version__}"


def filled(ramets: int, facts: Path | None) -> Programme:
    """The filled database: as it was kept, or filled now."""
    fingerprint = _fingerprint(ramets)
    if facts is not None and facts.exists():
        kept = json.loads(facts.read_text())
        if kept["fingerprint"] == fingerprint:
            print("filled before; written to by each run since", flush=True)
            return Programme(**kept["made"])
        sys.exit(f"{facts.parent} was filled by another version. Delete it.")
    start = time.perf_counter()
    call_command("migrate", verbosity=0)
    began = time.perf_counter()

    def say(what: str) -> None:
        print(f"  {time.perf_counter() - began:6.1f} s  {what}", flush=True)

    made = make(ramets, say)
    print(f"filled in {time.perf_counter() - began:.1f} s (migrated in {began - start:.1f} s)")
    if facts is not None:
        facts.write_text(json.dumps({"fingerprint": fingerprint, "made": made.plain()}))
    return made


def _fingerprint(ramets: int) -> str:
    """What the filling depends on."""
    found = hashlib.sha256(str(ramets).encode())
    for path in (
        *sorted(ROOT.glob("nursery/*/migrations/*.py")),
        *(ROOT / "tests" / "bench" / name for name in ("programme.py", "tables.py")),
    ):
        found.update(path.read_bytes())
    return found.hexdigest()


def contents(made: Programme) -> Iterator[str]:
    yield (
        f"{made.ramets:,} ramets of {made.donors:,} donors, {made.cuttings:,} cuttings "
        f"({made.pooled / made.cuttings:.1%} pooled) to depth {made.depth}, {made.planted:,} "
        f"planted, {made.largest_site:,} alive on the largest site"
    )


class Run:
    """The groups of figures over one filled database."""

    def __init__(self, made: Programme) -> None:
        self.made = made
        self.actor = Actor(made.user, "bench", frozenset({Role.LEAD}))
        self.bare = Bare()
        self.built = 0.0
        made_, actor, bare = self.made, self.actor, self.bare
        self.groups: dict[str, Callable[[], Iterator[Ratio | Fact]]] = {
            "sizes": self.sizes,
            "verify": verified,
            "recall": lambda: reading.recalls(made_, bare, self.family),
            "trace": lambda: reading.traces(made_, actor, bare),
            "api": lambda: web.asked(made_, actor),
            "diversity": lambda: reading.diversities(made_, actor, bare),
            "matching": matching.compared,
            "allocate": allocating.facts,
            "beside": self.beside,
            "cut": lambda: writing.cuttings(made_, actor, bare),
            "plant": lambda: writing.plantings(made_, actor, bare),
            "late": lambda: writing.late_moves(actor),
            "load": loading.loads,
        }

    @cached_property
    def family(self) -> Family:
        start = time.perf_counter()
        family = Family()
        self.built = time.perf_counter() - start
        return family

    def beside(self) -> Iterator[Ratio | Fact]:
        family = self.family
        return beside.others(self.made, self.actor, family, self.built)

    def sizes(self) -> Iterator[Fact]:
        """How much room the tables take."""
        if connection.vendor != "postgresql":
            path = Path(str(connection.settings_dict["NAME"]))
            yield Fact("the file", f"{path.stat().st_size / 1e6:.0f} MB")
            return
        found = {table: (rows, heap, index) for table, rows, heap, index in sizes()}
        for table, (rows, heap, index) in list(found.items())[:9]:
            yield Fact(
                table,
                f"{rows:>10,} rows  {heap / rows:6.0f} + {index / rows:.0f} bytes a row "
                f"(table + indexes)",
            )
        rows, heap, index = found["lineage_step"]
        a_step = (heap + index) / rows
        early = Q(what=What.BORN) | Q(what__in=[What.PLACED, What.RECEIVED])
        placed = Step.objects.filter(early).count()
        ramets = sum(found["lineage_ramet"][1:])
        headers = sum(found["core_event"][1:])
        share = 1e6 / self.made.ramets / 1e6
        parts = [ramets * share, headers * share, placed * a_step * share]
        yield Fact(
            "MB a million ramets: ramets + headers + steps of birth and placement",
            f"{' + '.join(f'{part:.0f}' for part in parts)} = {sum(parts):.0f}",
        )
        yield Fact("each further step", f"{a_step:.0f} bytes")


def verified() -> Iterator[Fact]:
    """`manage.py verify_records` over everything: how long, how much memory, what it found."""
    if "verify_records" not in get_commands():
        yield Fact("verify_records", "left out: there is no such command yet")
        return
    start = time.perf_counter()
    read, write = os.pipe()
    command = [sys.executable, "manage.py", "verify_records"]
    pid = os.posix_spawn(
        sys.executable,
        command,
        os.environ,
        file_actions=[(os.POSIX_SPAWN_DUP2, write, 1), (os.POSIX_SPAWN_CLOSE, read)],
    )
    os.close(write)
    with os.fdopen(read) as told:
        lines = told.read().splitlines()
    _, status, used = os.wait4(pid, 0)
    took = time.perf_counter() - start
    yield Fact("verify_records", f"{took:.0f} s, {used.ru_maxrss / 1024:.0f} MB at most")
    if status:
        lines = [f"{len(lines)} lines, the first: {lines[0] if lines else ''}"]
    yield Fact("verify_records finds nothing", lines[-1] if lines else "", status == 0)


if __name__ == "__main__":
    sys.exit(main())
