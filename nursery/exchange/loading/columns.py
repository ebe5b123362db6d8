"""What each column of each file is, as a page to read: made from the fields themselves."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, get_args

from django.db import models
from django.db.models.fields import NOT_PROVIDED

from nursery.core.inputs import (
    Centimetres,
    CodeText,
    Depth,
    Given,
    Percent,
    WhenField,
)
from nursery.core.registers import editable_fields
from nursery.exchange.loading.files import (
    CORRECTIONS,
    EVENT,
    EVENTS,
    NAMED_EVENTS,
    REGISTERS,
    SEPARATOR,
    SINCE,
    RegisterFile,
    bare,
    hint,
    is_list,
)
from nursery.exchange.loading.meanings import FILES, meaning

_PREAMBLE = """\
# Files and columns

What `python manage.py load_records FOLDER` reads: one CSV file for each kind of record, with a
header row. All files are optional. Columns may come in any order, and those that are not required
may be left out. This page is made by `python manage.py load_records --columns`.

- **Files**: UTF-8, with comma, semicolon or tab between cells; up to 50 MB each.
- **Dates** of events: `2024-03-04`, `2024-03-04T10:30`, `2024-03`, `2024`, or from–to as
  `2024-03-04/2024-03-09`.
- **Positions** on WGS 84: `-10.5083`, `10 30.5 S`, `10°30'30" S`.
- **Lengths**: `3.5`, `3.5 m`, `12 ft`, `35 cm`; without a unit, what the column says.
- **Several values** in one cell stand with a semicolon between them.
- **event** is a short text that names an event once and for all (`C-2024-017`); rows in other files
  name it. Loading the same event again changes nothing.
- **Ramets** are named by code, by a tag or by place (`K-14 C7`) as on the date of the event.
- **Events** are taken in the order of their dates, then **corrections**: what did not happen, then
  what happened otherwise. These name the event by its `event`, or by its kind and that
  (`visit/V-2`) where events of two kinds have it, or by its uid. A correction that is on record is
  not made again.

