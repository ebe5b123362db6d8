"""manage.py verify_records: does the record agree with itself?"""

from __future__ import annotations

import time
from collections import Counter
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from nursery.outplanting.verify import FAMILIES, verify

EVERY = 2.0
"""Seconds between two lines of progress."""


class Command(BaseCommand):
    help = (
        "Replay the whole ledger, work out again everything that is written down twice and every "
        "rule, and report each difference. Changes nothing; ends with 1 if there is any."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument(
            "--only",
            action="append",
            choices=sorted(FAMILIES),
            metavar="FAMILY",
            help=f"only these rules (may be given again): {', '.join(FAMILIES)}",
        )

    def handle(self, *args: Any, **options: Any) -> None:
        began = self._told = time.monotonic()
        counts: Counter[str] = Counter()
        self._seen: dict[str, int] = {}
        for difference in verify(options["only"] or (), self._tell):
            counts[difference.rule] += 1
            self.stdout.write(str(difference))
        looked_at = ", ".join(f"{number:,} {things}" for things, number in self._seen.items())
        took = f"Looked at {looked_at or 'nothing'}, in {time.monotonic() - began:.0f} s."
        if not counts:
            self.stdout.write(f"No differences. {took}")
            return
        self.stdout.write(took)
        for rule, number in counts.most_common():
            self.stdout.write(f"{number:,} {rule}")
        total = counts.total()
        raise CommandError(f"{total:,} difference{'s' if total > 1 else ''}.", returncode=1)

    def _tell(self, things: str, number: int) -> None:
        self._seen[things] = number
        if time.monotonic() - self._told >= EVERY:
            self._told = time.monotonic()
            self.stderr.write(f"{things}: {number:,}", style_func=str)
