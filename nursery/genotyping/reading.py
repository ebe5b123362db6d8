"""Reading a table of genotypes from text. Pure: no database.

The form: a header, then a line a sample; commas, semicolons or tabs between. The first column is
`sample`. A locus has one column by its own name, with both alleles in a cell (`174/180`), or two by
its name with `_1` and `_2`, one allele in each. Loci of the panel that have no column are not typed
in this table. Nothing in a cell, `.`, `-`, `?` or `NA` (also twice, `./.`) is a call that is
missing; of microsatellites `0` too, of letters `N` too.

A microsatellite's alleles are lengths, whole numbers. A SNP's are letters (`A/G` or `AG`), or in
the whole table the number of counted alleles, 0, 1 or 2. Other ploidies than two are refused: how
often a triploid has which of its alleles is not told by its bands.

All that is wrong is named by line and column, up to MOST_FAULTS, and then nothing is read.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from nursery.core.errors import ProblemList
from nursery.genotyping.calls import LARGEST_ALLELE, MISSING, Calls

MOST_FAULTS = 500
"""The most faults that are told one by one; a last one says how many more there are."""

MOST_SAMPLES = 20_000
MOST_CALLS = 20_000_000

SAMPLE = "sample"
BASES = "ACGT"

_NOTHING = frozenset({"", ".", "-", "?", "NA"})
_WHOLE = re.compile(r"[0-9]{1,6}")
_CONTROL = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f\ud800-\udfff]")
_HALVES = ("_1", "_2")

_BITS = LARGEST_ALLELE.bit_length()

Alleles = tuple[int, int]


class Marker(StrEnum):
    """What kind of loci a panel has."""

    MICROSATELLITE = "microsatellite"
    SNP = "snp"


class Writing(StrEnum):
    """How the calls of a table are written; only tables of one writing can be compared."""

    LENGTHS = "lengths"
    LETTERS = "letters"
    COUNTS = "counts"


@dataclass(frozen=True, slots=True)
class Table:
    """A table that was read: its calls at all loci of the panel, how they were written, and in
    which line each sample stands."""

    calls: Calls
    lines: tuple[int, ...]
    writing: Writing


class CallFault(ValueError):
    """A cell that is no call of two alleles; `code` is stable."""

    def __init__(self, code: str, message: str) -> None:
        super().__init__(message)
        self.code = code


def read_table(text: str, marker: Marker, loci: Sequence[str]) -> Table:
    """Read a table of genotypes at some of these loci.

    Raises Refused with all faults, each at (line, column): `empty_table`, `control_character`,
    `no_sample_column`, `unknown_locus`, `named_twice`, `half_a_locus`, `ragged_row`, `required`,
    `malformed`, `not_a_number`, `out_of_range`, `other_ploidy`, `half_missing`, `mixed_writing`,
    `too_many`.
    """
    faults = _Faults()
    rows = _rows(text, faults)
    line, header = next(rows, (1, []))
    faults.raise_if_any()
    places = _places([name.strip() for name in header], loci, faults)
    faults.raise_if_any()
    lines: dict[str, int] = {}
    calls: list[NDArray[np.int32]] = []
    cells_of = _Cells(marker, places, len(loci), faults)
    for line, cells in rows:
        _sample(line, cells, len(header), lines, faults)
        if len(cells) == len(header):
            calls.append(cells_of.row(line, cells))
        if len(lines) > MOST_SAMPLES or len(lines) * len(loci) > MOST_CALLS:
            faults.add(
                "too_many",
                f"at most {MOST_SAMPLES:,} samples and {MOST_CALLS:,} calls in one table. "
                "Enter it in parts.",
                line,
                SAMPLE,
            )
            break
    if not lines and not faults.found:
        faults.add("empty_table", "there is no sample below the header.", line, SAMPLE)
    faults.raise_if_any()
    alleles = _alleles(np.stack(calls))
    return Table(
        Calls(tuple(lines), tuple(loci), alleles),
        tuple(lines.values()),
        cells_of.writing or Writing.LETTERS,
    )


def _alleles(calls: NDArray[np.int32]) -> NDArray[np.int16]:
    """Calls, each as one number, as their two alleles, the smaller one first."""
    pairs = np.stack([calls >> _BITS, calls & LARGEST_ALLELE], axis=2)
    pairs[calls < 0] = MISSING
    pairs.sort(axis=2)
    return pairs.astype(np.int16)


class _Faults:
    """Faults by line and column; what is beyond the most is counted."""

    def __init__(self) -> None:
        self.found = ProblemList()
        self.beyond = 0

    def add(self, code: str, message: str, line: int, column: str) -> None:
        if len(self.found.items) >= MOST_FAULTS:
            self.beyond += 1
            return
        self.found.add(code, f"Line {line}, {column}: {message}", line, column)

    def raise_if_any(self) -> None:
        if self.beyond:
            self.found.add("more_faults", f"There are {self.beyond:,} more faults.")
        self.found.raise_if_any()


@dataclass(frozen=True, slots=True)
class _Place:
    """Where the alleles of a locus are: in one column, or in two (`other`)."""

    locus: int
    name: str
    column: int
    other: int | None = None


def _rows(text: str, faults: _Faults) -> Iterator[tuple[int, list[str]]]:
    """The lines that hold anything, with their numbers, as cells; the header is the first."""
    text = text.removeprefix("\ufeff")
    strange = _CONTROL.search(text)
    if strange is not None:
        line = text.count("\n", 0, strange.start()) + 1
        faults.add("control_character", "there is a control character (such as NUL).", line, SAMPLE)
        return
    if not text.strip():
        faults.add("empty_table", "there is nothing in this table.", 1, SAMPLE)
        return
    first = text.lstrip().partition("\n")[0]
    mark = max(",;\t", key=first.count)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=mark, strict=True)
    try:
        for cells in reader:
            if any(cell.strip() for cell in cells):
                yield reader.line_num, cells
    except csv.Error as error:
        faults.add("malformed", f"the line cannot be read ({error}).", reader.line_num, SAMPLE)


def _places(header: Sequence[str], loci: Sequence[str], faults: _Faults) -> list[_Place]:
    numbers = {name: number for number, name in enumerate(loci)}
    seen: dict[str, int] = {}
    places: list[_Place] = []
    halves: dict[str, dict[str, int]] = {}
    if header[0].lower() != SAMPLE:
        faults.add(
            "no_sample_column", f"the first column is {SAMPLE!r}, not {header[0]!r}.", 1, SAMPLE
        )
    for column, name in enumerate(header[1:], start=1):
        shown = name or f"column {column + 1}"
        if name in seen:
            faults.add("named_twice", f"{name!r} stands over two columns.", 1, shown)
            continue
        seen[name] = column
        stem = name[:-2]
        if name in numbers:
            places.append(_Place(numbers[name], name, column))
        elif name.endswith(_HALVES) and stem in numbers:
            halves.setdefault(stem, {})[name[-2:]] = column
        else:
            faults.add("unknown_locus", f"the panel has no locus {name!r}.", 1, shown)
    for stem, columns in halves.items():
        if stem in seen:
            faults.add("named_twice", f"{stem} has a column of its own as well.", 1, stem)
        elif len(columns) < 2:
            (there,) = columns
            missing = next(half for half in _HALVES if half != there)
            faults.add("half_a_locus", f"there is no {stem}{missing}.", 1, f"{stem}{there}")
        else:
            first, second = (columns[half] for half in _HALVES)
            places.append(_Place(numbers[stem], stem, first, second))
    if not places and not faults.found:
        faults.add("empty_table", "there is no locus beside the samples.", 1, SAMPLE)
    return places


def _sample(
    line: int, cells: Sequence[str], width: int, lines: dict[str, int], faults: _Faults
) -> None:
    """Keep the line of a sample by its name as it is looked up, in capitals."""
    name = cells[0].strip().upper()
    if not name:
        faults.add("required", "there is no name of a sample.", line, SAMPLE)
    elif name in lines:
        faults.add("named_twice", f"{name} stands in line {lines[name]} too.", line, SAMPLE)
    lines.setdefault(name, line)
    if len(cells) != width:
        faults.add("ragged_row", f"{len(cells)} cells under a header of {width}.", line, SAMPLE)


class _Cells:
    """Reads the cells of lines as calls; each text is understood once."""

    def __init__(
        self, marker: Marker, places: Sequence[_Place], loci: int, faults: _Faults
    ) -> None:
        self.writing = Writing.LENGTHS if marker is Marker.MICROSATELLITE else None
        self.places = places
        self.numbers = [place.locus for place in places]
        self.loci = loci
        self.faults = faults
        self.known: dict[str, int] = {}
        self.wrong: dict[str, CallFault] = {}

    def row(self, line: int, cells: Sequence[str]) -> NDArray[np.int32]:
        """The calls of a line at all loci, both alleles in one number."""
        texts = [
            cells[place.column]
            if place.other is None
            else f"{cells[place.column]}/{cells[place.other]}"
            for place in self.places
        ]
        if self.writing is None:
            self.writing = _writing(texts)
        try:
            calls = [self.known[text] for text in texts]
        except KeyError:
            calls = [
                self._call(line, text, place)
                for text, place in zip(texts, self.places, strict=True)
            ]
        found = np.full(self.loci, MISSING, dtype=np.int32)
        found[self.numbers] = calls
        return found

    def _call(self, line: int, text: str, place: _Place) -> int:
        if text not in self.known and text not in self.wrong:
            parse = _PARSE[self.writing or Writing.LETTERS]
            try:
                alleles = parse(text.strip().upper())
                self.known[text] = MISSING if alleles is None else alleles[0] << _BITS | alleles[1]
            except CallFault as fault:
                self.wrong[text] = fault
        fault_ = self.wrong.get(text)
        if fault_ is not None:
            self.faults.add(fault_.code, str(fault_), line, place.name)
            return MISSING
        return self.known[text]


def _writing(texts: Iterable[str]) -> Writing | None:
    """How the calls of SNPs are written, by the first that there is; None where all are missing."""
    for text in texts:
        call = text.strip().upper()
        if call[:1].isdigit():
            return Writing.COUNTS
        if call not in _NOTHING and not set(call) <= set("N./-?"):
            return Writing.LETTERS
    return None


def _halves(text: str, nothing: frozenset[str]) -> tuple[str, str] | None:
    """The two alleles as they are written; None where the call is missing. Raises CallFault."""
    if text in nothing:
        return None
    parts = [part.strip() for part in text.split("/")]
    if len(parts) != 2:
        raise CallFault(
            "other_ploidy",
            f"{text!r} is no pair: two alleles can be compared, no more and no fewer (`174/180`).",
        )
    missing = [part in nothing for part in parts]
    if all(missing):
        return None
    if any(missing):
        raise CallFault(
            "half_missing", f"of {text!r} one allele is missing: call both, or leave both out."
        )
    return parts[0], parts[1]


def _lengths(text: str) -> Alleles | None:
    halves = _halves(text, _NOTHING | {"0"})
    if halves is None:
        return None
    found = []
    for half in halves:
        if not _WHOLE.fullmatch(half):
            raise CallFault("not_a_number", f"{half!r} is no allele: lengths are whole numbers.")
        length = int(half)
        if not 1 <= length <= LARGEST_ALLELE:
            raise CallFault("out_of_range", f"{half} is no length of a fragment.")
        found.append(length)
    return found[0], found[1]


def _letters(text: str) -> Alleles | None:
    if len(text) == 2 and "/" not in text and text not in _NOTHING:
        text = f"{text[0]}/{text[1]}"
    if text[:1].isdigit():
        raise CallFault("mixed_writing", f"{text!r} is a number; the table has letters elsewhere.")
    halves = _halves(text, _NOTHING | {"N"})
    if halves is None:
        return None
    for half in halves:
        if len(half) != 1 or half not in BASES:
            raise CallFault("malformed", f"{half!r} is no base: A, C, G or T.")
    return BASES.index(halves[0]) + 1, BASES.index(halves[1]) + 1


_OF_COUNT = {"0": (0, 0), "1": (0, 1), "2": (1, 1)}


def _count(text: str) -> Alleles | None:
    if text in _NOTHING or text == "./.":
        return None
    if text in _OF_COUNT:
        return _OF_COUNT[text]
    if _WHOLE.fullmatch(text):
        raise CallFault(
            "other_ploidy", f"{text} counted alleles: two alleles have 0, 1 or 2 of them."
        )
    raise CallFault("mixed_writing", f"{text!r} is no count; the table has 0, 1 and 2 elsewhere.")


_PARSE: dict[Writing, Callable[[str], Alleles | None]] = {
    Writing.LENGTHS: _lengths,
    Writing.LETTERS: _letters,
    Writing.COUNTS: _count,
}
