"""How a descent is drawn: what hangs on what, where it stands in time, and how much is folded."""

from datetime import date, timedelta

from hypothesis import given
from hypothesis import strategies as st

from nursery.lineage.branches import Cutting, Fold, Picture, Tally, picture

START = date(2021, 1, 1)


def cut(
    key: str,
    day: int,
    sources: dict[str, int] | None = None,
    generation: int | None = 1,
    living: int = 1,
    **values: object,
) -> Cutting:
    at = START + timedelta(days=day)
    return Cutting(
        key,
        "cut",
        at,
        at,
        generation,
        Tally(living=living),
        sources or {},
        **values,  # type: ignore[arg-type]
    )


def drawn(*cuttings: Cutting, most: int = 60) -> Picture:
    found = picture(cuttings, most)
    assert found is not None
    return found


def keys(found: Picture) -> list[str]:
    return [row.node.key for row in found.rows]


def test_nothing_has_no_picture() -> None:
    assert picture([]) is None


def test_each_stands_right_below_what_it_was_cut_from() -> None:
    found = drawn(
        cut("a", 0, generation=0),
        cut("b", 10, {"a": 1}),
        cut("c", 20, {"b": 1}, 2),
        cut("d", 15, {"a": 1}),
    )
    assert keys(found) == ["a", "b", "c", "d"]
    assert [row.stem for row in found.rows] == [None, 0, 1, 0]


def test_a_node_stands_at_its_day() -> None:
    found = drawn(cut("a", 0), cut("b", 25, {"a": 1}), cut("c", 100, {"b": 1}))
    assert [row.at for row in found.rows] == [0, 0.25, 1]
    assert (found.first, found.last) == (START, START + timedelta(days=100))


def test_a_single_day_stands_in_the_middle() -> None:
    assert drawn(cut("a", 3)).rows[0].at == 0.5


def test_pooled_mothers_join_by_side_stems_the_most_numerous_one_carries() -> None:
    found = drawn(
        cut("a", 0, generation=0),
        cut("b", 1, generation=0),
        cut("c", 9, {"a": 1, "b": 3}),
    )
    assert keys(found) == ["a", "b", "c"]
    pooled = found.rows[2]
    assert (pooled.stem, pooled.side) == (1, [0])


def test_few_are_drawn_one_by_one_and_many_by_year_and_generation() -> None:
    many = [cut("a", 0, generation=0)]
    many += [cut(f"c{n}", 30 * n, {"a": 1}, living=2) for n in range(1, 25)]
    assert drawn(*many).fold is Fold.CUTTING
    by_year = drawn(*many, most=10)
    assert by_year.fold is Fold.YEAR
    # The wild fragments, and the first generation in 2021 and 2022.
    assert [len(row.node.cuttings) for row in by_year.rows] == [1, 12, 12]
    assert [row.stem for row in by_year.rows] == [None, 0, 0]
    whole = drawn(*many, most=2)
    assert whole.fold is Fold.GENERATION
    assert [row.node.tally.living for row in whole.rows] == [1, 48]


def test_folded_mothers_stand_no_later_than_what_was_cut_from_them() -> None:
    found = drawn(
        cut("a", 0, generation=0),
        cut("b", 300, generation=0),
        cut("c", 20, {"a": 1}),
        cut("d", 320, {"b": 1}),
        most=2,
    )
    wild, first = found.rows
    assert [len(row.node.cuttings) for row in found.rows] == [2, 2]
    assert wild.at < first.at


def test_a_gap_is_not_folded_into_what_was_recorded() -> None:
    found = drawn(
        *(cut(f"a{n}", n) for n in range(3)),
        cut("b", 1, gap=True),
        cut("c", 2, gap=True),
        most=2,
    )
    assert sorted((row.node.gap, len(row.node.cuttings)) for row in found.rows) == [
        (False, 3),
        (True, 2),
    ]


def test_vague_years_that_lead_in_a_ring_are_all_drawn() -> None:
    # Generations that are not known, folded by year: each year holds a mother of the other.
    ring = [
        cut("a", 0, generation=None),
        cut("b", 400, {"a": 1}, None),
        cut("c", 10, {"b": 1}, None),
    ]
    found = drawn(*ring, *(cut(f"x{n}", 500, generation=None) for n in range(5)), most=4)
    assert found.fold is Fold.YEAR
    assert sum(len(row.node.cuttings) for row in found.rows) == 8


@st.composite
def descents(draw: st.DrawFn) -> list[Cutting]:
    count = draw(st.integers(1, 40))
    found = []
    for n in range(count):
        mothers = draw(st.lists(st.integers(0, n - 1), max_size=3, unique=True)) if n else []
        generation = max((found[m].generation or 0 for m in mothers), default=-1) + 1
        found.append(
            cut(
                f"k{n:02}",
                draw(st.integers(0, 2000)),
                {f"k{m:02}": draw(st.integers(1, 9)) for m in mothers},
                generation,
                draw(st.integers(0, 50)),
            )
        )
    return found


@given(descents(), st.integers(1, 50))
def test_no_ramet_and_no_mother_is_lost_however_it_is_folded(
    cuttings: list[Cutting], most: int
) -> None:
    found = drawn(*cuttings, most=most)
    drawn_keys = [each.key for row in found.rows for each in row.node.cuttings]
    assert sorted(drawn_keys) == sorted(each.key for each in cuttings)
    assert sum(row.node.tally.living for row in found.rows) == sum(
        each.tally.living for each in cuttings
    )
    assert all(0 <= row.at <= 1 for row in found.rows)
    home = {each.key: n for n, row in enumerate(found.rows) for each in row.node.cuttings}
    for n, row in enumerate(found.rows):
        joined = {home[key] for each in row.node.cuttings for key in each.sources} - {n}
        told = {*row.side, *([row.stem] if row.stem is not None else [])}
        assert told <= joined
        assert row.stem is not None or not told or told == joined
        if found.fold is Fold.CUTTING:
            assert told == joined
            assert row.stem is None or row.stem < n
    if found.fold is not Fold.GENERATION:
        assert len(found.rows) <= most
