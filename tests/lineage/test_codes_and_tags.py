"""Codes of ramets and physical tags: given, taken, mistyped, found."""

from __future__ import annotations

import pytest

from nursery.core.codes import make_code, next_codes, usable
from nursery.core.errors import Unknown
from nursery.core.models import CodeSeries
from nursery.lineage import resolve
from nursery.lineage.births import FARTHEST
from nursery.lineage.models import Ramet, Tag
from tests import factories as f
from tests.refusals import refused


@pytest.fixture
def series(programme: f.Programme) -> str:
    row = programme.nursery.series
    assert row is not None
    return row.prefix


@pytest.fixture
def mother(programme: f.Programme) -> Ramet:
    return programme.mother()


def cut_with(programme: f.Programme, mother: Ramet, *rows: dict[str, object]) -> list[Ramet]:
    return f.cut(programme.lead, [mother], into=programme.tray, children=list(rows))


def a_code(series: str, number: int = 50) -> str:
    """The first code of a series from this number on."""
    return next_codes(series, number, 1)[0][0]


# Codes


def test_children_have_codes_of_the_nursery_they_go_to(
    programme: f.Programme, mother: Ramet, series: str
) -> None:
    codes = [child.code for child in f.cut(programme.lead, [mother], 3, into=programme.plate)]
    assert codes == next_codes(series, 1, 3)[0]


def test_children_without_a_place_have_codes_of_the_nursery_of_their_mother(
    programme: f.Programme, mother: Ramet, series: str
) -> None:
    assert f.cut(programme.lead, [mother])[0].code == a_code(series, 1)


def test_children_cut_aboard_have_codes_of_the_field(programme: f.Programme) -> None:
    wild = f.ramets_of(f.collection(programme.lead, programme.colony))[0]
    assert f.cut(programme.lead, [wild])[0].code == make_code("W", 2)


def test_a_series_may_be_asked_for(programme: f.Programme, mother: Ramet) -> None:
    CodeSeries.objects.create(prefix="QX")
    assert f.cut(programme.lead, [mother], series="qx")[0].code == make_code("QX", 1)


def test_a_given_code_is_kept_in_its_canonical_spelling(
    programme: f.Programme, mother: Ramet, series: str
) -> None:
    code = a_code(series)
    child = cut_with(programme, mother, {"code": code.lower().replace("-", " ")})[0]
    assert child.code == code


def test_the_series_goes_on_after_a_given_code(
    programme: f.Programme, mother: Ramet, series: str
) -> None:
    children = cut_with(programme, mother, {"code": a_code(series)}, {})
    codes, following = next_codes(series, 50, 2)
    assert [child.code for child in children] == codes
    assert CodeSeries.objects.get(prefix=series).next_number == following


def test_a_given_code_below_the_next_number_does_not_set_the_series_back(
    programme: f.Programme, mother: Ramet, series: str
) -> None:
    CodeSeries.objects.filter(prefix=series).update(next_number=60)
    children = cut_with(programme, mother, {"code": a_code(series)}, {})
    assert children[1].code == a_code(series, 60)


def test_a_number_whose_check_character_would_be_a_star_is_skipped(
    programme: f.Programme, mother: Ramet, series: str
) -> None:
    skipped = next(number for number in range(1, 1000) if not usable(series, number))
    CodeSeries.objects.filter(prefix=series).update(next_number=skipped)
    child = f.cut(programme.lead, [mother])[0]
    assert child.code == next(
        make_code(series, number) for number in range(skipped + 1, 2000) if usable(series, number)
    )


def test_a_code_that_is_taken_is_refused(
    programme: f.Programme, mother: Ramet, series: str
) -> None:
    code = cut_with(programme, mother, {"code": a_code(series)})[0].code
    with refused("code_taken", pointer="#/children/1/code"):
        cut_with(programme, mother, {}, {"code": code})


