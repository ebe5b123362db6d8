"""How far a piece of long work is, kept in a small file beside its input.

Whoever works writes it, whoever looks reads it; no database stands between, since a load holds one
transaction from its first row to its last.
"""

from __future__ import annotations

import json
import os
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import asdict, dataclass
from pathlib import Path

FILE = "progress.json"
EVERY_S = 1.0
"""How often at most the file is written."""
SILENT_S = 20.0
"""After how long without a sign the work counts as broken off."""


@dataclass(frozen=True, slots=True)
class Progress:
    """`done` of `known` (None where nobody knows how many there will be) of `things`."""

    things: str = ""
    done: int = 0
    known: int | None = None
    sign: float = 0.0
    """When the work last gave a sign of life, in seconds of the clock."""

    @property
    def silent(self) -> bool:
        return time.time() - self.sign > SILENT_S

    @property
    def share(self) -> int | None:
        """Whole percents done, or None where nobody knows."""
        return None if not self.known else min(100, 100 * self.done // self.known)


def read(folder: Path) -> Progress:
    """What the folder's file says; where there is none yet, that nothing was done yet."""
    try:
        return Progress(**json.loads((folder / FILE).read_text()))
    except FileNotFoundError:
        return Progress(sign=time.time())


def write(folder: Path, progress: Progress) -> None:
    """Put down how far the work is; a reader sees the old file or the new one, never half."""
    draft = folder / f"{FILE}.new"
    draft.write_text(json.dumps(asdict(progress)))
    os.replace(draft, folder / FILE)


@contextmanager
def kept(folder: Path) -> Iterator[Callable[[str, int, int | None], None]]:
    """A teller for the work inside; a thread gives signs of life while one step takes long."""
    now = [Progress(sign=time.time())]
    done = threading.Event()

    def signs() -> None:
        while not done.wait(EVERY_S):
            latest = now[0]
            write(folder, Progress(latest.things, latest.done, latest.known, time.time()))

    write(folder, now[0])
    thread = threading.Thread(target=signs, daemon=True)
    thread.start()
    try:
        yield lambda things, n, known: now.__setitem__(0, Progress(things, n, known))
    finally:
        done.set()
        thread.join()
        latest = now[0]
        write(folder, Progress(latest.things, latest.done, latest.known, time.time()))
