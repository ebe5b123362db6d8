"""The find field: what a scanned tag, an old tag, a place or a name may mean.

Reads only. What a text names exactly comes first; only if it names nothing are names searched that
hold it. Constant in queries; ramets and tags, of which there are many, by their indexes alone.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from django.db.models import (
    Case,
    CharField,
    ExpressionWrapper,
    F,
    IntegerField,
    Model,
    Q,
    Value,
    When,
)
from django.utils.translation import gettext as _

from nursery.core.actor import Actor, require_read
from nursery.core.codes import SERIES_PATTERN, CodeError, normalise, parse_code
from nursery.core.models import User
from nursery.donors.models import DonorColony, Genet, Permit, Taxon
from nursery.genotyping.models import Panel, Sample
from nursery.lineage import resolve
from nursery.lineage.models import Ramet, Tag
from nursery.lineage.words import Life
from nursery.places.cells import CellError, parse_cell
from nursery.places.models import Bay, Nursery, Plot, Reef, Site, Structure, System

LONGEST = 120
_CODE_BEGINS = re.compile(rf"{SERIES_PATTERN}[0-9]+")
MOST_A_KIND = 20
MOST_NEAR = 8
"""How many things at most are offered while somebody types."""
LEAST_TYPED = 2
_MARGIN = 3
"""How many times as many names are read from an index as are wanted: some are no beginnings."""

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
    ("sample", Sample, "label"),
    ("panel", Panel, "name"),
)
"""The registers that are searched: kind, model, and the field with the name people say."""

_WORDS = {
    **{kind: kind for kind, _, _ in _REGISTERS},
    **dict.fromkeys(("genotype", "clone"), "genet"),
    **dict.fromkeys(("plate", "tray", "table", "tree", "rope", "frame", "rock"), "structure"),
    "species": "taxon",
}
"""What people say before a code or name, and the register that they mean."""

PERSON = "person"


@dataclass(frozen=True, slots=True)
class Hit:
    """One thing that a text may mean. `kind` is a register's word, or `ramet`; `why` says how the
    text names it, where that is not by its code. `sure` is false for what is only close by; `past`
    says that the text named it once and does so no more."""

    kind: str
    code: str
    name: str = ""
    why: str = ""
    sure: bool = True
    past: bool = False


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
    exact = tuple(dict.fromkeys(_exact(clean))) or tuple(_of_a_kind(clean))
    if exact:
        return Found(clean, exact, exact=True)
    misread = _misread(clean)
    hits = () if misread else tuple(_holding(clean))
    held = {hit.code for hit in hits}
    near = tuple(code for code in resolve.near(clean) if code not in held)
    return Found(clean, hits, near=near, misread=misread)


def suggest(actor: Actor, text: str) -> tuple[Hit, ...]:
    """What a text that is still being typed may become: a few things, those that it names or that
    begin with it first; ramets one slip away where there is nothing. At most seven queries.

    Raises NotAllowed (`no_role`).
    """
    require_read(actor)
    clean = " ".join(text.replace("\x00", " ").split())[:LONGEST]
    if len(clean) < LEAST_TYPED:
        return ()
    found: dict[tuple[str, str], Hit] = {}
    for hit in (*_placed(clean), *_beginning(clean), *_tags_beginning(clean), *_named(clean)):
        found.setdefault((hit.kind, hit.code), hit)
    if not found:
        near = resolve.near(clean)
        return tuple(Hit("ramet", code, why=_("one slip away"), sure=False) for code in near)
    return tuple(found.values())[:MOST_NEAR]


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
    yield from _union(
        [
            (kind, rows.filter(Q(code=text.upper()) | Q(**{f"{name}__iexact": text})), name, number)
            for number, (kind, rows, name) in enumerate(_all_rows())
        ],
        MOST_A_KIND,
    )
    yield from _people(text)


def _of_a_kind(text: str) -> Iterator[Hit]:
    """What a code or name means after the word for its kind: `genotype Crescent Moon`."""
    word, _by, rest = text.partition(" ")
    kind = _WORDS.get(word.lower())
    for each, model, name in _REGISTERS:
        if each == kind and rest:
            wanted = Q(code=rest.upper()) | Q(**{f"{name}__iexact": rest})
            yield from _rows(each, model, name, wanted)


def _people(text: str) -> Iterator[Hit]:
    """Somebody who enters records, by the name of the log-in or in full."""
    first, _by, last = text.rpartition(" ")
    wanted = Q(username__iexact=text)
    if first:
        wanted |= Q(first_name__iexact=first, last_name__iexact=last)
    for person in User.objects.filter(wanted).order_by("username")[:MOST_A_KIND]:
        yield Hit(PERSON, person.username, str(person), _("who entered records"))


def _tagged(text: str) -> Iterator[Hit]:
    """Ramets that carry the tag, then those that once did."""
    tags = Tag.objects.filter(text=text.upper(), live=True).select_related("ramet")
    for tag in sorted(tags, key=lambda tag: (tag.until is not None, -tag.since.toordinal())):
        yield _tagged_hit(tag)


def _tagged_hit(tag: Tag) -> Hit:
    return Hit("ramet", tag.ramet.code, why=_worn(tag), past=tag.until is not None)


def _worn(tag: Tag) -> str:
    """Since when a tag is on its ramet, or until when it was, and whether it was lost."""
    told = {"tag": tag.text, "since": tag.since, "until": tag.until}
    if tag.until is None:
        return _("carries tag %(tag)s since %(since)s") % told
    if tag.lost:
        return _("tag %(tag)s, on it from %(since)s, is lost since %(until)s") % told
    return _("carried tag %(tag)s from %(since)s to %(until)s") % told


def _placed(text: str) -> Iterator[Hit]:
    """What lives or stands in a cell: `K-14 C7`; the structure itself where the cell is empty."""
    name, _by, last = text.rpartition(" ")
    if not name:
        return
    try:
        cell = parse_cell(last)
    except CellError:
        return
    structure = Structure.objects.filter(code=name.strip().upper()).first()
    if structure is None:
        return
    here = _("in %(structure)s %(cell)s") % {"structure": structure.code, "cell": cell}
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
    why = _("its cell %(cell)s is empty") % {"cell": cell}
    if grid is None or not grid.holds(cell):
        why = _("it has no cell %(cell)s") % {"cell": cell}
    yield Hit("structure", structure.code, structure.name, why, sure=False)


def _holding(text: str) -> Iterator[Hit]:
    """Things whose code, tag or name holds the text."""
    for kind, model, name in _REGISTERS:
        wanted = Q(code__icontains=text) | Q(**{f"{name}__icontains": text})
        yield from _rows(kind, model, name, wanted)
    yield from _beginning(text, MOST_A_KIND)


def _beginning(text: str, most: int = MOST_NEAR) -> Iterator[Hit]:
    """Ramets whose codes begin so, in any spelling.

    Codes in their order from this one on, of which those that begin otherwise are left out here:
    no database has to know that an index serves for beginnings.
    """
    begun = re.sub(r"[\s_–-]+", "", text).upper()
    spelled = normalise(text)
    if spelled is None and _CODE_BEGINS.fullmatch(begun) is None:
        return
    wanted = spelled or begun
    codes = Ramet.objects.filter(code__gte=wanted).order_by("code")
    for code in codes.values_list("code", flat=True)[:most]:
        if code.startswith(wanted):
            yield Hit("ramet", code)


def _tags_beginning(text: str) -> Iterator[Hit]:
    """Ramets whose tags begin so, tags in force first."""
    wanted = text.upper()
    tags = Tag.objects.filter(text__gte=wanted, live=True).select_related("ramet").order_by("text")
    found = [tag for tag in tags[: MOST_NEAR * _MARGIN] if tag.text.startswith(wanted)]
    for tag in sorted(found, key=lambda tag: tag.until is not None):
        yield _tagged_hit(tag)


def _named(text: str) -> Iterator[Hit]:
    """Registers whose code or name holds the text, those that begin with it first."""
    parts = []
    for kind, rows, name in _all_rows():
        begins = Q(code__istartswith=text) | Q(**{f"{name}__istartswith": text})
        nearness = Case(When(code=text.upper(), then=0), When(begins, then=1), default=2)
        found = rows.filter(begins | Q(**{f"{name}__icontains": text}))
        parts.append((kind, found, name, nearness))
    yield from _union(parts, MOST_NEAR)


def _all_rows() -> Iterator[tuple[str, Any, str]]:
    """The rows of each register with its kind and the field of the name."""
    for kind, model, name in _REGISTERS:
        yield kind, model._default_manager.order_by(), name


def _union(parts: Sequence[tuple[str, Any, str, Any]], most: int) -> Iterator[Hit]:
    """The first rows of several registers together: each with its kind, the field of its name and
    what it is ordered by. One query."""
    found = [
        rows.annotate(
            place=ExpressionWrapper(
                order if isinstance(order, Case) else Value(order), output_field=IntegerField()
            ),
            kind_=Value(kind, output_field=CharField()),
            called=F(name),
        ).values_list("place", "kind_", "code", "called")
        for kind, rows, name, order in parts
    ]
    hits = found[0].union(*found[1:], all=True).order_by("place", "code", "kind_")
    for _place, kind, code, called in hits[:most]:
        yield Hit(kind, code, called)


def _rows(kind: str, model: type[Model], name: str, wanted: Q) -> Iterable[Hit]:
    rows: Any = model._default_manager.filter(wanted).order_by("code")
    for code, called in rows.values_list("code", name)[:MOST_A_KIND]:
        yield Hit(kind, code, called)
