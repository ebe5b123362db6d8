"""Rows that cannot be: each is named by file, row, column and reason, and nothing is stored."""

from __future__ import annotations

import pytest

from nursery.exchange.loading.report import LISTED, LISTED_LEANING, Fault, Report
from tests.exchange.conftest import CUT, SMALL, WILD, Folder, place
from tests.refusals import everything_stored


def in_small(folder: Folder, stem: str, old: str, new: str) -> list[tuple[str, int, str, str]]:
    """What is refused of the small programme with one text in it replaced."""
    folder.put_small()
    folder.change(stem, old, new)
    before = everything_stored()
    report = folder.load()
    assert everything_stored() == before
    return [place(fault) for fault in report.faults]


@pytest.mark.parametrize(
    ("stem", "old", "new", "column", "code"),
    [
        ("reefs", "-10.84,86.31", "86.31,-190", "longitude", "longitude_out_of_range"),
        ("reefs", "-10.84,86.31", "96.31,-10.84", "latitude", "coordinates_swapped"),
        ("reefs", "-10.84,86.31", "95,120", "latitude", "latitude_out_of_range"),
        ("reefs", "-10.84,", "10.84 E,", "latitude", "coordinates_swapped"),
        ("reefs", "-10.84,", "ten,", "latitude", "coordinate_malformed"),
        ("reefs", "GULL,Gull", "GU LL,Gull", "code", "code_malformed"),
        ("reefs", "Gull Reef", "", "name", "required"),
        ("nurseries", "land", "moon", "kind", "not_a_choice"),
        ("nurseries", "land,NB", "land,N5", "series", "series_malformed"),
        ("structures", "A1 K1", "A1 Z99", "blocked", "cell_outside"),
        ("structures", "plate,11,11", "plate,11,", "columns", "malformed"),
        ("structures", "A11 K11,2021-12-01", "A11 K11,", "since", "required"),
        ("structures", "A11 K11,2021-12-01", "A11 K11,2921-12-01", "since", "date_in_future"),
        ("plots", "ROSE-1,ROSE,5", "ROSE-1,ROSE,-5", "depth_m", "depth_above_surface"),
        ("permits", "2022-01-01", "soon", "valid_from", "malformed"),
        ("colonies", "-10.8412,86.3105", "86.3105,-10.8412", "latitude", "coordinates_swapped"),
        ("colonies", "-10.8412,86.3105", "-10.8412,", "longitude", "required"),
        ("colonies", "12 ft", "-12 ft", "depth_m", "depth_above_surface"),
        ("colonies", "12 ft", "12 fathoms", "depth_m", "unit_unknown"),
        ("colonies", "86.3105,10", "86.3105,0", "uncertainty_m", "out_of_range"),
        ("collections", "2022-03-04", "2122-03-04", "when", "date_in_future"),
        ("collections", "2022-03-04", "4.3.2022", "when", "date_malformed"),
        ("collections", "2022-03-04", "2022-02-30", "when", "date_impossible"),
        ("collections", "11 ft", "-11 ft", "depth", "depth_above_surface"),
        ("collections", "GULL-1,3", "GULL-1,4", "", "count_differs"),
        ("collections", "P-1", "P-9", "permits", "unknown_permit"),
        ("collections", "GULL-1,3", "GULL-1,three", "count", "not_a_number"),
        ("intakes", "C-1,NORTH", "C-7,NORTH", "collection", "unknown_collection"),
        ("intakes", "2022-03-05", "2022-03-01", "collection", "before_collection"),
        ("visits", "ROSE,\n", "ROSE,GULL\n", "", "site_or_reef"),
    ],
)
def test_a_value_that_cannot_be(
    folder: Folder, stem: str, old: str, new: str, column: str, code: str
) -> None:
    found = in_small(folder, stem, old, new)
    assert (f"{stem}.csv", 2, column, code) in found
    assert {(file, row) for file, row, *_ in found} == {(f"{stem}.csv", 2)}


