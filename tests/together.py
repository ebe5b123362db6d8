"""Several people at once, in threads of their own with connections of their own."""

from __future__ import annotations

import threading
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from typing import TypeVar

from django.db import connection

from nursery.core.errors import Trouble

T = TypeVar("T")

PATIENCE = 60
"""Seconds after which threads that wait for each other are a deadlock."""


def at_once(acts: Sequence[Callable[[], T]]) -> list[T | Trouble]:
    """Do all acts at the same moment; what each gave, or why it was refused, in their order.

    Any other error, a deadlock among them, is raised.
    """
    start = threading.Barrier(len(acts), timeout=PATIENCE)

    def run(act: Callable[[], T]) -> T | Trouble:
        try:
            start.wait()
            return act()
        except Trouble as refusal:
            return refusal
        finally:
            connection.close()

    # The test's own connection goes back to the pool, so that the acts have all of it.
    connection.close()
    with ThreadPoolExecutor(len(acts)) as threads:
        running = [threads.submit(run, act) for act in acts]
        return [each.result(timeout=PATIENCE) for each in running]


def codes(answers: Sequence[object]) -> list[str]:
    """The codes of the refusals among the answers."""
    return [answer.code for answer in answers if isinstance(answer, Trouble)]
