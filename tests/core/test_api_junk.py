"""Whatever is sent, the answer is an entry or a problem, never a fault of ours."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest
from django.db import transaction
from rest_framework.test import APIClient

from nursery.core.actor import Role
from nursery.core.models import EventKind
from nursery.core.registers import editable_fields
from nursery.donors.models import DonorColony, Genet, Permit, Taxon
from nursery.places.models import Bay, Nursery, Plot, Reef, Site, Structure, System
from restoration.api_urls import router
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
    rock = make.structure(by, programme.bay, kind="rock", rows=1, columns=3)
    make.cut(by, [mother], into=rock)
    lot = make.cut(by, [mother], 3, into=programme.tray)[0]
    genet = make.colony(by, programme.taxon, programme.reef).genet
    (piece,) = make.stock(by, programme.nursery, [{"taxon": programme.taxon.code}], origin="found")
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
            "origin": "settled",
            "programme": "",
            "ramets": [
                {
                    "taxon": programme.taxon.code,
                    "origin": "legacy",
                    "donors": [],
                    "parents": [],
                    "generation": 1,
                    "pieces": 1,
                }
            ],
        },
        "outplantings": {
            "plot": programme.plot.code,
            "fixing": "tie",
            "other_purposes": False,
            "outplants": [{"ramet": mother.code, "position": "1", "cluster": "", "fixing": None}],
            "structures": [{"structure": rock.code, "position": "1", "cluster": ""}],
        },
        "lifts": {
            "structure": plate,
            "packed": False,
            "ramets": [{"ramet": planted.code, "structure": plate, "cell": "D4"}],
        },
        "visits": {
            "site": programme.site.code,
            "reef": None,
            "observations": [
                {"ramet": planted.code, "condition": "alive", "tissue_lost": 1, "size": 2}
            ],
            "counts": [
                {
                    "plot": programme.plot.code,
                    "genet": None,
                    "taxon": programme.taxon.code,
                    "alive": 1,
                    "dead": 0,
                    "missing": 0,
                }
            ],
        },
        "checks": {
            "findings": [
                {
                    "ramet": mother.code,
                    "state": "dead",
                    "cause": "cold",
                    "size_cm": 2,
                    "note": "",
                }
            ],
        },
        "samplings": {
            "laboratory": "A bench",
            "samples": [
                {
                    "ramet": mother.code,
                    "colony": None,
                    "code": "JUNK-1",
                    "label": "tube 1",
                    "ended": False,
                }
            ],
        },
        "endings": {
            "fate": "dead",
            "cause": "cold",
            "recipient": "",
            "into": None,
            "ramets": [{"ramet": mother.code, "fate": "dead", "cause": "cold"}],
        },
        "counts": {
            "counts": [
                {
                    "structure": programme.tray.code,
                    "lot": str(lot.born.uid),
                    "alive": 1,
                    "dead": 1,
                    "missing": 1,
                    "cause": None,
                    "note": "",
                }
            ],
        },
        "structure-losses": {"structures": [{"structure": plate}]},
        "taggings": {
            "ramets": [{"ramet": mother.code, "off": None, "lost": False, "on": "T9"}],
        },
        "relabellings": {
            "genet": genet.code,
            "unknown": False,
            "ramets": [{"ramet": mother.code}],
        },
        "genet-merges": {"kept": genet.code, "merged": programme.colony.genet.code},
        "identifications": {
            "ramets": [
                {"ramet": mother.code, "found": piece.code, "structure": plate, "cell": "E5"}
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


EVENTS = (
    "collections",
    "intakes",
    "fragmentations",
    "moves",
    "structure-moves",
    "stock-entries",
    "outplantings",
    "lifts",
    "visits",
    "checks",
    "samplings",
    "endings",
    "counts",
    "structure-losses",
    "taggings",
    "relabellings",
    "genet-merges",
    "identifications",
)


def test_every_endpoint_of_events_is_given_junk() -> None:
    kinds = {cls.kind: name for name, cls, _ in router.registry if hasattr(cls, "kind")}
    assert set(kinds) == set(EventKind)
    assert sorted(kinds.values()) == sorted(EVENTS)


@pytest.mark.parametrize("name", EVENTS)
def test_junk_in_an_event_is_no_fault_of_ours(name: str) -> None:
    header = {"uid": None, "when": "2021-07-01", "done_by": [], "permits": [], "note": ""}
    entry = header | entries(make.programme())[name]
    endure(f"/api/{name}/", entry)


@pytest.mark.parametrize("name", ["relabellings", "genet-merges"])
def test_junk_in_a_preview_is_no_fault_of_ours(name: str) -> None:
    entry = {"when": "2021-07-01", "note": ""} | entries(make.programme())[name]
    api = make.client(Role.LEAD)
    address = f"/api/{name}/preview/"
    assert answered(api, address, entry) == 200
    assert {answered(api, address, body) for body in spoiled(entry)} <= {200, 400}


CORRECTIONS: dict[str, dict[str, Any]] = {
    "void": {"reason": "a slip", "together": True, "preview": False},
    "restore": {"reason": "a slip", "preview": False},
    "amend": {
        "reason": "a slip",
        "preview": False,
        "when": "2021-03-02",
        "done_by": [],
        "permits": [],
        "note": "",
        "colony": None,
        "plot": None,
        "genet": None,
        "sources": [{"instead_of": "?", "ramet": "?", "used_up": None}],
    },
    "undo-amendment": {"reason": "a slip", "preview": False},
}


@pytest.mark.parametrize("name", CORRECTIONS)
def test_junk_in_a_correction_is_no_fault_of_ours(name: str) -> None:
    programme = make.programme()
    mother, other = programme.mothers(2)
    (child,) = make.cut(programme.lead, [mother])
    api = make.client(Role.LEAD)
    event = f"/api/events/{child.born.uid}/"
    body = dict(CORRECTIONS[name])
    if name == "restore":
        assert api.post(f"{event}void/", {"reason": "a slip"}).status_code == 200
    elif name == "amend":
        # These three belong to other kinds of events.
        body = {key: value for key, value in body.items() if key not in ("colony", "plot", "genet")}
        body["sources"] = [{"instead_of": mother.code, "ramet": other.code, "used_up": False}]
    elif name == "undo-amendment":
        assert api.post(f"{event}amend/", {"reason": "a slip", "note": "x"}).status_code == 200
    assert answered(api, f"{event}{name}/", body) == 200
    whole = CORRECTIONS[name] | body
    assert {answered(api, f"{event}{name}/", sent) for sent in spoiled(whole)} <= {200, 400}


@pytest.mark.parametrize("name", ["settle", "take-back"])
def test_junk_in_what_is_settled_is_no_fault_of_ours(name: str) -> None:
    body = {"code": "pooled", "thing": "x", "reason": "y"}
    if name == "take-back":
        del body["reason"]
    api = make.client(Role.LEAD)
    for sent in spoiled(body):
        assert answered(api, f"/api/unsettled/{name}/", sent) == 400
