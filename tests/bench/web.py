"""What asking over the wire costs: a trace, and a constant answer past the same doors."""

from __future__ import annotations

import http.client
import os
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager

from nursery.access.actions import issue_token
from nursery.core.actor import Actor
from nursery.core.models import User
from tests.bench.measure import Ratio, compare
from tests.bench.programme import Programme
from tests.run_suite import ROOT


def asked(made: Programme, actor: Actor) -> Iterator[Ratio]:
    """A trace by the API, near to the wild and far from it."""
    _, key = issue_token(actor, User.objects.get(pk=made.user), "bench", days=1)
    with _server() as port:
        wire = http.client.HTTPConnection("127.0.0.1", port, timeout=60)

        def get(path: str) -> bytes:
            wire.request("GET", path, headers={"Authorization": f"Bearer {key}"})
            answer = wire.getresponse()
            body = answer.read()
            if answer.status != 200:
                raise RuntimeError(f"{path} was answered {answer.status}: {body[:300]!r}")
            return body

        for depth, codes in ((1, made.shallow), (made.depth, made.deepest)):
            size = len(get(f"/api/ramets/{codes[0]}/trace/"))
            yield compare(
                f"GET a trace, depth {depth} ({size / 1000:.0f} kB) : GET a constant",
                lambda turn, codes=codes: get(f"/api/ramets/{codes[turn % len(codes)]}/trace/"),
                lambda turn: get("/api/constant/"),
                rounds=150,
                aim=2.0,
            )
        wire.close()


@contextmanager
def _server() -> Iterator[int]:
    """Gunicorn with one worker, on a free port of this machine alone."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    command = [
        *(sys.executable, "-m", "gunicorn", "restoration.wsgi", "--bind", f"127.0.0.1:{port}"),
        *("--workers", "1", "--threads", "4", "--log-level", "warning", "--keep-alive", "60"),
        "--no-control-socket",
    ]
    # Static files have not been collected, which is warned of, and are not asked for.
    environment = {**os.environ, "PYTHONWARNINGS": "ignore"}
    running = subprocess.Popen(command, cwd=ROOT, env=environment)
    try:
        for _ in range(200):
            with socket.socket() as there:
                if there.connect_ex(("127.0.0.1", port)) == 0:
                    break
            time.sleep(0.1)
        else:
            raise RuntimeError("gunicorn did not answer within 20 s")
        yield port
    finally:
        running.terminate()
        running.wait(30)
