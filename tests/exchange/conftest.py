"""A folder to load from, and a small programme of an invented reef to put in it."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from nursery.core.actor import Actor
from nursery.core.codes import make_code, next_codes
from nursery.exchange.loading import Fault, Report, load
from tests import factories as f

WILD = next_codes("W", 1, 3)[0]
CUT = next_codes("NB", 1, 6)[0]

SMALL: dict[str, str] = {
    "reefs": "code,name,latitude,longitude\nGULL,Gull Reef,-10.84,86.31\n",
    "nurseries": "code,name,kind,series\nNORTH,North Basin,land,NB\n",
    "systems": "code,name,nursery\nLOOP,Long loop,NORTH\n",
    "bays": "code,system,kind\nTANK,LOOP,tank\n",
    "structures": (
        "code,kind,rows,columns,blocked,since,bay\n"
        "N-01,plate,11,11,A1 K1 A11 K11,2021-12-01,TANK\n"
        "N-02,tray,,,,2021-12-01,TANK\n"
    ),
    "sites": "code,name,reef\nROSE,Rose Ground,GULL\n",
    "plots": "code,site,depth_m,area_m2\nROSE-1,ROSE,5,25\n",
    "taxa": "code,name,group\nPAP,Papilio exempli,stony\n",
    "permits": "code,title,authority,valid_from,valid_until,taxa\n"
    "P-1,Collection,Reef Office,2022-01-01,2023-12-31,PAP\n",
    "genets": "code,name,taxon\nG-1,Ember,PAP\n",
    "colonies": "code,taxon,genet,reef,depth_m,latitude,longitude,uncertainty_m\n"
    "GULL-1,PAP,G-1,GULL,12 ft,-10.8412,86.3105,10\n"
    "GULL-2,PAP,,GULL,3.5,,,\n",
    "collections": "event,when,done_by,permits,colony,count,depth,note\n"
    "C-1,2022-03-04,Ansa Merrow; Ilo Ferrand,P-1,GULL-1,3,11 ft,Lee side only.\n",
    "collection_pieces": "event,code\n" + "".join(f"C-1,{code}\n" for code in WILD),
    "intakes": "event,when,collection,nursery,structure\nI-1,2022-03-05,C-1,NORTH,N-02\n",
    "intake_pieces": "event,ramet,outcome,cause\n"
    f"I-1,{WILD[0]},,\nI-1,2,arrived,\nI-1,{WILD[2]},dead,handling\n",
    "fragmentations": "event,when,count,structure\nF-1,2022-07-01,6,N-01\n",
    "fragmentation_sources": f"event,ramet,used_up\nF-1,{WILD[0]},yes\nF-1,{WILD[1]},\n",
    "fragmentation_children": "event,code,purpose\n"
    + "".join(f"F-1,{code},{'broodstock' if n == 5 else ''}\n" for n, code in enumerate(CUT)),
    "moves": "event,when,structure\nM-1,2022-08-01,N-02\n",
    "moved_ramets": f"event,ramet\nM-1,{CUT[5]}\n",
    "structure_moves": "event,when\nSM-1,2022-08-02\n",
    "moved_structures": "event,structure,bay\nSM-1,N-01,TANK\n",
    "stock_entries": "event,when,nursery,structure\nL-1,2021,NORTH,N-02\n",
    "legacy_ramets": f"event,code,taxon,tag\nL-1,{make_code('NB', 100)},PAP,old 7\n",
    "outplantings": "event,when,plot,fixing\nO-1,2023-02-01T09:30,ROSE-1,epoxy\n",
    "outplants": f"event,ramet,position\nO-1,{CUT[0]},1\nO-1,{CUT[1]},2\n",
    "visits": "event,when,site,reef\nV-1,2023-05-01,ROSE,\nV-2,2023-05-02,,GULL\n",
    "observations": "event,ramet,colony,condition,cause,tissue_lost,size\n"
    f"V-1,{CUT[0]},,alive,,10 %,4.5\nV-1,{CUT[1]},,dead,storm,,\nV-2,,GULL-1,alive,,,1.2 m\n",
}
"""One of everything; every name in it is invented."""


class Folder:
    """Real files in a temporary folder, and what comes of loading them."""

    def __init__(self, path: Path, actor: Actor) -> None:
        self.path = path
        self.actor = actor

    def put(self, stem: str, text: str | bytes) -> None:
        """Write a file; its name gets `.csv` unless it has an ending."""
        name = stem if "." in stem else f"{stem}.csv"
        data = text.encode() if isinstance(text, str) else text
        (self.path / name).write_bytes(data)

    def put_small(self, *stems: str) -> None:
        """Write the files of the small programme, or those named."""
        for stem in stems or SMALL:
            self.put(stem, SMALL[stem])

    def change(self, stem: str, old: str, new: str) -> None:
        """Write a file of the small programme with one text in it replaced."""
        assert SMALL[stem].count(old) == 1, (stem, old)
        self.put(stem, SMALL[stem].replace(old, new))

    def load(self, **options: Any) -> Report:
        return load(self.path, self.actor, **options)

    def faults(self) -> list[tuple[str, int | None, str, str]]:
        """Load, and say what is refused: file, row, column and code; nothing may be stored."""
        return [place(fault) for fault in self.load().faults]


def place(fault: Fault) -> tuple[str, int | None, str, str]:
    return fault.file, fault.row, fault.column, fault.code


@pytest.fixture
def folder(db: None, tmp_path: Path) -> Folder:
    return Folder(tmp_path, f.lead())
