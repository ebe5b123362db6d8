"""A PostgreSQL server for measuring: thrown away afterwards, or its data kept for another run."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from urllib.parse import quote

from tests.run_suite import OWNER, SERVER_OPTIONS, postgres_programs, unprivileged

OPTIONS = (
    *SERVER_OPTIONS,
    "shared_buffers=512MB",
    "maintenance_work_mem=256MB",
    "max_wal_size=4GB",
    "checkpoint_timeout=1h",
    "max_connections=30",
)


@contextmanager
def server(kept: Path | None) -> Iterator[str]:
    """Start a server on a socket file of its own; yield its address. Its data are in `kept`, or in
    a folder that is deleted afterwards."""
    programs = postgres_programs()
    if programs is None:
        sys.exit("make bench needs PostgreSQL: apt-get install postgresql")
    folder = Path(tempfile.mkdtemp(prefix="ramet-", dir="/tmp"))
    data = folder / "data" if kept is None else kept / "data"
    account = unprivileged()
    for place in filter(None, (folder, kept)):
        place.mkdir(parents=True, exist_ok=True)
        if account:
            os.chown(place, account.pw_uid, account.pw_gid)

    def run(*command: str | Path) -> None:
        result = subprocess.run(
            command,
            cwd=folder,
            env={"PATH": os.environ.get("PATH", ""), "HOME": str(folder), "LC_ALL": "C.UTF-8"},
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
            start_new_session=True,
            user=account.pw_uid if account else None,
            group=account.pw_gid if account else None,
            extra_groups=[] if account else None,
        )
        if result.returncode:
            sys.exit(f"{Path(command[0]).name} failed:\n{result.stdout}")

    try:
        if not (data / "PG_VERSION").exists():
            run(
                *(programs / "initdb", "-D", data, "-U", OWNER, "--auth=trust"),
                *("--encoding=UTF8", "--locale=C.UTF-8", "--no-sync"),
            )
        options = " ".join(f"-c {option}" for option in OPTIONS)
        options += f" -c listen_addresses= -c unix_socket_directories={folder}"
        log = folder / "log"
        run(programs / "pg_ctl", "-D", data, "-l", log, "-w", "-t", "120", "-o", options, "start")
        yield f"postgres://{OWNER}@{quote(str(folder), safe='')}/postgres"
    finally:
        if (data / "postmaster.pid").exists():
            how = "immediate" if kept is None else "fast"
            run(programs / "pg_ctl", "-D", data, "-w", "-t", "120", "-m", how, "stop")
        shutil.rmtree(folder, ignore_errors=True)
