"""Two writers at once: one wins, the other is refused with a reason, and nobody waits for ever."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import partial
from itertools import combinations
from typing import Any
from uuid import uuid4

import pytest

from nursery.core.codes import next_codes
from nursery.core.models import CodeSeries, Event
from nursery.donors.models import DonorColony, DonorSet
from nursery.lineage.actions.structures import edit_structure
from nursery.lineage.models import Ramet, Tag
from nursery.lineage.words import Life
from nursery.places.models import Structure
from tests import factories as f
from tests.together import at_once, codes

pytestmark = pytest.mark.django_db(transaction=True)

ROUNDS = 10


@pytest.fixture
def programme(transactional_db: None) -> f.Programme:
    """Committed, so that other connections see it."""
    return f.programme()


def test_one_cell_is_filled_once(programme: f.Programme) -> None:
    mothers = programme.mothers(2)
    cells = [str(cell) for cell in programme.plate.grid.cells()]  # type: ignore[union-attr]
    for cell in cells[:ROUNDS]:
        answers = at_once(
            [
                partial(
                    f.cut,
                    programme.lead,
                    [mother],
                    into=programme.plate,
                    children=[{"cell": cell}],
                )
                for mother in mothers
            ]
        )
        assert codes(answers) == ["cell_occupied"]
    assert Ramet.objects.filter(structure=programme.plate).count() == ROUNDS


def test_the_next_free_cells_are_given_to_one_after_the_other(programme: f.Programme) -> None:
    mothers = programme.mothers(4)
    for _ in range(4):
        answers = at_once(
            [
                partial(f.cut, programme.lead, [mother], 5, into=programme.plate)
                for mother in mothers
            ]
        )
        assert codes(answers) == []
    assert Ramet.objects.filter(structure=programme.plate).count() == 80


def test_a_full_plate_is_full_for_one_of_two(programme: f.Programme) -> None:
    mothers = programme.mothers(2)
    for _ in range(4):
        plate = f.structure(programme.lead, programme.bay, rows=2, columns=2)
        answers = at_once(
            [partial(f.cut, programme.lead, [mother], 3, into=plate) for mother in mothers]
        )
        assert codes(answers) == ["structure_full"]


def test_one_mother_is_used_up_once(programme: f.Programme) -> None:
    for mother in programme.mothers(ROUNDS):
        answers = at_once(
            [partial(f.cut, programme.lead, [], 2, used_up=[mother]) for _ in range(2)]
        )
        assert codes(answers) == ["not_living"]
        assert Ramet.objects.get(pk=mother.pk).steps_taken == 3
    assert Ramet.objects.filter(life=Life.USED_UP).count() == ROUNDS


def test_a_kept_mother_is_cut_by_both(programme: f.Programme) -> None:
    mother = programme.mother()
    for _ in range(ROUNDS):
        assert codes(at_once([partial(f.cut, programme.lead, [mother])] * 2)) == []
    assert Ramet.objects.get(pk=mother.pk).steps_taken == 2 + 2 * ROUNDS


def test_pooled_cuttings_in_opposite_order_do_not_wait_for_each_other(
    programme: f.Programme,
) -> None:
    mothers = programme.mothers(6)
    for _ in range(ROUNDS):
        answers = at_once(
            [
                partial(f.cut, programme.lead, mothers, into=programme.plate),
                partial(f.cut, programme.lead, mothers[::-1], into=programme.tray),
            ]
        )
        assert codes(answers) == []


def test_moves_in_opposite_directions_do_not_wait_for_each_other(
    programme: f.Programme,
) -> None:
    plates = [programme.plate, f.structure(programme.lead, programme.bay)]
    there, back = (f.cut(programme.lead, programme.mothers(), 5, into=plate) for plate in plates)
    for round_ in range(ROUNDS):
        first, second = plates[:: 1 if round_ % 2 else -1]
        answers = at_once(
            [
                partial(move, programme, there, first),
                partial(move, programme, back, second),
            ]
        )
        assert codes(answers) == []
    assert Ramet.objects.filter(row__isnull=False).count() == 10


def move(programme: f.Programme, ramets: list[Ramet], to: Structure) -> Event:
    rows = [{"ramet": ramet.code} for ramet in ramets]
    return f.move(programme.lead, rows, structure=to.code)


def test_one_ramet_is_moved_to_one_place(programme: f.Programme) -> None:
    ramet = programme.mother()
    for _ in range(ROUNDS):
        answers = at_once(
            [partial(move, programme, [ramet], to) for to in (programme.plate, programme.tray)]
        )
        assert codes(answers) == []
        last = Ramet.objects.get(pk=ramet.pk)
        assert (last.row is None) == (last.structure_id == programme.tray.pk)


def test_one_piece_is_received_once(programme: f.Programme) -> None:
    other = f.nursery(programme.lead)
    tray = f.tray(programme.lead, f.bay(programme.lead, other))
    for _ in range(ROUNDS):
        taken = f.collection(programme.lead, programme.colony)
        answers = at_once(
            [
                partial(f.intake, programme.lead, taken, programme.nursery, programme.tray),
                partial(f.intake, programme.lead, taken, other, tray),
            ]
        )
        assert codes(answers) == ["not_packed"]


def test_one_uid_sent_ten_times_at_once_is_one_entry(programme: f.Programme) -> None:
    mother = programme.mother()
    for _ in range(3):
        uid = str(uuid4())
        answers = at_once([partial(f.cut, programme.lead, [mother], 3, uid=uid)] * 10)
        assert codes(answers) == []
        made = {
            tuple(child.pk for child in answer) for answer in answers if isinstance(answer, list)
        }
        assert len(made) == 1
        assert Event.objects.filter(uid=uid).count() == 1


def test_one_uid_for_two_entries_is_given_to_one(programme: f.Programme) -> None:
    mother = programme.mother()
    for _ in range(ROUNDS):
        uid = str(uuid4())
        answers = at_once(
            [
                partial(f.cut, programme.lead, [mother], uid=uid, note=note)
                for note in ("one", "two")
            ]
        )
        assert codes(answers) == ["uid_taken"]


def test_codes_are_given_once_however_many_take_them(programme: f.Programme) -> None:
    mothers = programme.mothers(8)
    for _ in range(3):
        answers = at_once([partial(f.cut, programme.lead, [mother], 7) for mother in mothers])
        assert codes(answers) == []
    assert Ramet.objects.exclude(fragmentation=None).values("code").distinct().count() == 168


def test_one_given_code_is_given_to_one(programme: f.Programme) -> None:
    series = programme.nursery.series
    assert series is not None
    mothers = programme.mothers(2)
    wanted, _ = next_codes(series.prefix, 500, ROUNDS)
    for code in wanted:
        answers = at_once(
            [
                partial(f.cut, programme.lead, [mother], children=[{"code": code}])
                for mother in mothers
            ]
        )
        assert codes(answers) == ["code_taken"]


def test_given_and_taken_codes_of_two_series_do_not_wait_for_each_other(
    programme: f.Programme,
) -> None:
    mothers = programme.mothers(2)
    for prefix in ("XA", "XB"):
        CodeSeries.objects.create(prefix=prefix)
    for round_ in range(ROUNDS):
        number = 100 * (round_ + 1)
        acts: list[Callable[[], Any]] = [
            partial(
                f.cut,
                programme.lead,
                [mother],
                series=own,
                children=[{"code": next_codes(other, number, 1)[0][0]}, {}],
            )
            for mother, own, other in zip(mothers, ("XA", "XB"), ("XB", "XA"), strict=True)
        ]
        assert codes(at_once(acts)) == []


def test_one_tag_is_put_on_one_ramet(programme: f.Programme) -> None:
    for prefix in ("XA", "XB"):
        CodeSeries.objects.create(prefix=prefix)
    mothers = programme.mothers(2)
    for round_ in range(ROUNDS):
        answers = at_once(
            [
                partial(
                    f.cut,
                    programme.lead,
                    [mother],
                    series=series,
                    children=[{"tag": f"T {round_}"}],
                )
                for mother, series in zip(mothers, ("XA", "XB"), strict=True)
            ]
        )
        assert codes(answers) == ["tag_taken"]
    assert Tag.objects.count() == ROUNDS


def test_tags_in_opposite_order_do_not_wait_for_each_other(programme: f.Programme) -> None:
    for prefix in ("XA", "XB"):
        CodeSeries.objects.create(prefix=prefix)
    mothers = programme.mothers(2)
    for round_ in range(ROUNDS):
        rows = [{"tag": f"T {round_} {n}"} for n in range(20)]
        answers = at_once(
            [
                partial(f.cut, programme.lead, [mother], series=series, children=children)
                for mother, series, children in zip(
                    mothers, ("XA", "XB"), (rows, rows[::-1]), strict=True
                )
            ]
        )
        assert codes(answers) == ["tag_taken"]


@pytest.fixture
def pairs(programme: f.Programme) -> list[tuple[DonorColony, ...]]:
    """Pairs of donor colonies for which there is no donor set yet: 28."""
    colonies = [f.colony(programme.lead, programme.taxon, programme.reef) for _ in range(8)]
    return list(combinations(colonies, 2))


def mothers_of(programme: f.Programme, pair: tuple[DonorColony, ...]) -> list[Ramet]:
    return [f.mothers(programme.lead, each, programme.tray)[0] for each in pair]


def enter(
    programme: f.Programme, sets: Sequence[tuple[DonorColony, ...]], into: Structure | None = None
) -> list[Ramet]:
    """Legacy stock, one ramet for each set of donor colonies."""
    rows = [
        {"taxon": programme.taxon.code, "donors": [colony.code for colony in colonies]}
        for colonies in sets
    ]
    structure = into.code if into is not None else None
    return f.stock(programme.lead, programme.nursery, rows, structure=structure)


def test_one_donor_set_is_made_once(
    programme: f.Programme, pairs: list[tuple[DonorColony, ...]]
) -> None:
    for pair in pairs[:8]:
        mothers = [mothers_of(programme, pair) for _ in range(2)]
        before = DonorSet.objects.count()
        answers = at_once([partial(f.cut, programme.lead, both) for both in mothers])
        assert codes(answers) == []
        assert DonorSet.objects.count() == before + 1


def test_donor_sets_in_opposite_order_do_not_wait_for_each_other(
    programme: f.Programme, pairs: list[tuple[DonorColony, ...]]
) -> None:
    for start in range(0, 28, 7):
        sets = pairs[start : start + 7]
        answers = at_once([partial(enter, programme, sets), partial(enter, programme, sets[::-1])])
        assert codes(answers) == []
    assert DonorSet.objects.count() == 28


def test_stock_and_cuttings_with_new_donor_sets_do_not_wait_for_each_other(
    programme: f.Programme, pairs: list[tuple[DonorColony, ...]]
) -> None:
    for pair in pairs[:8]:
        mothers = mothers_of(programme, pair)
        answers = at_once(
            [
                partial(f.cut, programme.lead, mothers, 2, into=programme.plate),
                partial(enter, programme, [pair] * 2, programme.plate),
            ]
        )
        assert codes(answers) == []


# Structures


@pytest.fixture
def tables(programme: f.Programme) -> list[Structure]:
    return [f.tray(programme.lead, programme.bay) for _ in range(4)]


def stand_in(programme: f.Programme, inner: Structure, outer: Structure) -> Event:
    rows = [{"structure": inner.code, "parent": outer.code}]
    return f.move_structures(programme.lead, rows, when="2021-05-01")


def test_two_structures_do_not_go_into_each_other(
    programme: f.Programme, tables: list[Structure]
) -> None:
    first, second = tables[:2]
    for _ in range(ROUNDS):
        answers = at_once(
            [
                partial(stand_in, programme, first, second),
                partial(stand_in, programme, second, first),
            ]
        )
        assert codes(answers) == ["structure_in_itself"]
        rows = [{"structure": each.code, "bay": programme.bay.code} for each in tables[:2]]
        f.move_structures(programme.lead, rows, when="2021-05-01")


def test_a_cell_takes_a_ramet_or_a_structure(programme: f.Programme) -> None:
    mother = programme.mother()
    cells = [str(cell) for cell in programme.plate.grid.cells()]  # type: ignore[union-attr]
    for cell in cells[:ROUNDS]:
        rock = f.structure(programme.lead, kind="rock", rows=1, columns=3)
        row = {"structure": rock.code, "parent": programme.plate.code, "cell": cell}
        answers: list[Any] = at_once(
            [
                partial(
                    f.cut,
                    programme.lead,
                    [mother],
                    into=programme.plate,
                    children=[{"cell": cell}],
                ),
                partial(f.move_structures, programme.lead, [row], when=f.CUT),
            ]
        )
        assert codes(answers) == ["cell_occupied"]


def test_two_pairs_of_structures_do_not_close_a_ring(
    programme: f.Programme, tables: list[Structure]
) -> None:
    a, b, c, d = tables
    for _ in range(ROUNDS):
        rows = [{"structure": each.code, "bay": programme.bay.code} for each in (b, d)]
        f.move_structures(programme.lead, rows, when="2021-05-01")
        stand_in(programme, a, b)
        stand_in(programme, c, d)
        answers = at_once([partial(stand_in, programme, b, c), partial(stand_in, programme, d, a)])
        assert codes(answers) == ["structure_in_itself"]


def test_a_cell_is_blocked_or_filled_but_not_both(programme: f.Programme) -> None:
    mother = programme.mother()
    for row in range(1, 9):
        cell = f"A{row}"
        plate = Structure.objects.get(pk=programme.plate.pk)
        answers: list[Any] = at_once(
            [
                partial(
                    f.cut,
                    programme.lead,
                    [mother],
                    into=plate,
                    children=[{"cell": cell}],
                ),
                partial(edit_structure, programme.lead, plate, {"blocked": [*plate.blocked, cell]}),
            ]
        )
        assert codes(answers) in (["cell_blocked"], ["cell_occupied"])
    plate = Structure.objects.get(pk=programme.plate.pk)
    filled = [str(ramet.cell) for ramet in Ramet.objects.filter(structure=plate)]
    assert not set(filled) & set(plate.blocked)
    assert len(filled) + len(plate.blocked) == 8


def test_a_refused_entry_does_not_keep_its_uid_from_one_that_waits(
    programme: f.Programme,
) -> None:
    mother = programme.mother()
    for _ in range(ROUNDS):
        uid = str(uuid4())
        bad, good = at_once(
            [
                partial(f.cut, programme.lead, [mother], uid=uid, permits=["NONE"]),
                partial(f.cut, programme.lead, [mother], uid=uid),
            ]
        )
        assert isinstance(good, list)
        assert codes([bad])[0] in ("unknown_permit", "uid_taken")
