"""Loading the later kinds of events: lifts, endings, counts, losses, tags, labels, identities."""

from __future__ import annotations

from decimal import Decimal

import pytest

from nursery.core.models import Event, EventKind
from nursery.donors.models import Genet, GenetMerge
from nursery.exchange.loading.files import CORRECTIONS, EVENTS
from nursery.exchange.loading.naming import uid_of
from nursery.husbandry.models import Finding
from nursery.lineage.models import Ramet, Step, StructureCount, Tag
from nursery.lineage.words import Cause, Life, Origin, Place, What
from nursery.outplanting.models import Outplant, PlotCount
from nursery.places.models import Structure
from tests.exchange.conftest import CUT, SMALL, Folder
from tests.exchange.later import CORRECTED, LATER, LOOSE, LOT, ROCKS, put_all
from tests.refusals import everything_stored
from tests.verified import nothing_wrong


def ramet(code: str) -> Ramet:
    return Ramet.objects.get(code=code)


def load_all(folder: Folder) -> None:
    put_all(folder)
    report = folder.load()
    assert list(report.lines()) == []


def test_there_is_one_of_every_file() -> None:
    stems = {stem for item in (*EVENTS, *CORRECTIONS) for stem in (item.stem, *item.rows.values())}
    assert stems <= set(SMALL) | set(LATER) | set(CORRECTED)


def test_all_kinds_of_events_are_loaded_and_nothing_differs(folder: Folder) -> None:
    load_all(folder)
    assert set(Event.objects.values_list("kind", flat=True)) == set(EventKind)
    nothing_wrong()


def test_the_same_folder_twice_changes_nothing(folder: Folder) -> None:
    load_all(folder)
    before = everything_stored()
    again = folder.load()
    assert list(again.lines()) == []
    assert everything_stored() == before
    assert {tally.new for tally in again.tallies.values()} == {0}


def test_stock_is_of_the_origin_that_its_row_says_else_its_event(folder: Folder) -> None:
    load_all(folder)
    assert ramet(LOOSE[0]).origin == Origin.FOUND
    settled = ramet(LOOSE[1])
    assert settled.origin == Origin.SETTLED
    assert {row.genet.code for row in settled.parents.all()} == {"G-2", "G-3"}
    received = Ramet.objects.get(origin=Origin.RECEIVED)
    assert received.born.stock_entry.programme == "Outer Banks"


def test_a_rock_is_planted_with_all_that_lives_in_it(folder: Folder) -> None:
    load_all(folder)
    planted = Outplant.objects.filter(structure__code="ROCK").order_by("pk")
    assert [(row.ramet.code, row.position) for row in planted] == [(code, "7") for code in ROCKS]
    rock = Structure.objects.select_related("plot").get(code="ROCK")
    assert rock.plot is not None
    assert rock.plot.code == "ROSE-1"


def test_a_lot_is_named_by_the_key_of_its_cutting(folder: Folder) -> None:
    load_all(folder)
    of_lot, of_all = StructureCount.objects.order_by("pk")
    assert of_lot.lot is not None
    assert of_lot.lot.event.uid == uid_of("fragmentation", "F-2")
    assert (of_all.lot, of_all.alive, of_all.note) == (None, 40, "half of them pale")
    lives = Ramet.objects.filter(code__in=LOT).values_list("life", flat=True)
    assert sorted(lives) == [Life.LIVING] * 7 + [Life.DEAD] * 2 + [Life.LOST]


def test_plots_are_counted_by_genet_and_all_together(folder: Folder) -> None:
    load_all(folder)
    of_genet, of_all = PlotCount.objects.order_by("pk")
    assert of_genet.genet == Genet.objects.get(code="G-1")
    assert (of_genet.alive, of_genet.dead, of_all.alive, of_all.dead) == (3, 1, 3, None)


def test_tags_come_off_and_go_on(folder: Folder) -> None:
    load_all(folder)
    assert Tag.objects.get(text="T1").ramet == ramet(CUT[2])
    old = Tag.objects.get(text="OLD 7")
    assert (str(old.until), old.lost) == ("2022-09-02", True)
    assert Tag.objects.get(text="T2").ramet == old.ramet


def test_ramets_are_relabelled_and_genets_merged(folder: Folder) -> None:
    load_all(folder)
    assert ramet(CUT[3]).genet == Genet.objects.get(code="G-2")
    assert ramet(CUT[4]).genet is None
    merge = GenetMerge.objects.select_related("kept", "merged__canonical").get()
    assert merge.merged.canonical == merge.kept
    assert merge.event.uid == uid_of("genet_merge", "G-1")


