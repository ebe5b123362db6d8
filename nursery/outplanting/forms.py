"""Forms for what happened, read off the inputs of the actions: a new field of an input is a new
blank at once. What is typed is kept as it was typed, and each fault stands beside its blank."""

from __future__ import annotations

import csv
import re
import uuid
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Literal, get_args, get_origin

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from pydantic.fields import FieldInfo

from nursery.core.errors import Problem
from nursery.core.field_names import titled
from nursery.core.inputs import Given, Note
from nursery.exchange.loading.files import EVENTS, SEPARATOR, bare, hint, is_list, row_model
from nursery.exchange.loading.meanings import meaning

UID = "uid"
_UID = re.compile(r"[0-9a-fA-F]{8}(?:-[0-9a-fA-F]{4}){3}-[0-9a-fA-F]{12}")
_STEMS = {item.model: item for item in EVENTS}
_FORMS = {
    "when": gettext_lazy(
        "2021-03-04, with a time 2021-03-04T10:30, a month 2021-03, a year, or a range "
        "2021-03-04/2021-03-09"
    )
}
_SAYS = {
    "alive": gettext_lazy("how many were alive"),
    "cause": gettext_lazy("why they died, where they did"),
    "collection": gettext_lazy("the collection's uid, or the address of its page"),
    "counts": gettext_lazy("what was counted in each"),
    "dead": gettext_lazy("how many were dead"),
    "fate": gettext_lazy("how they ended, where a row says nothing else"),
    "found": gettext_lazy("the loose piece that it turned out to be"),
    "genet": gettext_lazy("the genet"),
    "instead_of": gettext_lazy("the mother that the entry names"),
    "into": gettext_lazy("the ramet that the fused ones grew into"),
    "kept": gettext_lazy("the genet that both are known as from now on"),
    "lost": gettext_lazy("whether that tag was lost"),
    "lot": gettext_lazy(
        "the uid of the cutting whose ramets were counted, or the address of its page"
    ),
    "merged": gettext_lazy("the genet that turned out to be the same"),
    "missing": gettext_lazy("how many were missing"),
    "off": gettext_lazy("the tag that comes off"),
    "on": gettext_lazy("the tag that is put on"),
    "origin": gettext_lazy("how they came into the record"),
    "packed": gettext_lazy("packed for a journey instead of placed"),
    "parents": gettext_lazy("the genets that it may descend from"),
    "programme": gettext_lazy("the programme that received ones came from"),
    "recipient": gettext_lazy("who has what was handed over"),
    "unknown": gettext_lazy("they turned out to be of a genet that is not known"),
}
"""What fields mean of which the files say nothing, or something else."""


@dataclass(frozen=True, slots=True)
class Told:
    """A fault beside its blank; `line` is the one of the text, from 1, and `column` its name."""

    problem: Problem
    line: int | None = None
    column: str = ""

    @property
    def where(self) -> str:
        """Before its sentence: `Line 3, column cell:`."""
        if self.line is None:
            return ""
        told = {"line": self.line, "column": self.column}
        return (
            _("Line %(line)d, column %(column)s:") % told
            if self.column
            else _("Line %(line)d:") % told
        )


@dataclass(frozen=True, slots=True)
class Blank:
    """One thing to fill in: `shape` is line, text, choice, tick or rows."""

    name: str
    label: str
    hint: str
    shape: str
    value: str = ""
    required: bool = False
    choices: Sequence[tuple[str, str]] = ()
    columns: Sequence[tuple[str, str, bool]] = ()
    """Of rows: name and meaning of each column, and whether it must be there."""
    told: Sequence[Told] = ()

    @property
    def lines(self) -> int:
        """How high its field is."""
        least = 6 if self.shape == "rows" else 3
        return min(20, max(least, self.value.count("\n") + 2))


