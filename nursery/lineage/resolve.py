"""Finding the ramets that an entry names: by code, by a tag in force, or by place.

All names of an entry are looked up together, in a constant number of queries.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from datetime import date, datetime, time

from django.db.models import Q

from nursery.core.codes import CodeError, near_codes, normalise, parse_code
from nursery.core.errors import Problem, ProblemList, Refused, Unknown
from nursery.lineage.models import Ramet, Tag
from nursery.lineage.occupancy import busy_after, ramets_at, ramets_now
from nursery.places.cells import CellError, parse_cell
from nursery.places.models import Structure

_PLACE = re.compile(r"(\S+)\s+([A-Za-z]{1,2}\d{1,3})")
MOST_NEAR = 5
_LAST_ID = 2**63 - 1
"""Past the id of any event: the end of a moment."""


def ramet_ids(texts: Sequence[str], on: date | None = None) -> dict[str, int]:
    """The ids of the ramets that the texts name; a text that names none is left out.

    `on` is the day for which tags and places are read, as it was at its end; None reads what is in
    force now.
    """
    wanted = list(dict.fromkeys(texts))
    codes = {text: code for text in wanted if (code := normalise(text)) is not None}
    by_code = dict(Ramet.objects.filter(code__in=set(codes.values())).values_list("code", "pk"))
    found = {text: by_code[code] for text, code in codes.items() if code in by_code}
    left = [text for text in wanted if text not in found]
    if left:
        found |= _by_tag(left, on)
        left = [text for text in left if text not in found]
    if left:
        found |= _by_place(left, on)
    return found


def near(text: str) -> list[str]:
    """Codes that exist and differ from the text by one slip of the pen, at most five."""
    candidates = near_codes(text)
    if not candidates:
        return []
    existing = set(Ramet.objects.filter(code__in=candidates).values_list("code", flat=True))
    return [code for code in candidates if code in existing][:MOST_NEAR]


def unknown(text: str, *path: str | int, suggest: bool = True) -> Problem:
    """Why a text names no ramet: a wrong check character, or nothing of that name."""
    close = near(text) if suggest else []
    hint = f" Did you mean {', '.join(close)}?" if close else ""
    if normalise(text) is not None:
        try:
            parse_code(text)
        except CodeError as error:
            if error.code == "wrong_check_character":
                return Problem(
                    "wrong_check_character",
                    f"{text} was misread or mistyped: its check character is wrong.{hint}",
                    path,
                )
    return Problem("unknown_ramet", f"There is no ramet {text!r}.{hint}", path)


def one(text: str, on: date | None = None) -> Ramet:
    """The ramet that a code, tag or place names, now or on a day; else the one that carried the tag
    last. Raises Unknown with near ones that exist."""
    clean = text.strip()[:60].replace("\x00", "")
    pk = ramet_ids([clean], on).get(clean)
    if pk is None:
        pk = _by_any_tag(clean, on)
    if pk is None:
        raise Unknown(unknown(clean))
    return Ramet.objects.get(pk=pk)


def all_of(named: Sequence[tuple[str, tuple[str | int, ...]]], on: date | None = None) -> list[int]:
    """The id of each named ramet, in order, with the path of each name for its problem.

    Raises Refused (`unknown_ramet`, `wrong_check_character`, `named_twice`) for all at once.
    """
    found = ramet_ids([text for text, _ in named], on)
    problems = ProblemList()
    seen: dict[int, str] = {}
    ids = []
    for text, path in named:
        pk = found.get(text)
        if pk is None:
            # Near codes cost a query each: a whole wrong file is told without them.
            suggest = len(problems.items) < MOST_NEAR
            problems.items.append(unknown(text, *path, suggest=suggest))
        elif pk in seen:
            problems.add("named_twice", f"{text} is named twice in this entry.", *path)
        else:
            seen[pk] = text
            ids.append(pk)
    problems.raise_if_any()
    return ids


def _by_tag(texts: Iterable[str], on: date | None) -> dict[str, int]:
    upper = {text: text.upper() for text in texts}
    tags = Tag.objects.filter(text__in=set(upper.values()), live=True)
    if on is None:
        tags = tags.filter(until__isnull=True)
    else:
        tags = tags.filter(since__lte=on).filter(Q(until__isnull=True) | Q(until__gte=on))
    # On the day on which a tag changed hands it names who had it in the end.
    by_tag = {tag.text: tag.ramet_id for tag in sorted(tags, key=_ended)}
    return {text: by_tag[tag] for text, tag in upper.items() if tag in by_tag}


def _by_any_tag(text: str, on: date | None) -> int | None:
    """The ramet that carried the tag last (by a day), if one ever did."""
    tags = Tag.objects.filter(text=text.upper(), live=True)
    if on is not None:
        tags = tags.filter(since__lte=on)
    last = max(tags, key=_ended, default=None)
    return last.ramet_id if last is not None else None


def _ended(tag: Tag) -> tuple[date, date, int]:
    return tag.until or date.max, tag.since, tag.pk


def _by_place(texts: Iterable[str], on: date | None) -> dict[str, int]:
    places: dict[str, tuple[str, int, int]] = {}
    for text in texts:
        match = _PLACE.fullmatch(text)
        if match is None:
            continue
        try:
            cell = parse_cell(match[2])
        except CellError:
            continue
        places[text] = (match[1].upper(), cell.row, cell.column)
    if not places:
        return {}
    rows = Structure.objects.filter(code__in={code for code, _, _ in places.values()})
    known = {row.code: row for row in rows.only("code", "busy_until")}
    late = set()
    if on is not None:
        end = datetime.combine(on, time.max)
        late = {row.pk for row in known.values() if busy_after(row, end)}
    now = ramets_now({row.pk for row in known.values()} - late)
    by_place = {cell: pk for cell, (pk, _) in now.items()}
    if late:
        by_place |= ramets_at(late, (end, _LAST_ID))
    cells = {
        text: (known[code].pk, row, column)
        for text, (code, row, column) in places.items()
        if code in known
    }
    return {text: by_place[cell] for text, cell in cells.items() if cell in by_place}


def refuse_codes(codes: Sequence[tuple[str, tuple[str | int, ...]]]) -> dict[str, str]:
    """Check codes that come in from outside: well formed, each once, none given already.

    Returns the canonical spelling of each; raises Refused (`code_malformed`,
    `wrong_check_character`, `code_taken`, `named_twice`).
    """
    problems = ProblemList()
    canonical: dict[str, str] = {}
    for text, path in codes:
        try:
            code = str(parse_code(text))
        except CodeError as error:
            problems.add(error.code, str(error), *path)
            continue
        if code in canonical.values():
            problems.add("named_twice", f"{code} is given twice in this entry.", *path)
        canonical[text] = code
    taken = set(Ramet.objects.filter(code__in=canonical.values()).values_list("code", flat=True))
    for text, path in codes:
        if canonical.get(text) in taken:
            problems.add("code_taken", f"{canonical[text]} is already another ramet's code.", *path)
    if problems:
        raise Refused(problems.items)
    return canonical