def test_a_known_ramet_is_found_again(folder: Folder) -> None:
    load_all(folder)
    # In the old tray, which was lost in the end with all it held.
    assert ramet(LOOSE[0]).life == Life.IDENTIFIED
    assert ramet(CUT[4]).structure == Structure.objects.get(code="OLD")


def test_a_check_says_how_ramets_were_found(folder: Folder) -> None:
    """By code or by cell; the one that was found dead is found again later, alive."""
    load_all(folder)
    rows = Finding.objects.order_by("pk")
    assert [(row.ramet.code, row.get_state_display(), row.size_cm, row.note) for row in rows] == [
        (CUT[0], "attached", Decimal("1.5"), ""),
        (CUT[1], "loose", None, "pressed back"),
        (CUT[4], "dead", None, ""),
    ]
    dead = Step.objects.get(what=What.CHECKED_DEAD)
    assert (dead.ramet.code, dead.cause) == (CUT[4], Cause.HANDLING)


def test_outplants_are_lifted_and_ramets_end(folder: Folder) -> None:
    load_all(folder)
    lifted = ramet(CUT[0])
    assert (lifted.place, lifted.cell and lifted.cell.name) == (Place.STRUCTURE, "E5")
    assert ramet(CUT[2]).life == Life.HANDED_OVER
    dead = ramet(CUT[5])
    assert (dead.life, dead.get_cause_display()) == (Life.DEAD, "cold")


def test_a_lost_structure_takes_what_it_held(folder: Folder) -> None:
    load_all(folder)
    assert Structure.objects.get(code="OLD").lost
    lives = set(Ramet.objects.filter(structure__code="OLD").values_list("life", flat=True))
    assert lives == {Life.LOST, Life.IDENTIFIED}


@pytest.mark.parametrize(
    ("stem", "old", "new", "fault"),
    [
        ("lifted_ramets", f"U-1,{CUT[0]}", f"U-1,{CUT[3]}", (2, "ramet", "not_planted")),
        ("findings", f"{CUT[0]},attached", "NB9,attached", (2, "ramet", "unknown_ramet")),
        ("findings", "C1,loose,,", "C1,loose,cold,", (3, "", "cause_without_death")),
        ("findings", "dead,handling", "dying,handling", (4, "state", "not_a_choice")),
        ("ended_ramets", f"{CUT[5]},dead", f"{CUT[5]},fused", (3, "", "cause_without_death")),
        ("counted_structures", "F-2,7", "F-9,7", (2, "lot", "unknown_lot")),
        ("counted_structures", "7,2,1", "7,2,9", (2, "dead", "more_than_there")),
        ("retagged_ramets", "old 7,yes", "old 8,yes", (3, "off", "tag_not_on")),
        ("relabellings", "G-2,", "G-9,", (2, "genet", "unknown_genet")),
        ("relabellings", "G-2,", ",", (2, "", "genet_or_unknown")),
        ("genet_merges", "G-2,G-3", "G-2,G-2", (2, "merged", "merged_with_itself")),
        ("identified_ramets", f",{LOOSE[0]}", f",{CUT[0]}", (2, "found", "not_found_loose")),
        ("lost_structures", "S-1,OLD", "S-1,NONE", (2, "structure", "unknown_structure")),
        ("planted_structures", "ROCK,7", "NONE,7", (2, "structure", "unknown_structure")),
        ("plot_counts", "G-1,,3", "G-1,PAP,3", (2, "", "genet_or_taxon")),
        ("plot_counts", "ROSE-1,,,3", "ROSE-9,,,3", (3, "plot", "unknown_plot")),
        ("legacy_ramets", ",settled,", ",dreamt,", (4, "origin", "not_a_choice")),
    ],
)
def test_a_row_that_cannot_be_taken_is_named(
    folder: Folder, stem: str, old: str, new: str, fault: tuple[int, str, str]
) -> None:
    put_all(folder)
    assert LATER[stem].count(old) == 1
    folder.put(stem, LATER[stem].replace(old, new))
    before = everything_stored()
    row, column, code = fault
    assert (f"{stem}.csv", row, column, code) in folder.faults()
    assert everything_stored() == before


def test_a_lot_that_is_cut_after_its_count_names_both_dates(folder: Folder) -> None:
    put_all(folder)
    folder.put("counts", "event,when\nN-1,2022-06-30\n")
    (fault,) = [fault for fault in folder.load().faults if fault.column == "lot"]
    assert fault.code == "before_fragmentation"
    assert "2022-07-02" in fault.message
    assert "2022-06-30" in fault.message
