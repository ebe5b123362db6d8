"""Corrections from files: carried out once, after all events, in the order of their files."""

from __future__ import annotations

import pytest

from nursery.core.models import Correction, Event, Mend
from nursery.exchange.loading.naming import uid_of
from nursery.lineage.models import Ramet
from nursery.lineage.words import Life
from nursery.outplanting.actions.correct import restore
from nursery.outplanting.corrections import RestoreIn
from tests import factories as f
from tests.exchange.conftest import CUT, WILD, Folder
from tests.exchange.later import CORRECTED, put_all
from tests.refusals import everything_stored
from tests.verified import nothing_wrong


def event(kind: str, key: str) -> Event:
    return Event.objects.get(uid=uid_of(kind, key))


def test_corrections_are_carried_out_after_the_events(folder: Folder) -> None:
    put_all(folder, CORRECTED)
    report = folder.load()
    assert list(report.lines()) == []
    assert report.tallies["voids"].new == 1
    assert report.tallies["amendments"].new == 2
    assert not event("ending", "E-1").live
    assert Ramet.objects.get(code=CUT[2]).life == Life.LIVING
    visit = event("visit", "V-2")
    assert (str(visit.when), visit.people, visit.note) == (
        "2023-05-03",
        ["Ilo Ferrand"],
        "from the log",
    )
    assert Ramet.objects.get(code=WILD[1]).life == Life.USED_UP
    nothing_wrong()


def test_the_same_corrections_twice_change_nothing(folder: Folder) -> None:
    put_all(folder, CORRECTED)
    folder.load()
    before = everything_stored()
    report = folder.load()
    assert list(report.lines()) == []
    assert everything_stored() == before
    assert (report.tallies["voids"].unchanged, report.tallies["amendments"].unchanged) == (1, 2)


def test_corrections_may_come_after_their_events_in_a_folder_of_their_own(folder: Folder) -> None:
    put_all(folder)
    folder.load()
    for path in folder.path.iterdir():
        path.unlink()
    for stem, text in CORRECTED.items():
        folder.put(stem, text)
    assert list(folder.load().lines()) == []
    assert not event("ending", "E-1").live


def test_a_check_of_corrections_stores_nothing(folder: Folder) -> None:
    put_all(folder, CORRECTED)
    before = everything_stored()
    report = folder.load(check=True)
    assert list(report.lines()) == []
    assert report.tallies["amendments"].new == 2
    assert everything_stored() == before


def test_progress_counts_corrections_too(folder: Folder) -> None:
    put_all(folder, CORRECTED)
    told: list[tuple[int, int]] = []
    folder.load(progress=lambda done, known: told.append((done, known)))
    assert told == sorted(told)
    assert told[-1][0] == told[-1][1]


def test_what_people_restored_since_then_stays_as_they_left_it(folder: Folder) -> None:
    put_all(folder, CORRECTED)
    folder.load()
    ending = event("ending", "E-1")
    restore(folder.actor, RestoreIn(event=ending.uid, reason="it was after all"))
    assert list(folder.load().lines()) == []
    ending.refresh_from_db()
    assert ending.live


def test_an_amendment_that_says_otherwise_now_is_made_as_well(folder: Folder) -> None:
    put_all(folder, CORRECTED)
    folder.load()
    folder.put("amendments", CORRECTED["amendments"].replace("2023-05-03", "2023-05-04"))
    report = folder.load()
    assert list(report.lines()) == []
    assert (report.tallies["amendments"].new, report.tallies["amendments"].unchanged) == (1, 1)
    visit = event("visit", "V-2")
    assert str(visit.when) == "2023-05-04"
    assert Correction.objects.filter(event=visit, mend=Mend.AMENDED).count() == 2


def test_what_is_voided_together_is_known_by_one_uuid(folder: Folder) -> None:
    folder.put_small()
    folder.put("voids", "event,reason,together\nO-1,Another site,yes\n")
    assert list(folder.load().lines()) == []
    rows = Correction.objects.all()
    assert {row.event for row in rows} == {event("outplanting", "O-1"), event("visit", "V-1")}
    assert len({row.together for row in rows}) == 1
    before = everything_stored()
    assert list(folder.load().lines()) == []
    assert everything_stored() == before


def test_what_is_in_the_way_is_told_with_the_row(folder: Folder) -> None:
    folder.put_small()
    folder.put("voids", "event,reason\nO-1,Another site\n")
    before = everything_stored()
    (fault, *_) = folder.load().faults
    assert (fault.file, fault.row) == ("voids.csv", 2)
    assert "1 February 2023" in fault.message
    assert "1 May 2023" in fault.message
    assert everything_stored() == before


def test_a_uid_names_its_event(folder: Folder) -> None:
    folder.put_small()
    uid = uid_of("move", "M-1")
    folder.put("amendments", f"event,reason,note\n{uid},Forgotten,by lamplight\n")
    assert list(folder.load().lines()) == []
    assert event("move", "M-1").note == "by lamplight"


