"""`manage.py run_task UID`: what a page starts for long work; nobody needs to call it by hand."""

from __future__ import annotations

from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from nursery.core.errors import Unknown
from nursery.exchange.tasks import run


class Command(BaseCommand):
    help = "Do the long work that was asked for on a page, and keep what came of it."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("uid")

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            task = run(options["uid"])
        except Unknown as trouble:
            raise CommandError(str(trouble)) from trouble
        self.stdout.write(str(task.outcome.get("says", "")))
