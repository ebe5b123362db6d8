"""The find field: what a scanned tag, an old tag, a place or a name may mean.

Reads only. What a text names exactly comes first; only if it names nothing are names searched that
hold it. Constant in queries.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Any

from django.db.models import Model, Q

from nursery.core.actor import Actor, require_read
from nursery.core.codes import SERIES_PATTERN, CodeError, normalise, parse_code
from nursery.donors.models import DonorColony, Genet, Permit, Taxon
from nursery.lineage import resolve
from nursery.lineage.models import Ramet, Tag
from nursery.lineage.words import Life
from nursery.places.cells import CellError, parse_cell
from nursery.places.models import Bay, Nursery, Plot, Reef, Site, Structure, System

LONGEST = 120
_CODE_BEGINS = re.compile(rf"{SERIES_PATTERN}[0-9]+")
MOST_A_KIND = 20

_REGISTERS: tuple[tuple[str, type[Model], str], ...] = (
    ("genet", Genet, "name"),
    ("colony", DonorColony, "name"),
    ("structure", Structure, "name"),
    ("site", Site, "name"),
    ("plot", Plot, "name"),
    ("taxon", Taxon, "name"),
    ("reef", Reef, "name"),
    ("nursery", Nursery, "name"),
    ("system", System, "name"),
    ("bay", Bay, "name"),
    ("permit", Permit, "title"),
)
"""The registers that are searched: kind, model, and the field with the name people say."""


@dataclass(frozen=True, slots=True)
class Hit:
    """One thing that a text may mean. `kind` is a register's word, or `ramet`; `why` says how the
    text names it, where that is not by its code. `sure` is false for what is only close by."""

    kind: str
    code: str
    name: str = ""
    why: str = ""
    sure: bool = True


@dataclass(frozen=True, slots=True)
class Found:
    """Everything that a text may mean. `exact` says that it names each hit in full.

    `near` are ramets whose codes are one slip away; `misread` says that the text has the form of a
    code, but its check character is wrong.
    """

    text: str
    hits: tuple[Hit, ...] = ()
    exact: bool = False
    near: tuple[str, ...] = ()
    misread: bool = False


def find(actor: Actor, text: str) -> Found:
    """What the text may mean. Raises NotAllowed (`no_role`)."""
    require_read(actor)
    clean = " ".join(text.replace("\x00", " ").split())[:LONGEST]
    if not clean:
        return Found(clean)
    exact = tuple(dict.fromkeys(_exact(clean)))
    if exact:
        return Found(clean, exact, exact=True)
    misread = _misread(clean)
    hits = () if misread else tuple(_holding(clean))
    held = {hit.code for hit in hits}
    near = tuple(code for code in resolve.near(clean) if code not in held)
    return Found(clean, hits, near=near, misread=misread)


def _misread(text: str) -> bool:
    if normalise(text) is None:
        return False
    try:
        parse_code(text)
    except CodeError:
        return True
    return False


def _exact(text: str) -> Iterator[Hit]:
    code = normalise(text)
    if code is not None:
        for found in Ramet.objects.filter(code=code).values_list("code", flat=True):
            yield Hit("ramet", found)
    yield from _tagged(text)
    yield from _placed(text)
    for kind, model, name in _REGISTERS:
        yield from _rows(kind, model, name, Q(code=text.upper()) | Q(**{f"{name}__iexact": text}))


def _tagged(text: str) -> Iterator[Hit]:
    """Ramets that carry the tag, then those that once did."""
    tags = Tag.objects.filter(text=text.upper()).select_related("ramet")
    for tag in sorted(tags, key=lambda tag: (tag.until is not None, -tag.since.toordinal())):
        why = f"carries tag {tag.text} since {tag.since}"
        if tag.until is not None:
            why = f"carried tag {tag.text} from {tag.since} to {tag.until}"
        yield Hit("ramet", tag.ramet.code, why=why)


def _placed(text: str) -> Iterator[Hit]:
    """What lives or stands in a cell: `K-14 C7`; the structure itself where the cell is empty."""
    name, _, last = text.rpartition(" ")
    if not name:
        return
    try:
        cell = parse_cell(last)
    except CellError:
        return
    structure = Structure.objects.filter(code=name.strip().upper()).first()
    if structure is None:
        return
    here = f"in {structure.code} {cell}"
    ramets = Ramet.objects.filter(
        structure=structure, row=cell.row, column=cell.column, life=Life.LIVING
    )
    hits = [Hit("ramet", code, why=here) for code in ramets.values_list("code", flat=True)]
    held = structure.held.filter(parent_row=cell.row, parent_column=cell.column)
    hits += [Hit("structure", row.code, row.name, here) for row in held]
    if hits:
        yield from hits
        return
    grid = structure.grid
    why = f"its cell {cell} is empty"
    if grid is None or not grid.holds(cell):
        why = f"it has no cell {cell}"
    yield Hit("structure", structure.code, structure.name, why, sure=False)


def _holding(text: str) -> Iterator[Hit]:
    """Things whose code, tag or name holds the text."""
    for kind, model, name in _REGISTERS:
        wanted = Q(code__icontains=text) | Q(**{f"{name}__icontains": text})
        yield from _rows(kind, model, name, wanted)
    if _CODE_BEGINS.fullmatch(text.upper()):
        codes = Ramet.objects.filter(code__startswith=text.upper()).order_by("code")
        for code in codes.values_list("code", flat=True)[:MOST_A_KIND]:
            yield Hit("ramet", code)


def _rows(kind: str, model: type[Model], name: str, wanted: Q) -> Iterable[Hit]:
    rows: Any = model._default_manager.filter(wanted).order_by("code")
    for code, called in rows.values_list("code", name)[:MOST_A_KIND]:
        yield Hit(kind, code, called)