def test_the_code_of_a_ramet_that_ended_is_not_given_again(
    programme: f.Programme, mother: Ramet
) -> None:
    f.cut(programme.lead, [], used_up=[mother])
    other = programme.mother()
    with refused("code_taken"):
        cut_with(programme, other, {"code": mother.code})


def test_one_code_given_twice_is_refused(
    programme: f.Programme, mother: Ramet, series: str
) -> None:
    code = a_code(series)
    for again in (code, code.lower()):
        with refused("named_twice", pointer="#/children/1/code"):
            cut_with(programme, mother, {"code": code}, {"code": again})


def test_a_given_code_with_a_wrong_check_character_is_refused(
    programme: f.Programme, mother: Ramet, series: str
) -> None:
    code = a_code(series)
    wrong = code[:-1] + ("A" if code[-1] != "A" else "B")
    with refused("wrong_check_character", pointer="#/children/0/code"):
        cut_with(programme, mother, {"code": wrong})


def test_a_given_code_that_is_no_code_is_refused(programme: f.Programme, mother: Ramet) -> None:
    for text in ("17", "=A1", "KA-1", "K" * 60):
        with refused("code_malformed", pointer="#/children/0/code"):
            cut_with(programme, mother, {"code": text})


def test_a_given_code_of_no_series_is_refused(programme: f.Programme, mother: Ramet) -> None:
    with refused("unknown_series", pointer="#/children/0/code"):
        cut_with(programme, mother, {"code": make_code("QQQQ", 1)})


def test_a_series_that_has_run_out_is_refused_and_not_a_fault(
    programme: f.Programme, mother: Ramet, series: str
) -> None:
    CodeSeries.objects.filter(prefix=series).update(next_number=1_000_000_000)
    with refused("series_used_up"):
        f.cut(programme.lead, [mother])


def test_a_code_far_past_its_series_is_refused(
    programme: f.Programme, mother: Ramet, series: str
) -> None:
    CodeSeries.objects.filter(prefix=series).update(next_number=50)
    far = next(n for n in range(50 + FARTHEST + 1, 10**9) if usable(series, n))
    with refused("code_too_far", pointer="#/children/1/code") as caught:
        cut_with(programme, mother, {}, {"code": make_code(series, far)})
    assert "100,000" in caught.value.problems[0].message
    near = next(n for n in range(50 + FARTHEST, 50, -1) if usable(series, n))
    child = cut_with(programme, mother, {"code": make_code(series, near)})[0]
    assert child.code == make_code(series, near)


def test_each_series_has_its_own_measure_of_far(
    programme: f.Programme, mother: Ramet, series: str
) -> None:
    CodeSeries.objects.create(prefix="QX", next_number=500_000)
    code = a_code("QX", 590_000)
    assert cut_with(programme, mother, {"code": code})[0].code == code
    with refused("code_too_far"):
        cut_with(programme, mother, {"code": a_code(series, 590_000)})


# Mistyped


def test_a_mistyped_code_is_refused_with_those_that_may_be_meant(
    programme: f.Programme, mother: Ramet
) -> None:
    child = f.cut(programme.lead, [mother])[0]
    swapped = child.code[:-1] + ("A" if child.code[-1] != "A" else "B")
    with refused("wrong_check_character", pointer="#/sources/0/ramet") as caught:
        f.cut(programme.lead, [], sources=[{"ramet": swapped}])
    assert f"Did you mean {child.code}" in caught.value.problems[0].message


def test_an_unknown_code_is_refused(programme: f.Programme, series: str) -> None:
    with refused("unknown_ramet", pointer="#/sources/0/ramet"):
        f.cut(programme.lead, [], sources=[{"ramet": a_code(series, 77)}])


@pytest.mark.parametrize(
    "text", ["nobody", "=cmd|' /C calc'!A0", "'; DROP TABLE lineage_ramet; --", "π7", "A" * 60]
)
def test_a_text_that_names_nothing_is_refused(programme: f.Programme, text: str) -> None:
    with refused("unknown_ramet", pointer="#/sources/0/ramet"):
        f.cut(programme.lead, [], sources=[{"ramet": text}])