@dataclass(slots=True)
class Filled:
    """What was typed, as the input wants it, and on which lines the rows of its lists stand."""

    data: dict[str, Any] = field(default_factory=dict)
    lines: dict[str, list[int]] = field(default_factory=dict)
    problems: list[Problem] = field(default_factory=list)


def names_of(model: type[Given]) -> list[str]:
    """The fields that are filled in: all but the uid, single ones before lists of rows."""
    names = [name for name in model.model_fields if name != UID]
    return sorted(names, key=lambda name: row_model(model, name) is not None)


def blanks(
    model: type[Given],
    typed: Mapping[str, str],
    problems: Sequence[Problem] = (),
    lines: Mapping[str, Sequence[int]] | None = None,
    names: Sequence[str] | None = None,
) -> list[Blank]:
    """The blanks of an input with what was typed in them, and the faults of each beside it."""
    told = _told(problems, lines or {})
    shown = names_of(model) if names is None else names
    return [_blank(model, name, typed, told.get(name, ())) for name in shown]


def elsewhere(problems: Sequence[Problem], names: Sequence[str]) -> list[Problem]:
    """The faults that belong beside no blank."""
    return [each for each in problems if not each.path or str(each.path[0]) not in names]


def fill(
    model: type[Given], typed: Mapping[str, str], names: Sequence[str] | None = None
) -> Filled:
    """What was typed, as the input wants it; blanks that were left empty are left out."""
    found = Filled()
    for name in names_of(model) if names is None else names:
        text = typed.get(name, "").replace("\r\n", "\n").strip()
        if not text:
            continue
        rows = row_model(model, name)
        if rows is not None:
            _rows(found, name, text, rows)
        else:
            found.data[name] = value_of(model, name, text)
    return found


def value_of(model: type[Given], name: str, text: str) -> Any:
    """One cell or blank: several values are parted by a semicolon; an address holds a uid."""
    if is_list(model, name):
        return [part.strip() for part in text.split(SEPARATOR) if part.strip()]
    if bare(hint(model, name)) is uuid.UUID:
        inside = _UID.search(text)
        return inside.group() if inside else text
    if bare(hint(model, name)) is bool and text == "on":
        return True
    return text


def header_of(rows: type[Given]) -> str:
    """The first line of a list of rows: the names of its columns."""
    return ", ".join(rows.model_fields)


def _rows(found: Filled, name: str, text: str, rows: type[Given]) -> None:
    lines = text.split("\n")
    separator = _separator(lines[0])
    columns: list[str] = []
    values: list[dict[str, Any]] = []
    numbers: list[int] = []
    for number, line in enumerate(lines, 1):
        if not line.strip():
            continue
        # A line that was pasted from a sheet has tabs, whatever parts the names above it.
        by = "\t" if "\t" in line else separator
        try:
            cells = [cell.strip() for cell in next(csv.reader([line], delimiter=by, strict=True))]
        except csv.Error:
            message = (
                f"Line {number}: a quotation mark is not closed, or text follows it. Write it "
                "twice inside a quoted cell."
            )
            found.problems.append(Problem("quote_malformed", message, (name,)))
            continue
        if not columns:
            columns = [cell.lower().replace(" ", "_") for cell in cells]
            _judge(found, name, columns, rows)
            continue
        if not any(cells):
            continue
        if len(cells) > len(columns):
            message = f"Line {number} has {len(cells)} cells, but {len(columns)} columns are named."
            found.problems.append(Problem("row_too_long", message, (name,)))
            continue
        row = {
            column: value_of(rows, column, cell)
            for column, cell in zip(columns, cells, strict=False)
            if cell and column in rows.model_fields
        }
        values.append(row)
        numbers.append(number)
    if values:
        found.data[name] = values
        found.lines[name] = numbers


