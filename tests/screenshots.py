"""Takes the README's pictures of the demo: `make screenshots`.

An installation of its own is made from the demo's files, served, and looked at in Chromium, each
role's main page at the width at which that role works.
"""

from __future__ import annotations

import os
import shutil
import socket
import subprocess
import sys
import tempfile
import time
import urllib.request
from dataclasses import dataclass
from pathlib import Path
from urllib.error import URLError

from playwright.sync_api import Browser, sync_playwright

ROOT = Path(__file__).resolve().parent.parent
FOLDER = ROOT / "fixtures" / "pictures"
PHONE = {"width": 390, "height": 844}
DESKTOP = {"width": 1280, "height": 860}


@dataclass(frozen=True, slots=True)
class Picture:
    """One picture: who looks, at which address, how wide the window is, and what is done first."""

    name: str
    who: str
    address: str
    window: dict[str, int]
    scheme: str = "light"


PICTURES = (
    Picture("site", "lead", "/sites/WR/", DESKTOP),
    Picture("plate", "nursery", "/structures/K-04/", DESKTOP),
    Picture("field", "field", "/collect/", PHONE),
    Picture("trace", "viewer", "/ramets/BY2271-I/", DESKTOP, scheme="dark"),
)


def main() -> None:
    """Serve the demo and take every picture anew."""
    with tempfile.TemporaryDirectory() as scratch:
        port = _free_port()
        environment = {
            **os.environ,
            "DEBUG": "1",
            "DATABASE_URL": f"sqlite:///{scratch}/demo.sqlite3",
            "TASKS_ROOT": scratch,
        }
        manage = [sys.executable, "manage.py"]
        subprocess.run([*manage, "migrate", "-v0"], cwd=ROOT, env=environment, check=True)
        told = subprocess.check_output(
            [*manage, "prepare_demo"], cwd=ROOT, env=environment, text=True
        )
        password = told.partition("the password of each is ")[2].partition(")")[0]
        server = subprocess.Popen(
            [
                *(sys.executable, "-m", "gunicorn", "restoration.wsgi"),
                *("--bind", f"127.0.0.1:{port}", "--threads", "4", "--log-level", "warning"),
                *("--worker-tmp-dir", scratch, "--no-control-socket"),
            ],
            cwd=ROOT,
            env=environment,
        )
        try:
            root = f"http://127.0.0.1:{port}"
            _wait_for(root)
            _take_all(root, password)
        finally:
            server.terminate()
            server.wait()


def _take_all(root: str, password: str) -> None:
    executable = shutil.which("chromium")
    if executable is None:
        sys.exit("No browser found. On Debian: apt-get install chromium")
    FOLDER.mkdir(exist_ok=True)
    with sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=executable, args=["--no-sandbox"])
        for picture in PICTURES:
            _take(browser, root, password, picture)
            print(FOLDER / f"{picture.name}.png")
        browser.close()


def _take(browser: Browser, root: str, password: str, picture: Picture) -> None:
    page = browser.new_page(
        viewport=picture.window, color_scheme=picture.scheme, reduced_motion="reduce"
    )
    page.goto(f"{root}/login/?next={picture.address}")
    page.get_by_label("Name").fill(picture.who)
    page.get_by_label("Password").fill(password)
    page.get_by_role("button", name="Log in").click()
    page.wait_for_load_state("networkidle")
    if not page.url.startswith(root + picture.address):
        sys.exit(f"{picture.address} led to {page.url}.")
    page.screenshot(path=FOLDER / f"{picture.name}.png")
    page.close()


def _free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port: int = probe.getsockname()[1]
        return port


def _wait_for(root: str) -> None:
    for _ in range(100):
        try:
            urllib.request.urlopen(f"{root}/login/")  # noqa: S310 - our own server
            return
        except URLError:
            time.sleep(0.2)
    sys.exit("The server does not answer.")


if __name__ == "__main__":
    main()
