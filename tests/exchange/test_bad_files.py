"""Files that cannot be taken as they are, each written to disk as it would be found."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from nursery.exchange.loading import reading
from nursery.exchange.loading.reading import MAX_BYTES
from tests.exchange.conftest import SMALL, Folder
from tests.refusals import everything_stored

REEFS = SMALL["reefs"]
HEAD, ROW, _ = REEFS.split("\n")


def refused(folder: Folder, *expected: tuple[str, int | None, str, str]) -> None:
    """Exactly these faults, and nothing stored."""
    before = everything_stored()
    assert folder.faults() == list(expected)
    assert everything_stored() == before


# What people's programs write, and is right


@pytest.mark.parametrize(
    "text",
    [
        "\ufeff" + REEFS,
        REEFS.replace(",", ";"),
        REEFS.replace(",", "\t"),
        REEFS.replace("\n", "\r\n"),
        REEFS.replace("\n", "\r"),
        REEFS.rstrip("\n"),
        f"\n{HEAD}\n\n{ROW}\n\n,,,\n",
        '"code";"name";"latitude";"longitude"\nGULL;"Gull Reef";-10,84;86,31\n',
        f"Code, Name ,LATITUDE,Longitude,,\n{ROW},,\n",
    ],
    ids=["mark", "semicolons", "tabs", "crlf", "cr", "no end", "blank lines", "quoted", "spaced"],
)
def test_usual_habits_of_writing_are_read(folder: Folder, text: str) -> None:
    folder.put("reefs", text)
    report = folder.load()
    assert report.faults == []
    assert report.tallies["reefs"].new == 1


def test_a_separator_in_a_quoted_cell_does_not_decide(folder: Folder) -> None:
    folder.put("reefs", 'code,name,note\nGULL,Gull,"a; b; c; d; e; f"\n')
    assert folder.load().faults == []


def test_a_note_may_have_several_lines_whatever_the_line_ends(folder: Folder) -> None:
    folder.put("reefs", 'code,name,note\r\nGULL,Gull,"one\r\ntwo"\r\nTERN,,\r\n')
    # The row after it is row 3, as a spreadsheet numbers it.
    assert folder.faults() == [("reefs.csv", 3, "name", "required")]


# Folders and names


def test_a_folder_that_is_not_there(folder: Folder) -> None:
    folder.path = folder.path / "nowhere"
    assert [code for *_, code in folder.faults()] == ["no_folder"]


def test_a_folder_without_any_known_file(folder: Folder) -> None:
    folder.put("notes.md", "nothing to load")
    assert [code for *_, code in folder.faults()] == ["no_known_file"]


@pytest.mark.parametrize("name", ["reef.csv", "Reefs.csv", "reefs.txt", "colonies.xlsx"])
def test_an_unknown_file_is_named_with_those_that_are_known(folder: Folder, name: str) -> None:
    folder.put_small("taxa")
    folder.put(name, REEFS)
    refused(folder, (name, None, "", "unknown_file"))
    assert "reefs.csv" in folder.load().faults[0].message


def test_hidden_files_notes_and_folders_are_left_alone(folder: Folder) -> None:
    folder.put_small("reefs")
    folder.put(".~lock.reefs.csv", "x")
    folder.put("README.md", "x")
    (folder.path / "older").mkdir()
    assert folder.load().faults == []


def test_rows_of_events_need_the_file_of_the_events(folder: Folder) -> None:
    folder.put_small("reefs", "collection_pieces")
    refused(folder, ("collection_pieces.csv", None, "", "missing_file"))


def test_a_file_of_200_mb_is_refused_without_being_read(
    folder: Folder, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = folder.path / "reefs.csv"
    with path.open("wb") as file:
        os.truncate(file.fileno(), 200 * 1024 * 1024)

    def opened(self: Path, *args: object, **options: object) -> None:
        raise AssertionError("it was opened")

    with monkeypatch.context() as patch:
        patch.setattr(Path, "open", opened)
        assert folder.faults() == [("reefs.csv", None, "", "file_too_large")]


def test_a_file_of_just_the_limit_is_looked_at(folder: Folder) -> None:
    with (folder.path / "reefs.csv").open("wb") as file:
        os.truncate(file.fileno(), MAX_BYTES)
    refused(folder, ("reefs.csv", None, "", "not_text"))


# Headers


def test_a_missing_column(folder: Folder) -> None:
    folder.put("reefs", "code,latitude\nGULL,-10\n")
    refused(folder, ("reefs.csv", 1, "name", "missing_column"))


def test_an_unknown_column_is_named_with_those_there_are(folder: Folder) -> None:
    folder.put("reefs", "code,name,colour\nGULL,Gull,red\n")
    refused(folder, ("reefs.csv", 1, "colour", "unknown_column"))
    assert "latitude" in folder.load().faults[0].message


def test_a_column_that_is_there_twice(folder: Folder) -> None:
    folder.put("reefs", "code,name,code\nGULL,Gull,TERN\n")
    refused(folder, ("reefs.csv", 1, "code", "column_twice"))


def test_a_column_without_a_name(folder: Folder) -> None:
    folder.put("reefs", "code,,name\nGULL,x,Gull\n")
    refused(folder, ("reefs.csv", 1, "", "column_unnamed"))


def test_caches_are_no_columns(folder: Folder) -> None:
    folder.put("colonies", "code,taxon,reef,rounded_latitude\nX,PAP,GULL,-10\n")
    refused(folder, ("colonies.csv", 1, "rounded_latitude", "unknown_column"))


@pytest.mark.parametrize("text", ["", "\n\n", ",,,\n"])
def test_an_empty_file(folder: Folder, text: str) -> None:
    folder.put("reefs", text)
    refused(folder, ("reefs.csv", None, "", "file_empty"))


def test_a_file_with_only_a_header_holds_nothing_and_is_right(folder: Folder) -> None:
    folder.put("reefs", "code,name\n")
    assert folder.load().faults == []


# Torn and cut


def test_a_row_with_too_many_cells(folder: Folder) -> None:
    folder.put("reefs", f"{HEAD}\n{ROW},9\nTERN,Tern,,\n")
    refused(folder, ("reefs.csv", 2, "", "ragged_row"))


def test_rows_with_too_few_cells_are_all_named(folder: Folder) -> None:
    folder.put("reefs", f"{HEAD}\nA,Aa\n{ROW}\nB,Bb\n")
    refused(folder, ("reefs.csv", 2, "", "ragged_row"), ("reefs.csv", 4, "", "ragged_row"))


def test_a_file_that_ends_in_the_middle_of_a_row(folder: Folder) -> None:
    folder.put("reefs", f"{HEAD}\n{ROW}\nTERN,Te")
    refused(folder, ("reefs.csv", 3, "", "file_cut_off"))


def test_a_file_that_ends_inside_a_quoted_cell(folder: Folder) -> None:
    folder.put("reefs", f'{HEAD}\n{ROW}\nTERN,"Tern Re\n')
    refused(folder, ("reefs.csv", 3, "", "file_cut_off"))


def test_a_quote_that_is_never_closed_does_not_swallow_the_file(folder: Folder) -> None:
    folder.put("reefs", f'{HEAD}\nTERN,"Tern,,\n' + f"{ROW}\n" * 8000)
    refused(folder, ("reefs.csv", 2, "", "too_long"))


def test_text_after_a_closed_quote(folder: Folder) -> None:
    folder.put("reefs", f'{HEAD}\nTERN,"Tern" Reef,,\n')
    refused(folder, ("reefs.csv", 2, "", "quote_malformed"))


# Not text


def test_random_bytes(folder: Folder) -> None:
    folder.put("reefs", bytes(range(256)) * 64)
    refused(folder, ("reefs.csv", None, "", "not_text"))


def test_a_spreadsheet_with_the_wrong_name(folder: Folder) -> None:
    folder.put("reefs", b"PK\x03\x04" + REEFS.encode())
    refused(folder, ("reefs.csv", None, "", "not_text"))


def test_utf_16(folder: Folder) -> None:
    folder.put("reefs", REEFS.encode("utf-16"))
    refused(folder, ("reefs.csv", None, "", "not_utf8"))


def test_other_encodings_are_named_with_row_and_column(folder: Folder) -> None:
    folder.put("reefs", f"{HEAD}\n{ROW}\nTERN,Récif,,\n".encode("latin-1"))
    refused(folder, ("reefs.csv", 3, "name", "not_utf8"))


@pytest.mark.parametrize("character", ["\x00", "\x07", "\x1b"])
def test_control_characters(folder: Folder, character: str) -> None:
    folder.put("reefs", f"{HEAD}\nTERN,Te{character}rn,,\n")
    refused(folder, ("reefs.csv", 2, "name", "control_character"))


# Texts


def test_a_text_that_is_longer_than_any(folder: Folder) -> None:
    folder.put("reefs", f"code,name,note\nTERN,Tern,{'x' * 4001}\n")
    refused(folder, ("reefs.csv", 2, "note", "too_long"))


def test_a_name_that_is_longer_than_its_column(folder: Folder) -> None:
    folder.put("reefs", f"code,name\nTERN,{'x' * 121}\n")
    refused(folder, ("reefs.csv", 2, "name", "too_long"))


@pytest.mark.parametrize(
    "text",
    ['=HYPERLINK("x")', "@SUM(A1)", "+cmd", "-cmd", "+(1)", "-=1", '"\t=1"', "  =1"],
)
def test_a_text_that_a_spreadsheet_would_run(folder: Folder, text: str) -> None:
    quoted = text if text.startswith('"') else '"' + text.replace('"', '""') + '"'
    folder.put("reefs", f"code,name\nTERN,{quoted}\n")
    refused(folder, ("reefs.csv", 2, "name", "formula_text"))


@pytest.mark.parametrize("text", ["-10 m on the chart", "+ 2 more", "- two of them", "a=b", "x@y"])
def test_a_text_with_a_sign_in_it_is_kept(folder: Folder, text: str) -> None:
    folder.put("reefs", f"code,name,note\nTERN,Tern,{text}\n")
    assert folder.load().faults == []


def test_a_long_value_is_shown_shortened_and_on_one_line(folder: Folder) -> None:
    lines = "ab\n" * 2000
    folder.put("reefs", f'code,name,note\nTERN,Tern,"{lines}"\n')
    line = str(folder.load().faults[0])
    assert "\n" not in line
    assert len(line) < 300


def test_a_large_file_is_not_held_whole(tmp_path: Path) -> None:
    path = tmp_path / "reefs.csv"
    path.write_text("code,name\n" + "A,B\n" * 200_000)
    rows = reading.records(path)
    assert [next(rows), next(rows)] == [(1, ["code", "name"]), (2, ["A", "B"])]
    rows.close()  # type: ignore[attr-defined]
