"""manage.py diversity SITE: how many different individuals does a site hold?"""

from __future__ import annotations

import json
from datetime import date
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from nursery.access.actors import console_actor
from nursery.core.errors import Trouble
from nursery.core.plain import plain
from nursery.diversity.queries import diversity
from nursery.diversity.telling import tell
from nursery.donors.queries import taxon
from nursery.outplanting.counts import Stand
from nursery.places.queries import site


class Command(BaseCommand):
    help = "Report the genet diversity of an outplant site, whole, by plot and by taxon."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("site", help="the site's code")
        parser.add_argument("--taxon", help="a taxon's code or name; default all")
        parser.add_argument(
            "--state", choices=[state.value for state in Stand], default=Stand.ALIVE.value
        )
        parser.add_argument("--as-of", help="a day, 2026-03-31; default today")
        parser.add_argument("--json", action="store_true", help="the same answer as the API's")
        parser.add_argument("--as", dest="username", help="ask as this person")

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            report = diversity(
                console_actor(options["username"]),
                site(options["site"]),
                taxon=taxon(options["taxon"]) if options["taxon"] else None,
                state=Stand(options["state"]),
                as_of=date.fromisoformat(options["as_of"]) if options["as_of"] else None,
            )
        except Trouble as trouble:
            raise CommandError(f"{trouble} [{trouble.code}]") from trouble
        except ValueError as error:
            raise CommandError(f"--as-of is a day such as 2026-03-31: {error}") from error
        if options["json"]:
            self.stdout.write(json.dumps(plain(report), indent=2, ensure_ascii=False))
        else:
            self.stdout.write(tell(report))
