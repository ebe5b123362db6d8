"""Whatever is sent, the answer is an entry or a problem, never a fault of ours."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest
from django.db import transaction
from rest_framework.test import APIClient

from nursery.core.actor import Role
from nursery.core.registers import editable_fields
from nursery.donors.models import DonorColony, Genet, Permit, Taxon
from nursery.places.models import Bay, Nursery, Plot, Reef, Site, Structure, System
from tests import factories as make

pytestmark = pytest.mark.django_db

JUNK: list[Any] = [
    None,
    "",
    -1,
    10**30,
    1e300,
    True,
    {"a": [1]},
    "x" * 5000,
    "99999999",
    "2021-03-04/2021-03-01",
    "\u202e'; --",
    ["x"] * 1100,
]

REGISTERS = {
    "reefs": Reef,
    "nurseries": Nursery,
    "systems": System,
    "bays": Bay,
    "structures": Structure,
    "sites": Site,
    "plots": Plot,
    "taxa": Taxon,
    "permits": Permit,
    "genets": Genet,
    "donors": DonorColony,
}


def row(programme: make.Programme, name: str) -> dict[str, Any]:
    """A good row of a register, with every field that it takes."""
    known = {
        "code": "X9",
        "name": "Spur",
        "title": "Collecting",
        "authority": "Harbour",
        "kind": {"nurseries": "land", "bays": "tank"}.get(name, "plate"),
        "rank": "genus",
        "group": "soft",
        "status": "presumed",
        "timezone": "UTC",
        "latitude": "7.3",
        "longitude": "134.4",
        "rows": 5,
        "columns": 5,
        "blocked": [],
        "nursery": programme.nursery.code,
        "system": programme.bay.system.code,
        "site": programme.site.code,
        "taxon": programme.taxon.code,
        "reef": programme.reef.code,
        "genet": programme.colony.genet.code,
        "taxa": [programme.taxon.code],
        "reefs": [],
        "sites": [],
    }
    fields = list(editable_fields(REGISTERS[name]))
    fields += {"donors": ["latitude", "longitude", "uncertainty_m"], "nurseries": ["series"]}.get(
        name, []
    )
    texts = ("note", "panel")
    return {field: known.get(field, "" if field in texts else None) for field in fields}


def entries(programme: make.Programme) -> dict[str, dict[str, Any]]:
    """One good entry of each kind of event."""
    by = programme.lead
    taken = make.collection(by, programme.colony)
    mother = programme.mother()
    planted = programme.outplants(1)[0]
    plate = programme.plate.code
    return {
        "collections": {
            "reef": programme.reef.code,
            "taxon": programme.taxon.code,
            "pieces": [{"code": None, "tag": "T1", "note": ""}],
            "latitude": "7.3",
            "longitude": "134.4",
            "uncertainty_m": 5,
            "depth": 3,
            "piece_size": 4,
            "share_taken": 5,
            "count": 1,
            "series": None,
        },
        "intakes": {
            "collection": str(taken.event.uid),
            "nursery": programme.nursery.code,
            "structure": plate,
            "pieces": [{"ramet": "1", "outcome": "arrived", "cause": None, "cell": "A1"}],
        },
        "fragmentations": {
            "sources": [{"ramet": mother.code, "used_up": False}],
            "count": None,
            "structure": plate,
            "children": [{"cell": "B2", "pieces": 1, "base": "", "purpose": "reserve"}],
        },
        "moves": {
            "structure": plate,
            "packed": False,
            "ramets": [{"ramet": mother.code, "structure": plate, "cell": "C3"}],
        },
        "structure-moves": {
            "structures": [
                {"structure": plate, "bay": programme.bay.code, "parent": None, "plot": None}
            ],
        },
        "stock-entries": {
            "nursery": programme.nursery.code,
            "ramets": [{"taxon": programme.taxon.code, "donors": [], "generation": 1, "pieces": 1}],
        },
        "outplantings": {
            "plot": programme.plot.code,
            "fixing": "tie",
            "other_purposes": False,
            "outplants": [{"ramet": mother.code, "position": "1", "cluster": "", "fixing": None}],
        },
        "visits": {
            "site": programme.site.code,
            "reef": None,
            "observations": [
                {"ramet": planted.code, "condition": "alive", "tissue_lost": 1, "size": 2}
            ],
        },
    }


def spoiled(entry: dict[str, Any]) -> Iterator[dict[str, Any]]:
    """The entry with one value after the other replaced by junk, in its rows too."""
    for name in entry:
        for junk in JUNK:
            yield {**entry, name: junk}
        value = entry[name]
        if isinstance(value, list) and value and isinstance(value[0], dict):
            for inner in spoiled(value[0]):
                yield {**entry, name: [inner]}


def answered(api: APIClient, address: str, body: dict[str, Any]) -> int:
    """Send it, take back what it did, and give the status; a fault of ours raises here."""
    with transaction.atomic():
        status: int = api.post(address, body).status_code
        transaction.set_rollback(True)
    return status


def endure(address: str, entry: dict[str, Any]) -> None:
    """The entry itself is taken; with junk in any place it is taken or refused."""
    api = make.client(Role.LEAD)
    assert answered(api, address, entry) == 201
    assert {answered(api, address, body) for body in spoiled(entry)} <= {201, 400}


@pytest.mark.parametrize("name", REGISTERS)
def test_junk_in_a_register_is_no_fault_of_ours(name: str) -> None:
    endure(f"/api/{name}/", row(make.programme(), name))


@pytest.mark.parametrize(
    "name",
    [
        "collections",
        "intakes",
        "fragmentations",
        "moves",
        "structure-moves",
        "stock-entries",
        "outplantings",
        "visits",
    ],
)
def test_junk_in_an_event_is_no_fault_of_ours(name: str) -> None:
    header = {"uid": None, "when": "2021-07-01", "done_by": [], "permits": [], "note": ""}
    entry = header | entries(make.programme())[name]
    endure(f"/api/{name}/", entry)
