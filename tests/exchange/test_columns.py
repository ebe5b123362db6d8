"""Files and columns are read off the fields, and the page about them says the same."""

from __future__ import annotations

from pathlib import Path

import pytest

from nursery.core.registers import editable_fields
from nursery.exchange.loading.columns import FileColumns, all_files, page
from nursery.exchange.loading.files import EVENTS, REGISTERS, STEMS
from nursery.exchange.loading.meanings import all_keys
from nursery.lineage.inputs import ChildIn, FragmentationIn

COMMITTED = Path(__file__).parents[2] / "fixtures" / "COLUMNS.md"
FILES: dict[str, FileColumns] = {file.stem: file for file in all_files()}


def names(stem: str) -> list[str]:
    return [column.name for column in FILES[stem].columns]


def test_the_page_about_columns_is_current() -> None:
    assert COMMITTED.read_text(encoding="utf-8") == page(), (
        "make it anew: manage.py load_records --columns > fixtures/COLUMNS.md"
    )


def test_every_file_is_on_the_page_once() -> None:
    assert [file.stem for file in all_files()] == list(FILES)
    assert set(FILES) == STEMS


@pytest.mark.parametrize("item", REGISTERS, ids=lambda item: item.stem)
def test_a_register_file_has_the_fields_that_people_may_set(item: object) -> None:
    from_page = names(item.stem)  # type: ignore[attr-defined]
    fields = list(editable_fields(item.model))  # type: ignore[attr-defined]
    assert from_page[: len(fields)] == fields
    assert not {"id", "version", "bay_id", "canonical"} & set(from_page)


def test_every_field_of_an_event_stands_in_one_of_its_files() -> None:
    for event in EVENTS:
        in_head = set(event.columns) - {"event"}
        assert in_head | set(event.rows) | {"uid"} == set(event.model.model_fields)
        assert not in_head & set(event.rows)
        for name in event.rows:
            assert set(event.row_columns(name)) == {
                "event",
                *event.row_model(name).model_fields,
            }


def test_children_are_a_file_of_their_own() -> None:
    assert names("fragmentation_children") == ["event", *ChildIn.model_fields]
    assert "children" in FragmentationIn.model_fields
    assert "children" not in names("fragmentations")


def test_what_is_said_of_columns_is_said_of_columns_that_exist() -> None:
    in_file, anywhere = all_keys()
    existing = {(stem, column) for stem in FILES for column in names(stem)}
    assert {tuple(key.split(".")) for key in in_file} <= existing
    # What is said of a column wherever it stands is said for at least one file.
    told = {column for stem, column in existing if f"{stem}.{column}" not in in_file}
    assert anywhere == told


@pytest.mark.parametrize(
    ("stem", "column", "required", "form"),
    [
        ("reefs", "code", True, "code, at most 40 characters"),
        ("nurseries", "kind", True, "one of `land`, `sea`"),
        ("taxa", "rank", False, "one of `species`, `genus`; `species` if empty"),
        ("colonies", "genet", False, "code of a genet"),
        ("permits", "taxa", False, "codes of taxa, with `;` between"),
        ("collections", "when", True, "date"),
        ("collections", "share_taken", False, "per cent, 0 to 100"),
        ("collections", "count", False, "whole number, 1 to 1000"),
        ("fragmentation_sources", "used_up", False, "`yes` or `no`; `no` if empty"),
        ("observations", "condition", True, "one of `alive`, `dead`, `missing`"),
        ("legacy_ramets", "donors", False, "codes, with `;` between"),
    ],
)
def test_the_form_of_a_cell_follows_from_its_field(
    stem: str, column: str, required: bool, form: str
) -> None:
    found = next(item for item in FILES[stem].columns if item.name == column)
    assert (found.required, found.form) == (required, form)
