"""What loading a written programme costs: CSV files by `load_records`, and the same rows by COPY.

In databases of their own, made and thrown away here. As a module it is the process that loads.
"""

from __future__ import annotations

import csv
import json
import os
import statistics
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from datetime import date, timedelta
from pathlib import Path
from typing import Any

from nursery.core.codes import next_codes
from nursery.places.cells import Cell
from tests.bench.measure import Fact, Ratio, timed
from tests.run_suite import ROOT

CUTTINGS = 40
MOTHERS = 8
CHILDREN = 100
CELLS = [Cell(row, column).name for row in range(1, 11) for column in range(1, 11)]


def write(folder: Path) -> int:
    """A programme of some thousand ramets in CSV files; returns how many."""
    rows: dict[str, list[dict[str, Any]]] = {}

    def add(stem: str, **values: Any) -> None:
        rows.setdefault(stem, []).append(values)

    add("reefs", code="R", name="Reef")
    add("taxa", code="T", name="Taxon", group="stony")
    add("nurseries", code="N", name="Nursery", kind="land", series="NA")
    add("systems", code="S", name="System", nursery="N")
    add("bays", code="B", name="Bay", system="S")
    add("sites", code="SITE", name="Site", reef="R")
    add("plots", code="PLOT", site="SITE")
    add("structures", code="BROOD", kind="table", since="2020-01-01", bay="B")
    wild, _ = next_codes("W", 1, MOTHERS)
    cut, _ = next_codes("NA", 1, CUTTINGS * CHILDREN)
    day = date(2021, 1, 1)
    for n, code in enumerate(wild):
        add("genets", code=f"G{n}", taxon="T")
        add("colonies", code=f"D{n}", taxon="T", genet=f"G{n}", reef="R")
        add("collections", event=f"C{n}", when="2020-06-01", colony=f"D{n}", count=1)
        add("collection_pieces", event=f"C{n}", code=code)
        add("intakes", event=f"I{n}", when="2020-06-02", collection=f"C{n}", nursery="N")
        add("intake_pieces", event=f"I{n}", ramet=code, structure="BROOD")
    for n in range(CUTTINGS):
        plate, on = f"P{n}", day + timedelta(days=n)
        add(
            "structures", code=plate, kind="plate", rows=10, columns=10, since="2020-01-01", bay="B"
        )
        add("fragmentations", event=f"F{n}", when=on, structure=plate)
        add("fragmentation_sources", event=f"F{n}", ramet=wild[n % MOTHERS])
        children = cut[n * CHILDREN : (n + 1) * CHILDREN]
        for code, cell in zip(children, CELLS, strict=True):
            add("fragmentation_children", event=f"F{n}", code=code, cell=cell)
        if n % 4 == 0:
            planted = on + timedelta(days=200)
            add("outplantings", event=f"O{n}", when=planted, plot="PLOT", fixing="cement")
            add("visits", event=f"V{n}", when=planted + timedelta(days=90), site="SITE")
            for number, code in enumerate(children):
                add("outplants", event=f"O{n}", ramet=code)
                if number % 2:
                    add("observations", event=f"V{n}", ramet=code, condition="alive")
    for stem, found in rows.items():
        columns = list(dict.fromkeys(name for row in found for name in row))
        with (folder / f"{stem}.csv").open("w", newline="", encoding="utf-8") as file:
            writer = csv.DictWriter(file, columns)
            writer.writeheader()
            writer.writerows(found)
    return len(cut) + len(wild)


def loads() -> Iterator[Ratio | Fact]:
    """The load of written files, and the copy of what it stored."""
    with tempfile.TemporaryDirectory(prefix="ramet-") as name:
        folder = Path(name)
        written = folder / "written"
        written.mkdir()
        ramets = write(written)
        told = [_in_a_database(number, "ours", folder) for number in range(2)]
        copied = [_in_a_database(number, "copy", folder) for number in range(3)]
        lines = sum(len(file.read_text().splitlines()) - 1 for file in written.glob("*.csv"))
        yield Fact("load_records: what was loaded", f"{ramets} ramets in {lines} lines")
        yield Ratio(
            f"load_records of {ramets} ramets : COPY of the rows it stores",
            statistics.median(told),
            statistics.median(copied),
            aim=8,
        )


def _in_a_database(number: int, what: str, folder: Path) -> float:
    """How long loading (or copying what was loaded) takes, in a fresh database and process."""
    given = os.environ["DATABASE_URL"]
    url = f"{given.rsplit('/', 1)[0]}/{what}{number}"
    if given.startswith("sqlite"):
        url = f"sqlite:///{folder}/{what}{number}.sqlite3"
    environment = {**os.environ, "DATABASE_URL": url, "BENCH_DATABASE_URL": given}
    told = subprocess.run(
        [sys.executable, "-m", "tests.bench.loading", what, str(folder)],
        cwd=ROOT,
        env=environment,
        capture_output=True,
        text=True,
    )
    if told.returncode:
        raise RuntimeError(told.stdout[-2000:] + told.stderr[-4000:])
    return float(json.loads(told.stdout.splitlines()[-1]))


def main() -> None:
    """Make the database, and load or copy."""
    import pickle

    import django
    import psycopg

    url = os.environ["DATABASE_URL"]
    if url.startswith("postgres"):
        name = url.rsplit("/", 1)[1]
        with psycopg.connect(os.environ["BENCH_DATABASE_URL"], autocommit=True) as server:
            server.execute(f'DROP DATABASE IF EXISTS "{name}"')  # type: ignore[arg-type]
            server.execute(f'CREATE DATABASE "{name}"')  # type: ignore[arg-type]
    django.setup()
    from django.core.management import call_command
    from django.db import connection

    from nursery.access.models import Membership
    from nursery.core.models import User
    from tests.bench.measure import Bare
    from tests.bench.tables import ours

    what, folder = sys.argv[1], Path(sys.argv[2])
    call_command("migrate", verbosity=0)
    user = User.objects.create(username="loader")
    Membership.objects.create(user=user, role="lead")
    bare = Bare()
    kept = folder / "rows.pickle"
    if what == "ours":
        before = {model: _rows(bare, model)[1] for model in ours()}
        took = timed(
            lambda: call_command("load_records", str(folder / "written"), stdout=sys.stderr)
        )
        new = []
        for model in ours():
            columns, rows = _rows(bare, model)
            known = set(map(repr, before[model]))
            new.append((model._meta.db_table, columns, [r for r in rows if repr(r) not in known]))
        kept.write_bytes(pickle.dumps([part for part in new if part[2]]))
    else:
        parts = pickle.loads(kept.read_bytes())  # noqa: S301 - our own

        def send() -> None:
            with bare.transaction():
                if bare.lite:
                    bare.run("PRAGMA defer_foreign_keys=ON")
                for table, columns, rows in parts:
                    bare.send(table, columns, rows)

        took = timed(send)
    connection.close()
    print(json.dumps(took))


def _rows(bare: Any, model: Any) -> tuple[list[str], list[tuple[Any, ...]]]:
    columns = [field.column for field in model._meta.concrete_fields]
    names = ", ".join(f'"{name}"' for name in columns)
    found = bare.run(f'SELECT {names} FROM "{model._meta.db_table}"')  # noqa: S608
    if not bare.lite:
        found = [tuple(_sendable(value) for value in row) for row in found]
    return columns, found


def _sendable(value: Any) -> Any:
    """JSON as text, which a JSON column takes."""
    return json.dumps(value) if isinstance(value, dict | list) else value


if __name__ == "__main__":
    main()