@pytest.mark.parametrize(
    ("stem", "old", "new", "row", "column", "code"),
    [
        ("collection_pieces", WILD[1], "W0002-X", 3, "code", "wrong_check_character"),
        ("collection_pieces", WILD[1], WILD[0], 3, "code", "named_twice"),
        ("intake_pieces", "I-1,2,arrived", "I-1,2,flown", 3, "outcome", "not_a_choice"),
        ("intake_pieces", "dead,handling", "lost,handling", 4, "", "cause_without_death"),
        ("fragmentation_sources", ",yes", ",perhaps", 2, "used_up", "not_yes_or_no"),
        (
            "fragmentation_children",
            f"{CUT[3]},",
            f"{CUT[3]},decoration",
            5,
            "purpose",
            "not_a_choice",
        ),
        ("moved_ramets", CUT[5], CUT[5][:-1] + "A", 2, "ramet", "wrong_check_character"),
        ("moved_structures", "N-01,TANK", "N-77,TANK", 2, "structure", "unknown_structure"),
        ("legacy_ramets", "PAP,old", "XYZ,old", 2, "taxon", "unknown_taxon"),
        (
            "outplants",
            f"{CUT[1]},2\n",
            f"{CUT[1]},2\nO-1,{CUT[5]},3\n",
            4,
            "ramet",
            "not_for_planting",
        ),
        ("observations", "10 %", "110 %", 2, "tissue_lost", "percent_out_of_range"),
        ("observations", "GULL-1,alive", "GULL-9,alive", 4, "colony", "unknown_donorcolony"),
    ],
)
def test_a_row_of_an_event_is_named_itself(
    folder: Folder, stem: str, old: str, new: str, row: int, column: str, code: str
) -> None:
    assert in_small(folder, stem, old, new) == [(f"{stem}.csv", row, column, code)]


def test_a_date_before_what_it_needs_is_told_with_both_dates(folder: Folder) -> None:
    cut = in_small(folder, "fragmentations", "2022-07-01", "2022-01-01")
    assert cut[0] == ("fragmentation_sources.csv", 2, "ramet", "before_collection")
    message = folder.load().faults[0].message
    assert "2022-03-04" in message
    assert "2022-01-01" in message


def test_a_visit_before_the_planting_is_told_with_both_dates(folder: Folder) -> None:
    assert in_small(folder, "visits", "V-1,2023-05-01", "V-1,2023-01-01") == [
        ("observations.csv", 2, "ramet", "before_outplanting"),
        ("observations.csv", 3, "ramet", "before_outplanting"),
    ]


def test_the_value_stands_beside_the_reason(folder: Folder) -> None:
    folder.put("taxa", "code,name,group\nPAP,Papilio,fish\n")
    fault = folder.load().faults[0]
    assert fault.value == "fish"
    assert "corallimorph" in fault.message


def test_the_same_code_twice_in_one_file(folder: Folder) -> None:
    folder.put("taxa", "code,name,group\nPAP,Papilio,stony\npap,Other,soft\n")
    assert folder.faults() == [("taxa.csv", 3, "code", "code_twice")]


def test_the_same_event_twice_in_one_file(folder: Folder) -> None:
    folder.put_small("reefs")
    folder.put("visits", "event,when,reef\nV,2023-05-01,GULL\nV,2023-05-02,GULL\n")
    assert folder.faults() == [("visits.csv", 3, "event", "event_twice")]


def test_an_event_without_a_key(folder: Folder) -> None:
    folder.put_small("reefs")
    folder.put("visits", "event,when,reef\n,2023-05-01,GULL\n")
    assert folder.faults() == [("visits.csv", 2, "event", "required")]


def test_a_row_that_names_no_event(folder: Folder) -> None:
    folder.put_small()
    folder.put("outplants", SMALL["outplants"] + f"O-2,{CUT[2]},3\n,{CUT[3]},4\n")
    assert folder.faults() == [
        ("outplants.csv", 4, "event", "unknown_event"),
        ("outplants.csv", 5, "event", "unknown_event"),
    ]


def test_an_event_that_needs_rows_and_has_none(folder: Folder) -> None:
    folder.put_small()
    folder.put("moved_ramets", "event,ramet\n")
    assert folder.faults() == [("moves.csv", 2, "event", "required")]
    assert "moved_ramets.csv" in folder.load().faults[0].message


def test_an_outline_that_is_no_json(folder: Folder) -> None:
    folder.put("sites", 'code,name,outline\nROSE,Rose,"{polygon"\n')
    assert folder.faults() == [("sites.csv", 2, "outline", "malformed")]


