"""What happened later to the small programme of an invented reef, and corrections of it.

Together with `SMALL` there is one of every kind of file.
"""

from __future__ import annotations

from nursery.core.codes import next_codes
from tests.exchange.conftest import CUT, SMALL, WILD, Folder

LOT = next_codes("NB", 200, 10)[0]
"""A lot of interchangeable pieces in the open tray."""
LOOSE = next_codes("NB", 300, 2)[0]
ROCKS = next_codes("NB", 400, 2)[0]

LATER: dict[str, str] = {
    "structures": SMALL["structures"]
    + "ROCK,rock,1,3,,2021-12-01,TANK\nOLD,tray,,,,2021-12-01,TANK\n",
    "genets": SMALL["genets"] + "G-2,Cinder,PAP\nG-3,Ashes,PAP\n",
    "fragmentations": SMALL["fragmentations"] + "F-2,2022-07-02,10,N-02\nF-3,2022-07-03,2,ROCK\n",
    "fragmentation_sources": SMALL["fragmentation_sources"] + f"F-2,{WILD[1]},\nF-3,{WILD[1]},\n",
    "fragmentation_children": SMALL["fragmentation_children"]
    + "".join(f"F-2,{code},\n" for code in LOT)
    + "".join(f"F-3,{code},\n" for code in ROCKS),
    "stock_entries": "event,when,nursery,structure,origin,programme\n"
    "L-1,2021,NORTH,N-02,,\nL-2,2022-08-05,NORTH,OLD,found,\nL-3,2022-08-06,NORTH,OLD,received,"
    "Outer Banks\n",
    "legacy_ramets": SMALL["legacy_ramets"]
    .replace("taxon,tag", "taxon,tag,origin,parents")
    .replace("old 7", "old 7,,")
    + f"L-2,{LOOSE[0]},PAP,,,\nL-2,{LOOSE[1]},PAP,,settled,G-2; G-3\nL-3,,PAP,,,\n",
    "outplantings": SMALL["outplantings"] + "O-2,2023-02-02,ROSE-1,\n",
    "planted_structures": "event,structure,position\nO-2,ROCK,7\n",
    "plot_counts": "event,plot,genet,taxon,alive,dead\nV-1,ROSE-1,G-1,,3,1\nV-1,ROSE-1,,,3,\n",
    "counts": "event,when,done_by\nN-1,2022-09-01,Ansa Merrow\n",
    "counted_structures": "event,structure,lot,alive,dead,missing,note\n"
    "N-1,N-02,F-2,7,2,1,\nN-1,N-01,,40,,,half of them pale\n",
    "checks": "event,when,done_by\nQ-1,2022-07-11,Ansa Merrow\n",
    "findings": "event,ramet,state,cause,size_cm,note\n"
    f"Q-1,{CUT[0]},attached,,1.5,\nQ-1,N-01 C1,loose,,,pressed back\n"
    f"Q-1,{CUT[4]},dead,handling,,\n",
    "panels": "code,marker,loci\nTWO,microsatellite,Inv1 Inv2\n",
    "samplings": "event,when,laboratory\nS-1,2022-09-01,Invented Lab\n",
    "samples": f"event,ramet,colony,code,label\nS-1,{CUT[2]},,,x1\nS-1,,GULL-1,T-9,\n",
    "taggings": "event,when\nT-1,2022-09-02\n",
    "retagged_ramets": f"event,ramet,off,lost,on\nT-1,{CUT[2]},,,t1\nT-1,old 7,old 7,yes,t2\n",
    "relabellings": "event,when,genet,unknown\nR-1,2022-09-03,G-2,\nR-2,2022-09-04,,yes\n",
    "relabelled_ramets": f"event,ramet\nR-1,{CUT[3]}\nR-2,{CUT[4]}\n",
    "genet_merges": "event,when,kept,merged\nG-1,2022-09-05,G-2,G-3\n",
    "identifications": "event,when\nK-1,2022-09-06\n",
    "identified_ramets": f"event,ramet,found\nK-1,{CUT[4]},{LOOSE[0]}\n",
    "lifts": "event,when,structure\nU-1,2023-06-01,N-01\n",
    "lifted_ramets": f"event,ramet,cell\nU-1,{CUT[0]},E5\n",
    "endings": "event,when,fate,recipient\nE-1,2023-07-01,handed_over,Basin school\n",
    "ended_ramets": f"event,ramet,fate,cause\nE-1,{CUT[2]},,\nE-1,{CUT[5]},dead,cold\n",
    "structure_losses": "event,when\nS-1,2023-07-02\n",
    "lost_structures": "event,structure\nS-1,OLD\n",
}

CORRECTED: dict[str, str] = {
    "voids": "event,reason,together\nE-1,Never handed over,\n",
    "amendments": "event,reason,when,done_by,note\n"
    "F-3,Another mother,,,\nvisit/V-2,A day later,2023-05-03,Ilo Ferrand,from the log\n",
    "amended_sources": f"event,instead_of,ramet,used_up\nF-3,{WILD[1]},{WILD[1]},yes\n",
}
"""What was found to be otherwise; the rock's mother is in fact spent by the last cutting."""


def put_all(folder: Folder, *groups: dict[str, str]) -> None:
    """Write one of every file of events, and of corrections where they are named too."""
    for stem, text in {**SMALL, **LATER}.items():
        folder.put(stem, text)
    for group in groups:
        for stem, text in group.items():
            folder.put(stem, text)
