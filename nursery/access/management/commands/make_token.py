"""Makes a token from the server's own command line and prints its key, this once."""

from __future__ import annotations

from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from nursery.access.actions import issue_token
from nursery.access.actors import actor_for
from nursery.core.errors import Trouble
from nursery.core.models import User


class Command(BaseCommand):
    """`manage.py make_token USERNAME [--name …] [--days …] [--read-only]`.

    The key alone goes to standard output, so that a script may take it.
    """

    help = "Make a token for a log-in and print its key, which is not kept."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("username")
        parser.add_argument("--name", default="command line", help="what it is for")
        parser.add_argument("--days", type=int, default=90, help="how long it lasts")
        parser.add_argument("--read-only", action="store_true", help="it may not write")

    def handle(self, *args: Any, **options: Any) -> None:
        user = User.objects.filter(username=options["username"]).first()
        if user is None:
            raise CommandError(f"There is no log-in {options['username']!r}.")
        try:
            token, key = issue_token(
                actor_for(user), user, options["name"], options["days"], options["read_only"]
            )
        except Trouble as trouble:
            raise CommandError(str(trouble)) from trouble
        reach = "reads" if token.read_only else "reads and writes"
        self.stderr.write(f"Token {token.name!r} {reach} until {token.expires_at:%Y-%m-%d}.")
        self.stdout.write(key)