@pytest.mark.parametrize(
    ("text", "code"),
    [("A\x00", "control_character"), ("A" * 61, "too_long"), ("", "required"), (" ", "required")],
)
def test_a_text_that_can_be_no_name_is_refused(
    programme: f.Programme, text: str, code: str
) -> None:
    with refused(code, pointer="#/sources/0/ramet"):
        f.cut(programme.lead, [], sources=[{"ramet": text}])


def test_a_whole_wrong_file_is_told_row_by_row(programme: f.Programme) -> None:
    rows = [{"ramet": f"none {n}"} for n in range(200)]
    with refused(*["unknown_ramet"] * 200) as caught:
        f.cut(programme.lead, [], sources=rows)
    assert [problem.row for problem in caught.value.problems] == list(range(200))


# Tags


def test_a_tag_names_its_ramet_in_any_case(programme: f.Programme, mother: Ramet) -> None:
    child = cut_with(programme, mother, {"tag": "Blue 7"})[0]
    grandchild = f.cut(programme.lead, [], sources=[{"ramet": " blue 7 "}])[0]
    assert grandchild.fragmentation is not None
    assert [source.ramet for source in grandchild.fragmentation.sources.all()] == [child]


def test_a_tag_in_force_is_not_given_again(programme: f.Programme, mother: Ramet) -> None:
    child = cut_with(programme, mother, {"tag": "7"})[0]
    with refused("tag_taken", pointer="#/children/1/tag") as caught:
        cut_with(programme, mother, {}, {"tag": "7"})
    assert child.code in caught.value.problems[0].message


def test_one_tag_given_twice_is_refused(programme: f.Programme, mother: Ramet) -> None:
    with refused("tag_twice", pointer="#/children/1/tag"):
        cut_with(programme, mother, {"tag": "a 7"}, {"tag": "A 7"})


def test_one_ramet_named_by_two_spellings_of_its_tag_is_named_twice(
    programme: f.Programme, mother: Ramet
) -> None:
    cut_with(programme, mother, {"tag": "blue 7"})
    with refused("named_twice", pointer="#/sources/1/ramet"):
        f.cut(programme.lead, [], sources=[{"ramet": "blue 7"}, {"ramet": "BLUE 7"}])


def test_a_tag_is_read_as_it_was_on_the_day(programme: f.Programme, mother: Ramet) -> None:
    first, second = f.cut(programme.lead, [mother], 2)
    Tag.objects.create(text="7", ramet=first, since="2021-03-01", until="2021-05-01")
    Tag.objects.create(text="7", ramet=second, since="2021-05-02")
    for when, meant in (("2021-04-01", first), ("2021-05-01", first), ("2021-05-02", second)):
        child = f.cut(programme.lead, [], sources=[{"ramet": "7"}], when=when)[0]
        assert child.fragmentation is not None
        assert [source.ramet for source in child.fragmentation.sources.all()] == [meant]
    with refused("unknown_ramet"):
        f.cut(programme.lead, [], sources=[{"ramet": "7"}], when="2021-02-01")


def test_a_search_finds_a_tag_that_came_off_long_ago(programme: f.Programme, mother: Ramet) -> None:
    Tag.objects.create(text="OLD 9", ramet=mother, since="2021-01-11", until="2021-01-12")
    assert resolve.one("old 9") == mother


def test_a_search_prefers_the_tag_in_force(programme: f.Programme, mother: Ramet) -> None:
    second = programme.mother()
    Tag.objects.create(text="9", ramet=mother, since="2021-03-01", until="2021-03-02")
    Tag.objects.create(text="9", ramet=second, since="2021-01-12")
    assert resolve.one("9") == second


@pytest.mark.parametrize("text", ["", "  ", "\x00", "none", "NB0001-\x00", "x" * 5000, "⌘ 7"])
def test_a_search_for_nothing_finds_nothing(programme: f.Programme, text: str) -> None:
    with refused("unknown_ramet", by=Unknown):
        resolve.one(text)
