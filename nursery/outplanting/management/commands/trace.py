"""manage.py trace CODE_OR_TAG: where did this coral come from?"""

from __future__ import annotations

import json
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from nursery.access.actors import console_actor
from nursery.core.errors import Trouble
from nursery.core.plain import plain
from nursery.outplanting.queries import trace
from nursery.outplanting.telling import tell


class Command(BaseCommand):
    help = "Trace a ramet back to its donor colony, by code, tag or place ('K-14 C7')."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("ramet", help="a code, a tag (old ones too) or a place")
        parser.add_argument("--json", action="store_true", help="the same answer as the API's")
        parser.add_argument(
            "--as", dest="username", help="see what this person may see; else positions are rounded"
        )

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            answer = trace(console_actor(options["username"]), options["ramet"])
        except Trouble as trouble:
            raise CommandError(f"{trouble} [{trouble.code}]") from trouble
        if options["json"]:
            self.stdout.write(json.dumps(plain(answer), indent=2, ensure_ascii=False))
        else:
            self.stdout.write(tell(answer))
