"""How tests act on a plate's page: what its forms send."""

from __future__ import annotations

import json
import re
import uuid
from collections.abc import Iterable
from html import unescape
from typing import Any

from django.http import HttpResponse
from django.test import Client

from nursery.core.models import Event
from nursery.lineage.models import Ramet
from nursery.places.models import Structure

TODAY = "2021-07-01"


def page_of(row: Structure) -> str:
    return f"/structures/{row.code}/"


def pairs(ramets: Iterable[Ramet]) -> str:
    """Ramets with the cells in which they are seen, as the page's script sends them."""
    return ",".join(f"{ramet.cell or ''}={ramet.code}" for ramet in now(ramets))


def now(ramets: Iterable[Ramet]) -> list[Ramet]:
    """The same ramets as they are now, in the same order."""
    known = Ramet.objects.in_bulk([ramet.pk for ramet in ramets])
    return list(known.values())


def press(client: Client, row: Structure, act: str, /, **typed: Any) -> HttpResponse:
    """Send a form of the structure's page."""
    given = {"uid": str(uuid.uuid4()), "when": TODAY, "act": act, **typed}
    return client.post(page_of(row), given)


def data_of(html: str) -> dict[str, Any]:
    """What the page tells its scripts."""
    found = re.search(r'<div id="plate-data" hidden>(.*?)</div>', html, re.S)
    assert found is not None
    told: dict[str, Any] = json.loads(unescape(found[1]))
    return told


def written(kind: int) -> list[Event]:
    """The events of a kind, in the order of entry."""
    return list(Event.objects.filter(kind=kind).order_by("pk"))
