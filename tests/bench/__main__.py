"""`make bench`: a server of its own is filled with a synthetic programme and measured.

--ramets N   how many; 1,000,000 on PostgreSQL and 100,000 on SQLite unless said otherwise
--sqlite     the same on SQLite
--only NAME  only this group of figures (may be given again)
--keep       keep the filled database under var/, so that the next such run need not fill it
"""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path

from tests.bench.server import server
from tests.run_suite import ROOT

GROUPS = (
    *("sizes", "verify", "recall", "trace", "api", "diversity", "matching", "allocate", "beside"),
    *("cut", "plant", "late", "load"),
)
"""In the order in which they are measured: what writes comes last."""


def main() -> int:
    """Start the database and measure in a process of its own; its exit code is ours."""
    parser = argparse.ArgumentParser(prog="make bench")
    parser.add_argument("--ramets", type=int, help="how many (1000000; on SQLite 100000)")
    parser.add_argument("--sqlite", action="store_true", help="measure on SQLite")
    parser.add_argument("--only", action="append", choices=GROUPS, help="only these figures")
    parser.add_argument("--keep", action="store_true", help="keep the filled database under var/")
    options = parser.parse_args()
    ramets = options.ramets or (100_000 if options.sqlite else 1_000_000)
    kept = None
    if options.keep:
        kept = ROOT / "var" / f"bench-{'sqlite' if options.sqlite else 'postgres'}-{ramets}"
        kept.mkdir(parents=True, exist_ok=True)
    with ExitStack() as stack:
        url = stack.enter_context(_lite(kept) if options.sqlite else server(kept))
        environment = {
            **os.environ,
            "DATABASE_URL": url,
            "DATABASE_POOL_MAX": "0",
            "SECRET_KEY": "only-for-measuring-and-nothing-else-in-the-world",
            "ALLOWED_HOSTS": "127.0.0.1",
            "HTTPS": "0",
            "LOG_LEVEL": "WARNING",
            "DJANGO_SETTINGS_MODULE": "tests.bench.web_settings",
        }
        command = [sys.executable, "-m", "tests.bench.run", "--ramets", str(ramets)]
        for name in options.only or ():
            command += ["--only", name]
        if kept is not None:
            command += ["--facts", str(kept / "facts.json")]
        return subprocess.run(command, cwd=ROOT, env=environment).returncode


@contextmanager
def _lite(kept: Path | None) -> Iterator[str]:
    if kept is not None:
        yield f"sqlite:///{kept / 'bench.sqlite3'}"
        return
    with tempfile.TemporaryDirectory(prefix="ramet-") as folder:
        yield f"sqlite:///{folder}/bench.sqlite3"


if __name__ == "__main__":
    sys.exit(main())
