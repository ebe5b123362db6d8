"""A nursery with plugs of several genets on plates, for tests of proposals."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from nursery.core.inputs import read
from nursery.diversity.proposing_inputs import ProposalIn
from nursery.lineage.models import Ramet
from nursery.places.models import Structure
from tests import factories as make

PLANNED = "2021-07-01"


@dataclass(frozen=True)
class Stock:
    """Plugs by the genet's code, and the plate that each genet's are on."""

    plugs: Mapping[str, list[Ramet]]
    plates: Mapping[str, Structure]

    @property
    def genets(self) -> list[str]:
        return list(self.plugs)


def stocked(programme: make.Programme, *numbers: int, plates: Sequence[int] = ()) -> Stock:
    """A genet for each number with so many plugs; `plates` says which plate each is on (a plate of
    its own for each unless said)."""
    by = programme.lead
    homes: dict[int, Structure] = {}
    plugs, places = {}, {}
    for at, number in enumerate(numbers):
        plate = plates[at] if plates else at
        if plate not in homes:
            homes[plate] = make.structure(by, programme.bay)
        home = homes[plate]
        colony = make.colony(by, programme.taxon, programme.reef)
        mothers = make.mothers(by, colony, programme.tray)
        kept = make.cut(by, [], number, into=home, used_up=mothers)
        genet = kept[0].genet
        assert genet is not None
        plugs[genet.code] = kept
        places[genet.code] = home
    return Stock(plugs, places)


def asked(programme: make.Programme, plugs: int, **values: Any) -> ProposalIn:
    """So many plugs for the programme's plot."""
    return read(ProposalIn, said(programme, plugs, **values))


def said(programme: make.Programme, plugs: int, **values: Any) -> dict[str, Any]:
    """The same as it is sent."""
    need = {"plot": programme.plot.code, "taxon": programme.taxon.code, "plugs": plugs}
    return {"title": "An invented day", "planned": PLANNED, "needs": [need], **values}
