"""Tables of genotypes: what is read, and that every fault is named by its line and column."""

from __future__ import annotations

import pytest

from nursery.core.errors import Refused
from nursery.genotyping.calls import MISSING, packed, unpacked
from nursery.genotyping.reading import MOST_FAULTS, Marker, Table, Writing, read_table

LOCI = ("Inv1", "Inv2", "Inv3")


def lengths(*lines: str) -> Table:
    return read_table("\n".join(lines), Marker.MICROSATELLITE, LOCI)


def snps(*lines: str) -> Table:
    return read_table("\n".join(lines), Marker.SNP, LOCI)


def faults(marker: Marker, *lines: str) -> list[tuple[str, tuple[str | int, ...]]]:
    with pytest.raises(Refused) as caught:
        read_table("\n".join(lines), marker, LOCI)
    return [(problem.code, problem.path) for problem in caught.value.problems]


def of(table: Table, sample: str) -> list[list[int]]:
    found: list[list[int]] = table.calls.alleles[table.calls.samples.index(sample)].tolist()
    return found


def test_a_locus_has_one_column_or_two() -> None:
    table = lengths("sample,Inv2,Inv1_1,Inv1_2", "S-1,210/204,174,180")
    assert of(table, "S-1") == [[174, 180], [204, 210], [MISSING, MISSING]]
    assert table.writing is Writing.LENGTHS


@pytest.mark.parametrize("mark", [",", ";", "\t"])
def test_columns_are_parted_by_commas_semicolons_or_tabs(mark: str) -> None:
    table = lengths(mark.join(["sample", "Inv1"]), mark.join(["s-1", "174/174"]))
    assert of(table, "S-1")[0] == [174, 174]


def test_a_locus_whose_own_name_ends_like_a_half_is_itself() -> None:
    table = read_table("sample,M_1,M_2\nS,1/2,3/4", Marker.MICROSATELLITE, ("M_1", "M_2"))
    assert of(table, "S") == [[1, 2], [3, 4]]


@pytest.mark.parametrize("nothing", ["", ".", "-", "?", "na", "./.", "0/0", "0"])
def test_what_is_missing_has_no_alleles(nothing: str) -> None:
    assert of(lengths("sample,Inv1,Inv2", f"S,{nothing},1/2"), "S")[0] == [MISSING, MISSING]


def test_snps_are_counted_alleles_in_the_whole_table() -> None:
    table = snps("sample,Inv1,Inv2,Inv3", "S,0,1,2", "T,NA,,.")
    assert of(table, "S") == [[0, 0], [0, 1], [1, 1]]
    assert of(table, "T") == [[MISSING, MISSING]] * 3
    assert table.writing is Writing.COUNTS


def test_snps_are_letters_with_or_without_a_stroke() -> None:
    table = snps("sample,Inv1,Inv2,Inv3", "S,GA,t/c,N/N", "T,--,NN,aa")
    assert of(table, "S") == [[1, 3], [2, 4], [MISSING, MISSING]]
    assert of(table, "T")[2] == [1, 1]
    assert table.writing is Writing.LETTERS


def test_every_fault_is_named_by_line_and_column() -> None:
    assert faults(
        Marker.MICROSATELLITE,
        "sample,Inv1,Inv2",
        "S,174,180/x",
        "",
        "s,1/2/3,0/180",
        "T,1/2",
        ",1/40000,1/2",
    ) == [
        ("other_ploidy", (2, "Inv1")),
        ("not_a_number", (2, "Inv2")),
        ("named_twice", (4, "sample")),
        ("other_ploidy", (4, "Inv1")),
        ("half_missing", (4, "Inv2")),
        ("ragged_row", (5, "sample")),
        ("required", (6, "sample")),
        ("out_of_range", (6, "Inv1")),
    ]


def test_every_fault_of_the_header_is_named() -> None:
    assert faults(
        Marker.SNP, "name,Inv1,Inv1,Inv2_1,Inv3,Inv3_1,Inv3_2,Other,", "S" + ",0" * 8
    ) == [
        ("no_sample_column", (1, "sample")),
        ("named_twice", (1, "Inv1")),
        ("unknown_locus", (1, "Other")),
        ("unknown_locus", (1, "column 9")),
        ("half_a_locus", (1, "Inv2_1")),
        ("named_twice", (1, "Inv3")),
    ]


def test_a_fault_says_its_line_and_column_in_words() -> None:
    with pytest.raises(Refused) as caught:
        lengths("sample,Inv1", "S,174")
    assert caught.value.problems[0].message.startswith("Line 2, Inv1: '174' is no pair")


@pytest.mark.parametrize(
    ("lines", "code"),
    [
        (("sample,Inv1,Inv2", "S,0,A/G"), "mixed_writing"),
        (("sample,Inv1,Inv2", "S,A/G,1"), "mixed_writing"),
        (("sample,Inv1,Inv2", "S,0,3"), "other_ploidy"),
        (("sample,Inv1,Inv2", "S,A/G,AGG"), "other_ploidy"),
        (("sample,Inv1,Inv2", "S,A/G,A/N"), "half_missing"),
        (("sample,Inv1,Inv2", "S,A/G,A/U"), "malformed"),
        (("sample,Inv1", 'S,"A/G'), "malformed"),
        (("sample,Inv1", "S\x00,0"), "control_character"),
        (("sample,Inv1",), "empty_table"),
        (("sample", "S"), "empty_table"),
        (("", " "), "empty_table"),
    ],
)
def test_what_is_no_table_of_two_alleles_is_refused(lines: tuple[str, ...], code: str) -> None:
    assert [found for found, _ in faults(Marker.SNP, *lines)] == [code]


def test_beyond_the_most_faults_are_counted() -> None:
    found = faults(Marker.SNP, "sample,Inv1", *(f"S{n},9" for n in range(MOST_FAULTS + 7)))
    assert len(found) == MOST_FAULTS + 1
    assert found[-1] == ("more_faults", ())


def test_packed_calls_are_the_same_when_unpacked() -> None:
    calls = lengths("sample,Inv1,Inv3", "S,174/180,", "T,1/1,32767/2").calls
    again = unpacked(calls.samples, calls.loci, packed(calls))
    assert again.alleles.tolist() == calls.alleles.tolist()


def test_packed_calls_of_other_samples_are_refused() -> None:
    calls = lengths("sample,Inv1", "S,174/180").calls
    with pytest.raises(ValueError, match="so many samples"):
        unpacked(("S", "T"), calls.loci, packed(calls))
