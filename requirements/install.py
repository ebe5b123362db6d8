"""Makes the environment in .venv and installs locks into it, such as `install.py runtime test`.

Standard library only. A lock that is installed already, as its hash tells, takes no time. The first
run needs a connection or a local copy of the packages, later ones do not.
"""

import hashlib
import os
import shutil
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
VENV = ROOT / ".venv"
PYTHON = VENV / "bin" / "python"
STAMPS = VENV / "installed"
OLDEST = (3, 11)


def working(python: Path) -> bool:
    """Whether the environment's interpreter is there, runs, and is new enough."""
    if not python.exists():
        return False
    check = f"import pip, sys; sys.exit(sys.version_info < {OLDEST})"
    return subprocess.run([python, "-c", check], capture_output=True).returncode == 0


def make_environment() -> None:
    """Make .venv, or make it anew when its interpreter has gone."""
    print("Making the environment in .venv …", flush=True)
    shutil.rmtree(VENV, ignore_errors=True)
    if subprocess.run([sys.executable, "-m", "venv", VENV]).returncode:
        shutil.rmtree(VENV, ignore_errors=True)
        sys.exit("Python's venv is missing. On Debian: apt-get install python3-venv")
    STAMPS.mkdir()


def install(name: str) -> None:
    """Install the lock `requirements/<name>.txt`, unless this very file is installed already."""
    lock = ROOT / "requirements" / f"{name}.txt"
    stamp = STAMPS / name
    digest = hashlib.sha256(lock.read_bytes()).hexdigest()
    if stamp.exists() and stamp.read_text() == digest:
        return
    print(f"Installing requirements/{name}.txt …", flush=True)
    # Nothing is left outside the project's folder: no cache, and temporary files inside.
    scratch = VENV / "scratch"
    scratch.mkdir(exist_ok=True)
    command = [str(PYTHON), "-m", "pip", "install", "--quiet", "--disable-pip-version-check"]
    command += ["--no-cache-dir", "--require-hashes", "--requirement", str(lock)]
    result = subprocess.run(command, env={**os.environ, "TMPDIR": str(scratch)})
    shutil.rmtree(scratch, ignore_errors=True)
    if result.returncode:
        sys.exit(f"Installing requirements/{name}.txt failed; see above.")
    STAMPS.mkdir(exist_ok=True)
    stamp.write_text(digest)


def main(names: list[str]) -> None:
    """Bring the environment up to date with the named locks."""
    if sys.version_info < OLDEST:
        wanted = ".".join(map(str, OLDEST))
        found = sys.version.split()[0]
        sys.exit(f"Python {wanted} or newer is needed, not {found}: make PYTHON=python{wanted} …")
    if not working(PYTHON):
        make_environment()
    for name in names:
        install(name)


if __name__ == "__main__":
    main(sys.argv[1:])
