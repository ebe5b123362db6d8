"""Runs the whole suite on SQLite, then on PostgreSQL; options go on to pytest.

`--only sqlite` or `--only postgres` as the first option runs it on one of them. PostgreSQL is the
server that DATABASE_URL names, else a throwaway one, started from the programs found on this
machine and removed afterwards. What cannot run here, for want of PostgreSQL or a browser, is said
in one line; with CI=true it is a failure. The exit code is the worse of the two runs.

Standard library only.
"""

import os
import pwd
import shutil
import signal
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from urllib.parse import quote

ROOT = Path(__file__).resolve().parent.parent
BROWSERS = ("chromium", "chromium-browser", "google-chrome")
NO_TESTS = 5  # pytest's exit code when nothing was selected
OWNER = "ramet"
# A database that is thrown away need not survive a power cut.
SERVER_OPTIONS = ("fsync=off", "synchronous_commit=off", "full_page_writes=off")


def postgres_programs() -> Path | None:
    """The folder with initdb and pg_ctl, newest Debian version first, or None."""
    folders: list[Path] = []
    pg_config = shutil.which("pg_config")
    if pg_config:
        told = subprocess.run([pg_config, "--bindir"], capture_output=True, text=True)
        folders.append(Path(told.stdout.strip()))
    debian = Path("/usr/lib/postgresql").glob("*/bin")
    folders += sorted(debian, key=lambda folder: _version(folder.parent.name), reverse=True)
    on_path = shutil.which("initdb")
    if on_path:
        # A link on the path leads to the folder where the server's other programs are.
        folders.append(Path(on_path).resolve().parent)
    needed = ("initdb", "pg_ctl", "postgres")
    return next((f for f in folders if all((f / name).exists() for name in needed)), None)


def _version(name: str) -> int:
    return int(name) if name.isdigit() else 0


def unprivileged() -> pwd.struct_passwd | None:
    """Whom to run the server as: PostgreSQL refuses root. None when this is not root."""
    if os.geteuid() != 0:
        return None
    for name in ("postgres", "nobody"):
        try:
            return pwd.getpwnam(name)
        except KeyError:
            continue
    sys.exit("PostgreSQL does not run as root, and there is no account postgres or nobody.")


@contextmanager
def throwaway_server(programs: Path) -> Iterator[str]:
    """Start a PostgreSQL server that only this machine's socket file leads to; yield its address.

    Whatever happens in between, it is stopped and its folder is deleted.
    """
    # A socket's path may have about 100 characters: too few for some systems' own temporary folder.
    base = None if len(tempfile.gettempdir()) < 60 else "/tmp"  # noqa: S108
    folder = Path(tempfile.mkdtemp(prefix="ramet-", dir=base))
    data, log = folder / "data", folder / "log"
    account = unprivileged()
    if account:
        os.chown(folder, account.pw_uid, account.pw_gid)

    def run(*command: str | Path) -> None:
        result = subprocess.run(
            command,
            cwd=folder,
            env={"PATH": os.environ.get("PATH", ""), "HOME": str(folder), "LC_ALL": "C.UTF-8"},
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
            # Out of reach of Ctrl-C, which is meant for the tests: the server is stopped below.
            start_new_session=True,
            user=account.pw_uid if account else None,
            group=account.pw_gid if account else None,
            extra_groups=[] if account else None,
        )
        if result.returncode:
            told = log.read_text() if log.exists() else ""
            sys.exit(f"{Path(command[0]).name} failed:\n{result.stdout}{told}")

    try:
        run(
            *(programs / "initdb", "-D", data, "-U", OWNER, "--auth=trust"),
            *("--encoding=UTF8", "--locale=C.UTF-8", "--no-sync"),
        )
        options = " ".join(f"-c {option}" for option in SERVER_OPTIONS)
        options += f" -c listen_addresses= -c unix_socket_directories={folder}"
        # pg_ctl's child keeps the output open; into the log with it, or run() would wait for it.
        run(programs / "pg_ctl", "-D", data, "-l", log, "-w", "-t", "60", "-o", options, "start")
        yield f"postgres://{OWNER}@{quote(str(folder), safe='')}/postgres"
    finally:
        if (data / "postmaster.pid").exists():
            run(programs / "pg_ctl", "-D", data, "-w", "-m", "immediate", "stop")
        shutil.rmtree(folder, ignore_errors=True)


def run_tests(name: str, url: str, options: list[str]) -> int:
    """Run pytest on one database and return its exit code."""
    print(f"\n=== The suite on {name} ===", flush=True)
    environment = {**os.environ, "DATABASE_URL": url}
    command = [sys.executable, "-m", "pytest", *options]
    return subprocess.run(command, cwd=ROOT, env=environment).returncode


def run_on_postgres(options: list[str]) -> int | None:
    """Run pytest on PostgreSQL; None where there is no server to be had."""
    given = os.environ.get("DATABASE_URL", "")
    if given.startswith("postgres"):
        return run_tests("the given PostgreSQL", given, options)
    programs = postgres_programs()
    if programs is None:
        return None
    with throwaway_server(programs) as url:
        return run_tests("a throwaway PostgreSQL", url, options)


def main(arguments: list[str]) -> int:
    """Run what was asked for and return the exit code."""
    only = ""
    if arguments[:1] == ["--only"]:
        only, arguments = arguments[1], arguments[2:]
    options = ["-n", "2", *arguments]
    left_out: list[str] = []
    if not any(map(shutil.which, BROWSERS)):
        options.append("--ignore=tests/browser")
        left_out.append("No browser: tests/browser left out. On Debian: apt-get install chromium")

    codes: list[int] = []
    if only != "postgres":
        codes.append(run_tests("SQLite", "", options))
    if only != "sqlite":
        code = run_on_postgres(options)
        if code is None:
            left_out.append(
                "No PostgreSQL: its run left out. On Debian: apt-get install postgresql"
            )
        else:
            codes.append(code)

    if left_out:
        print("\n" + "\n".join(left_out), flush=True)
        if os.environ.get("CI") == "true":
            codes.append(1)
    # A crash counts for more than failed tests, and both for more than an empty selection.
    return max(codes, key=lambda code: (code not in (0, NO_TESTS), code), default=1)


if __name__ == "__main__":
    # Being ended from outside takes the same way out as Ctrl-C, past the clearing up.
    signal.signal(signal.SIGTERM, lambda *_: sys.exit(143))
    try:
        sys.exit(main(sys.argv[1:]))
    except KeyboardInterrupt:
        sys.exit(130)
