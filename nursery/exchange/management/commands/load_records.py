"""`manage.py load_records FOLDER`: load CSV files, all or nothing."""

from __future__ import annotations

import time
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from nursery.access.actors import actor_for
from nursery.access.models import Membership
from nursery.core.actor import Role
from nursery.core.errors import Trouble
from nursery.core.models import User
from nursery.exchange.loading import Report, load
from nursery.exchange.loading.columns import page
from nursery.exchange.loading.files import CORRECTIONS, EVENTS, REGISTERS

_EVERY_S = 2.0
_ORDER = [item.stem for group in (REGISTERS, EVENTS, CORRECTIONS) for item in group]


class Command(BaseCommand):
    """Loads a folder of CSV files through the same actions as pages and API."""

    help = (
        "Load records from a folder of CSV files: all of them, or none if one row is refused. "
        "Loading the same folder again changes nothing."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("folder", nargs="?", help="the folder with the files")
        parser.add_argument(
            "--check", action="store_true", help="say what would come of it and store nothing"
        )
        parser.add_argument(
            "--as",
            dest="username",
            metavar="USERNAME",
            help="who enters it; needed unless the programme has exactly one lead",
        )
        parser.add_argument(
            "--columns", action="store_true", help="print which files and columns there are"
        )

    def handle(self, *args: Any, **options: Any) -> None:
        if options["columns"]:
            self.stdout.write(page(), ending="")
            return
        if options["folder"] is None:
            raise CommandError("Name the folder with the files (or --columns).")
        user = _user(options["username"])
        try:
            report = load(
                Path(options["folder"]),
                actor_for(user),
                check=options["check"],
                progress=_Progress(self),
            )
        except KeyboardInterrupt:
            raise CommandError("Interrupted. Nothing was loaded.", returncode=130) from None
        except Trouble as trouble:
            raise CommandError("\n".join(p.message for p in trouble.problems)) from trouble
        self._tell(report, check=options["check"])

    def _tell(self, report: Report, *, check: bool) -> None:
        if report.refused or report.leaning_count:
            for line in report.lines():
                self.stderr.write(line)
            leaning = report.leaning_count
            also = f" ({leaning} more only lean on those)" if leaning else ""
            what = "is" if report.refused == 1 else "are"
            raise CommandError(f"Nothing was loaded: {report.refused} {what} to be mended{also}.")
        self.stdout.write(f"{'':<18}{'new':>8}{'unchanged':>11}{'edited':>8}")
        for stem in sorted(report.tallies, key=_ORDER.index):
            tally = report.tallies[stem]
            name = stem.replace("_", " ")
            self.stdout.write(f"{name:<18}{tally.new:>8}{tally.unchanged:>11}{tally.edited:>8}")
        self.stdout.write("Checked; nothing was stored." if check else "Loaded.")


class _Progress:
    """Says every two seconds how far a load is."""

    def __init__(self, command: BaseCommand) -> None:
        self._command = command
        self._last = time.monotonic()

    def __call__(self, done: int, known: int) -> None:
        now = time.monotonic()
        if now - self._last >= _EVERY_S:
            self._last = now
            self._command.stdout.write(f"{done:,} of {known:,} rows")


def _user(username: str | None) -> User:
    """The named log-in, or the programme's only lead."""
    if username is not None:
        user = User.objects.filter(username=username, is_active=True).first()
        if user is None:
            raise CommandError(f"There is no active log-in {username!r}.")
        return user
    leads = Membership.objects.filter(role=Role.LEAD, user__is_active=True).select_related("user")
    users = [membership.user for membership in leads[:2]]
    if not users:
        raise CommandError("Nobody leads the programme yet. Name who enters it: --as USERNAME.")
    if len(users) > 1:
        raise CommandError("There are several leads. Name who enters it: --as USERNAME.")
    return users[0]