def test_an_outline_is_kept_as_an_object(folder: Folder) -> None:
    outline = '{""type"": ""Polygon"", ""coordinates"": [[[86,-10],[87,-10],[87,-9],[86,-10]]]}'
    folder.put("sites", f'code,name,outline\nROSE,Rose,"{outline}"\n')
    assert folder.load().faults == []
    assert folder.load().tallies["sites"].unchanged == 1


def test_every_bad_row_is_named_in_one_run(folder: Folder) -> None:
    folder.put("taxa", "code,name,group\nA,Aa,fish\nB,Bb,stony\nC,,stony\nD,Dd,\n")
    folder.put("reefs", "code,name,latitude\nX,Xx,95\n")
    assert folder.faults() == [
        ("reefs.csv", 2, "latitude", "latitude_out_of_range"),
        ("taxa.csv", 2, "group", "not_a_choice"),
        ("taxa.csv", 4, "name", "required"),
        ("taxa.csv", 5, "group", "required"),
    ]


# What only leans on a refused row


def leaning(report: Report) -> list[str]:
    assert {fault.code for fault in report.leaning} <= {"leans_on_refused"}
    return sorted({fault.file for fault in report.leaning})


def test_what_leans_on_a_refused_register_row_is_told_apart(folder: Folder) -> None:
    folder.put_small()
    folder.change("reefs", "-10.84", "ten")
    report = folder.load()
    assert [place(fault) for fault in report.faults] == [
        ("reefs.csv", 2, "latitude", "coordinate_malformed")
    ]
    assert "colonies.csv" in leaning(report)
    assert "sites.csv" in leaning(report)
    assert "reefs.csv, row 2" in report.leaning[0].message


def test_what_leans_on_a_refused_event_is_told_apart(folder: Folder) -> None:
    folder.put_small()
    folder.change("collections", "2022-03-04", "not yet")
    report = folder.load()
    assert [fault.file for fault in report.faults] == ["collections.csv"]
    assert leaning(report) == [
        "fragmentation_sources.csv",
        "intakes.csv",
        "moved_ramets.csv",
        "observations.csv",
        "outplants.csv",
    ]


def test_what_leans_on_a_torn_row_of_an_event_is_told_apart(folder: Folder) -> None:
    folder.put_small()
    folder.change("fragmentation_children", f"F-1,{CUT[2]},", f"F-1,{CUT[2]}")
    report = folder.load()
    assert [place(fault) for fault in report.faults] == [
        ("fragmentation_children.csv", 4, "", "ragged_row")
    ]
    assert "outplants.csv" in leaning(report)


def test_what_leans_on_a_file_that_cannot_be_read_is_told_apart(folder: Folder) -> None:
    folder.put_small()
    folder.put("taxa", "code,nom,group\nPAP,Papilio,stony\n")
    report = folder.load()
    assert {fault.file for fault in report.faults} == {"taxa.csv"}
    assert "colonies.csv" in leaning(report)


def test_rows_of_a_refused_head_are_not_strays(folder: Folder) -> None:
    folder.put_small()
    folder.change("outplantings", "O-1,2023-02-01T09:30,ROSE-1,epoxy", "O-1,2023-02-01T09:30")
    report = folder.load()
    assert [fault.file for fault in report.faults] == ["outplantings.csv"]
    assert "outplants.csv" in leaning(report)


def test_a_fault_of_its_own_is_never_taken_for_a_leaning_one(folder: Folder) -> None:
    folder.put_small()
    folder.change("collections", "2022-03-04", "not yet")
    folder.change("observations", "storm", "boredom")
    report = folder.load()
    assert [place(fault) for fault in report.faults] == [
        ("collections.csv", 2, "when", "date_malformed"),
        ("observations.csv", 3, "cause", "not_a_choice"),
    ]


def test_more_faults_than_can_be_read_are_counted() -> None:
    report = Report()
    for row in range(LISTED + 7):
        report.add(Fault("taxa.csv", row, "name", "", "required", "missing"))
        report.add(Fault("genets.csv", row, "taxon", "", "leans_on_refused", "leans"))
    lines = list(report.lines())
    assert len(lines) == LISTED + 1 + LISTED_LEANING + 1
    assert lines[LISTED] == "… and 7 more faults."
    assert lines[-1] == f"… and {LISTED + 7 - LISTED_LEANING} more that only lean on refused rows."
    assert (report.refused, report.leaning_count) == (LISTED + 7, LISTED + 7)