def test_a_structure_that_its_file_sets_up_is_named_by_its_code(folder: Folder) -> None:
    folder.put_small()
    folder.put("amendments", "event,reason,when\nstructure_standing/N-01,Earlier,2021-11-01\n")
    assert list(folder.load().lines()) == []
    assert str(event("structure_standing", "N-01").when) == "2021-11-01"


def test_one_name_of_two_events_has_to_say_which(folder: Folder) -> None:
    folder.put_small("reefs", "taxa")
    folder.put("visits", "event,when,reef\n1,2023-05-01,GULL\n")
    folder.put("collections", "event,when,reef,taxon,count\n1,2023-05-01,GULL,PAP,2\n")
    folder.put("voids", "event,reason\n1,A slip\n")
    (fault,) = folder.load().faults
    assert (fault.file, fault.row, fault.column, fault.code) == (
        "voids.csv",
        2,
        "event",
        "several_events",
    )
    assert "collection/1" in fault.message
    assert "visit/1" in fault.message
    folder.put("voids", "event,reason\nvisit/1,A slip\n")
    assert list(folder.load().lines()) == []
    assert (event("visit", "1").live, event("collection", "1").live) == (False, True)


@pytest.mark.parametrize(
    ("stem", "text", "place"),
    [
        ("voids", "event,reason\nX-9,A slip\n", (2, "event", "unknown_event")),
        ("voids", "event,reason\n,A slip\n", (2, "event", "required")),
        ("voids", "event,reason\nV-1,\n", (2, "reason", "required")),
        ("voids", "event,reason\nV-1,A slip\nV-1,Again\n", (3, "event", "event_twice")),
        ("voids", "event,reason\nV-1,A slip\nvisit/V-1,Again\n", (3, "event", "voided_already")),
        ("voids", "event\nV-1\n", (1, "reason", "missing_column")),
        ("amendments", "event,reason\nV-1,A slip\n", (2, "", "nothing_amended")),
        ("amendments", "event,reason,when\nV-1,A slip,soon\n", (2, "when", "date_malformed")),
        ("amendments", "event,reason,plot\nV-1,A slip,ROSE-1\n", (2, "plot", "not_of_this_kind")),
        ("amended_sources", "event,instead_of\nF-1,x\n", (None, "", "missing_file")),
    ],
)
def test_a_correction_that_cannot_be_taken_is_named(
    folder: Folder, stem: str, text: str, place: tuple[int | None, str, str]
) -> None:
    folder.put_small()
    folder.put(stem, text)
    before = everything_stored()
    assert folder.faults() == [(f"{stem}.csv", *place)]
    assert everything_stored() == before


def test_a_source_that_the_cutting_has_not_is_named_in_its_own_file(folder: Folder) -> None:
    folder.put_small()
    folder.put("amendments", "event,reason\nF-1,Another mother\n")
    folder.put("amended_sources", f"event,instead_of,ramet\nF-1,{WILD[2]},{WILD[1]}\n")
    assert folder.faults() == [("amended_sources.csv", 2, "instead_of", "not_a_source")]


def test_sources_of_an_amendment_that_is_not_there_are_strays(folder: Folder) -> None:
    folder.put_small()
    folder.put("amendments", "event,reason,note\nV-1,Forgotten,windy\n")
    folder.put("amended_sources", f"event,instead_of,ramet\nF-1,{WILD[0]},{WILD[1]}\n")
    assert folder.faults() == [("amended_sources.csv", 2, "event", "unknown_event")]


def test_a_correction_of_a_refused_event_only_leans_on_it(folder: Folder) -> None:
    folder.put_small()
    folder.change("visits", "V-2,2023-05-02,,GULL", "V-2,2023-05-02,,NOWHERE")
    folder.put("voids", "event,reason\nvisit/V-2,A slip\n")
    report = folder.load()
    assert [fault.code for fault in report.faults] == ["unknown_reef"]
    assert [(fault.file, fault.row) for fault in report.leaning if fault.file == "voids.csv"] == [
        ("voids.csv", 2)
    ]


def test_an_amendment_with_an_unreadable_row_is_not_made_in_part(folder: Folder) -> None:
    folder.put_small()
    folder.put("amendments", "event,reason,note\nF-1,Two slips,windy\n")
    folder.put("amended_sources", "event,instead_of,used_up\nF-1,=1+1,yes\n")
    assert folder.faults() == [("amended_sources.csv", 2, "instead_of", "formula_text")]


def test_somebody_who_did_not_enter_it_corrects_nothing(folder: Folder) -> None:
    folder.put_small("reefs")
    folder.put("visits", "event,when,reef\nV-1,2023-05-01,GULL\n")
    folder.load()
    for path in folder.path.iterdir():
        path.unlink()
    folder.actor = f.field()
    folder.put("voids", "event,reason\nV-1,A slip\n")
    assert folder.faults() == [("voids.csv", 2, "", "not_yours")]
