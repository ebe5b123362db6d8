"""`make bench`: a throwaway PostgreSQL server, filled and measured. Options: `--ramets N`."""

from __future__ import annotations

import os
import subprocess
import sys

from tests.run_suite import ROOT, postgres_programs, throwaway_server


def main() -> int:
    """Start the server and measure in a process of its own; its exit code is ours."""
    programs = postgres_programs()
    if programs is None:
        print("make bench needs PostgreSQL: apt-get install postgresql", file=sys.stderr)
        return 1
    with throwaway_server(programs) as url:
        environment = {
            **os.environ,
            "DATABASE_URL": url,
            "DATABASE_POOL_MAX": "0",
            "SECRET_KEY": "only-for-measuring",
            "DJANGO_SETTINGS_MODULE": "restoration.settings",
        }
        command = [sys.executable, "-m", "tests.bench.run", *sys.argv[1:]]
        return subprocess.run(command, cwd=ROOT, env=environment).returncode


if __name__ == "__main__":
    sys.exit(main())