def _judge(found: Filled, name: str, columns: Sequence[str], rows: type[Given]) -> None:
    """The first line names columns, each once and all of them known."""
    unknown = [column for column in columns if column and column not in rows.model_fields]
    if unknown:
        message = (
            f"The first line names the columns. There is no column {', '.join(unknown)[:200]}; "
            f"there are: {header_of(rows)}."
        )
        found.problems.append(Problem("unknown_column", message, (name,)))
    twice = sorted({column for column in columns if column and columns.count(column) > 1})
    if twice:
        message = f"The first line names {', '.join(twice)} twice."
        found.problems.append(Problem("column_twice", message, (name,)))


def _separator(line: str) -> str:
    """What parts the names of the columns: a comma, where there is only one."""
    outside = re.sub(r'"[^"]*"', "", line)
    return max(",;\t", key=outside.count)


def _told(problems: Sequence[Problem], lines: Mapping[str, Sequence[int]]) -> dict[str, list[Told]]:
    found: dict[str, list[Told]] = {}
    for problem in problems:
        if not problem.path:
            continue
        name, rest = str(problem.path[0]), problem.path[1:]
        at = lines.get(name, ())
        row = rest[0] if rest and isinstance(rest[0], int) else None
        line = at[row] if row is not None and row < len(at) else None
        column = str(rest[1]) if len(rest) > 1 else ""
        found.setdefault(name, []).append(Told(problem, line, column))
    return found


def _blank(model: type[Given], name: str, typed: Mapping[str, str], told: Sequence[Told]) -> Blank:
    info = model.model_fields[name]
    label = titled(name)
    rows = row_model(model, name)
    if rows is not None:
        stem = _STEMS[model].rows.get(name, "") if model in _STEMS else ""
        return Blank(
            name,
            label,
            _meaning("", name) if not stem else "",
            "rows",
            typed.get(name, f"{header_of(rows)}\n"),
            info.is_required(),
            columns=[
                (column, said(rows, stem, column), item.is_required())
                for column, item in rows.model_fields.items()
            ],
            told=told,
        )
    stem = _STEMS[model].stem if model in _STEMS else ""
    shape, choices = _shape(model, name, info)
    return Blank(
        name,
        label,
        said(model, stem, name),
        shape,
        typed.get(name, _default(info)),
        info.is_required(),
        choices,
        told=told,
    )


def _shape(model: type[Given], name: str, info: FieldInfo) -> tuple[str, Sequence[tuple[str, str]]]:
    kind = bare(hint(model, name))
    if get_origin(kind) is Literal:
        words = [(word, _(word.replace("_", " "))) for word in get_args(kind)]
        return "choice", words if info.default in get_args(kind) else [("", ""), *words]
    if kind is bool:
        return "tick", ()
    # A note is the one text of several lines.
    return ("text" if hint(model, name) == Note else "line"), ()


def _default(info: FieldInfo) -> str:
    return info.default if isinstance(info.default, str) else ""


def said(model: type[Given], stem: str, name: str) -> str:
    """What a blank or column means, and how it is written where that is not plain."""
    parts = [_meaning(stem, name), str(_FORMS.get(name, "")), _written(model, name)]
    text = ". ".join(part[:1].upper() + part[1:] for part in parts if part).replace("`", "")
    return f"{text}." if text else ""


def _meaning(stem: str, name: str) -> str:
    own = str(_SAYS.get(name, ""))
    if name in ("collection", "lot"):
        return own
    try:
        return _(meaning(stem, name))
    except KeyError:
        return own


def _written(model: type[Given], name: str) -> str:
    """How a value is written: a unit, a few words, several at once."""
    if is_list(model, name):
        return _("several with a semicolon between")
    kind = bare(hint(model, name))
    if get_origin(kind) is Literal and "structure" not in name:
        return _("one of %(words)s") % {"words": ", ".join(get_args(kind))}
    if kind is bool:
        return _("yes or no")
    schema = next(
        (
            item.json_schema
            for item in getattr(hint(model, name), "__metadata__", ())
            if hasattr(item, "json_schema")
        ),
        None,
    )
    if schema is None or name == "when":
        return ""
    text = str(schema.get("description", ""))
    return _(text) if text else ""
