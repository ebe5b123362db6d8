"""`manage.py prepare_demo`: the invented programme with a log-in for each role, for a trial."""

from __future__ import annotations

import csv
from io import StringIO
from typing import Any

from django.conf import settings
from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError
from django.db.models import Max

from nursery.access.actions import grant_role, save_person
from nursery.access.actors import CONSOLE
from nursery.core.actor import Actor, Role
from nursery.core.models import Event, EventKind, User
from nursery.exchange.demo import plan
from nursery.exchange.loading.naming import uid_of
from nursery.lineage.models import Ramet
from nursery.lineage.words import Life, Place
from nursery.outplanting.queries import trace
from nursery.places.models import Nursery, Site

DEMO = settings.BASE_DIR / "fixtures" / "demo"
NURSERY = "KB"
"""Where the log-in with the nursery role works."""

PASSWORD = "lantern-banks"  # noqa: S105 - of invented people, in a trial only
LOG_INS: dict[Role, tuple[str, str, str]] = {
    Role.VIEWER: ("viewer", "Vida", "Harbour"),
    Role.FIELD: ("field", "Finn", "Marrand"),
    Role.NURSERY: ("nursery", "Nell", "Basin"),
    Role.LEAD: ("lead", "Leda", "Tallis"),
}


class Command(BaseCommand):
    """Makes a trial ready; what is there already is left as it is."""

    help = (
        "Load the invented programme and make a log-in for each role, where they are missing, and "
        "show what there is to see. Only with DEBUG=1: everybody knows the passwords."
    )

    def handle(self, *args: Any, **options: Any) -> None:
        if not settings.DEBUG:
            raise CommandError(
                "Only for a trial, with DEBUG=1: everybody knows the passwords of the demo."
            )
        loaded = _loaded()
        if not loaded and (Event.objects.exists() or Nursery.objects.exists()):
            raise CommandError(
                "This database holds other records. Give the demo one of its own: "
                "DATABASE_URL=sqlite:///var/demo.sqlite3"
            )
        lead = _first_lead()
        if not loaded:
            call_command("load_records", str(DEMO), username=lead.username, stdout=self.stdout)
        _others(lead)
        plan(_operator(lead))
        self._show()

    def _show(self) -> None:
        self._ask("trace", _worth_tracing())
        for code in Site.objects.values_list("code", flat=True):
            self._ask("diversity", code, until="all plots")
        self.stdout.write("Log-ins (the password of each is " + PASSWORD + "):")
        for role, (username, *_) in LOG_INS.items():
            where = f" at {NURSERY}" if role is Role.NURSERY else ""
            self.stdout.write(f"  {username:<8} has the role {role}{where}")

    def _ask(self, command: str, argument: str, until: str = "") -> None:
        """Show a command and its answer, up to the first line that holds `until`."""
        answer = StringIO()
        call_command(command, argument, stdout=answer)
        self.stdout.write(f"$ manage.py {command} {argument}")
        lines = answer.getvalue().splitlines()
        for number, line in enumerate(lines):
            self.stdout.write(line)
            if until and until in line:
                self.stdout.write(f"  … and {len(lines) - number - 1} lines, by plot and by taxon.")
                break
        self.stdout.write("")


def _worth_tracing() -> str:
    """The code of an outplant of the highest generation, whose trace is the shortest of those."""
    planted = Ramet.objects.filter(place=Place.PLOT, life=Life.LIVING, genet__isnull=False)
    highest = planted.aggregate(highest=Max("generation"))["highest"]
    codes = planted.filter(generation=highest).order_by("-code").values_list("genet", "code")
    # One of each genet will do: its sisters have the same descent.
    one_each = sorted(dict(codes).values())
    return min(one_each, key=lambda code: len(trace(CONSOLE, code).nodes))


def _loaded() -> bool:
    """Whether the demo is in: it is loaded all or nothing, so that one event tells."""
    with (DEMO / "visits.csv").open(encoding="utf-8", newline="") as file:
        key = next(csv.DictReader(file))["event"]
    return Event.objects.filter(uid=uid_of(EventKind.VISIT.word, key)).exists()


def _first_lead() -> User:
    """The lead's log-in, with its role and the back office."""
    username, first, last = LOG_INS[Role.LEAD]
    lead = User.objects.filter(username=username).first()
    if lead is None:
        lead = User(username=username, first_name=first, last_name=last, is_staff=True)
        lead.set_password(PASSWORD)
        lead.save()
    grant_role(_operator(lead), lead, Role.LEAD)
    return lead


def _others(lead: User) -> None:
    for role, (username, first, last) in LOG_INS.items():
        if role is Role.LEAD:
            continue
        user = User.objects.filter(username=username).first()
        if user is None:
            user = User(username=username, first_name=first, last_name=last)
            save_person(_operator(lead), user, password=PASSWORD)
        home = Nursery.objects.get(code=NURSERY) if role is Role.NURSERY else None
        grant_role(_operator(lead), user, role, home)


def _operator(lead: User) -> Actor:
    """Whoever runs this has the whole database at hand; the history names the lead."""
    return Actor(lead.pk, str(lead), frozenset({Role.LEAD}))