A row that cannot be taken is reported by file, row and column, and then nothing is loaded.
"""

_UNITS = {"_m2": "number, in m²", "_m": "length, in metres", "_cm": "length, in centimetres"}
_FORMS: tuple[tuple[Any, str], ...] = (
    (CodeText, "code"),
    (WhenField, "date"),
    (Depth, "depth, in metres"),
    (Centimetres, "length, in centimetres"),
    (Percent, "per cent, 0 to 100"),
)


@dataclass(frozen=True, slots=True)
class Column:
    """One column: its name, whether it must be there, what a cell looks like, what it means."""

    name: str
    required: bool
    form: str
    meaning: str


@dataclass(frozen=True, slots=True)
class FileColumns:
    """One file with its columns, in order."""

    stem: str
    about: str
    columns: tuple[Column, ...]


def all_files() -> Iterator[FileColumns]:
    """Every file there is, in the order in which they are loaded."""
    for register in REGISTERS:
        yield _file(
            register.stem,
            [(n, n in register.required, _register_form(register, n)) for n in register.columns],
        )
    for item in (*EVENTS, *CORRECTIONS):
        yield _file(
            item.stem,
            [(n, n in item.required, _event_form(item.model, n)) for n in item.columns],
        )
        for name, stem in item.rows.items():
            model = item.row_model(name)
            needed = item.row_required(name)
            yield _file(
                stem, [(n, n in needed, _event_form(model, n)) for n in item.row_columns(name)]
            )


def page() -> str:
    """All of it as one page of Markdown."""
    parts = [_PREAMBLE]
    for file in all_files():
        rows = [
            f"| `{c.name}` | {'yes' if c.required else ''} | {_cell(c.form)} | {_cell(c.meaning)} |"
            for c in file.columns
        ]
        head = ["| column | required | form | meaning |", "|---|---|---|---|"]
        parts.append("\n".join([f"## {file.stem}.csv\n", f"{file.about}\n", *head, *rows, ""]))
    return "\n".join(parts)


def _file(stem: str, columns: list[tuple[str, bool, str]]) -> FileColumns:
    made = (Column(name, needed, form, meaning(stem, name)) for name, needed, form in columns)
    return FileColumns(stem, FILES[stem], tuple(made))


def _cell(text: str) -> str:
    return text.replace("|", "\\|")


def _register_form(item: RegisterFile, name: str) -> str:
    field = editable_fields(item.model).get(name)
    if field is None:
        return "date" if name == SINCE else _besides_form(name)
    if name == "code":
        return f"code, at most {field.max_length} characters"
    if field.many_to_many:
        return f"codes of {_plural(field)}, with `{SEPARATOR}` between"
    if field.is_relation:
        return f"code of a {field.related_model._meta.verbose_name}"  # type: ignore[union-attr]
    form = _plain_form(field)
    default = field.default
    if default is not NOT_PROVIDED and not callable(default) and str(default):
        form += f"; `{getattr(default, 'value', default)}` if empty"
    return form


def _plural(field: Any) -> str:
    return str(field.related_model._meta.verbose_name_plural)


def _plain_form(field: Any) -> str:
    if field.choices:
        return "one of " + ", ".join(f"`{value}`" for value, _ in field.flatchoices)
    if field.name in ("latitude", "longitude"):
        return field.name  # type: ignore[no-any-return]
    for ending, form in _UNITS.items():
        if field.name.endswith(ending):
            return form
    if isinstance(field, models.DateField):
        return "day, `2024-03-04`"
    if isinstance(field, models.IntegerField):
        return "whole number"
    if isinstance(field, models.JSONField):
        return {"blocked": "cells", "loci": "names"}.get(field.name, "GeoJSON")
    longest = field.max_length
    return f"text, at most {longest} characters" if longest else "text"


def _besides_form(name: str) -> str:
    forms = {"latitude": "latitude", "longitude": "longitude", "uncertainty_m": "whole metres"}
    return forms.get(name, "cell" if name == "cell" else "code")


def _event_form(model: type[Given], name: str) -> str:
    if name == EVENT:
        return "text"
    whole = hint(model, name)
    if is_list(model, name):
        item = get_args(bare(whole))[0]
        form = "codes" if item == CodeText else "texts"
        return f"{form}, with `{SEPARATOR}` between"
    form = _one_form(whole, name)
    default = model.model_fields[name].default
    if isinstance(default, bool):
        return f"{form}; `no` if empty" if not default else form
    if isinstance(default, int | str) and str(default):
        return f"{form}; `{default}` if empty"
    return form


def _one_form(kind: Any, name: str) -> str:
    for known, form in _FORMS:
        if kind == known:
            return form
    plain = bare(kind)
    if plain is bool:
        return "`yes` or `no`"
    if plain is int:
        return _number_form(kind)
    words = get_args(plain)
    if words:
        return "one of " + ", ".join(f"`{word}`" for word in words)
    if name in ("latitude", "longitude", "cell"):
        return name
    if name in NAMED_EVENTS:
        return f"event of a {NAMED_EVENTS[name].label}"
    return _text_form(kind)


def _number_form(kind: Any) -> str:
    limits: dict[str, Any] = {}
    for rule in get_args(kind)[1:]:
        for part in getattr(rule, "metadata", [rule]):
            limits |= {side: getattr(part, side) for side in ("ge", "le") if hasattr(part, side)}
    return f"whole number, {limits['ge']} to {limits['le']}"


def _text_form(kind: Any) -> str:
    longest = [
        found
        for rule in get_args(kind)[1:]
        for part in getattr(rule, "metadata", [rule])
        if isinstance(found := getattr(part, "max_length", None), int)
    ]
    return f"text, at most {min(longest)} characters" if longest else "text"
