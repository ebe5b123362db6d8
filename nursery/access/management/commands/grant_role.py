"""Gives a person a role from the server's own command line: how a programme gets its first lead."""

from __future__ import annotations

from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from nursery.access.actions import grant_role
from nursery.core.actor import Actor, Role
from nursery.core.errors import Trouble
from nursery.core.models import User
from nursery.core.registers import find
from nursery.places.models import Nursery


class Command(BaseCommand):
    """`manage.py grant_role USERNAME ROLE [--nursery CODE]`.

    Whoever may run it has the whole database at hand, so it asks for no role; the history names
    the person who got it.
    """

    help = "Give a log-in a role: viewer, field, lead, or nursery with --nursery CODE."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("username")
        parser.add_argument("role", choices=[role.value for role in Role])
        parser.add_argument("--nursery", metavar="CODE", default="")

    def handle(self, *args: Any, **options: Any) -> None:
        user = User.objects.filter(username=options["username"]).first()
        if user is None:
            raise CommandError(f"There is no log-in {options['username']!r}.")
        operator = Actor(user.pk, "The command line", frozenset({Role.LEAD}))
        try:
            nursery = find(Nursery, options["nursery"]) if options["nursery"] else None
            grant_role(operator, user, options["role"], nursery)
        except Trouble as trouble:
            raise CommandError(str(trouble)) from trouble
        self.stdout.write(f"{user.username} has the role {options['role']}.")
