"""Stock without recorded cuttings: legacy, found loose, settled, or received."""

from __future__ import annotations

from typing import Any
from uuid import uuid4

import pytest

from nursery.core.codes import next_codes
from nursery.core.errors import Conflict
from nursery.lineage.living import living_by_genet
from nursery.lineage.models import Parent, Ramet, StockEntry, Tag
from nursery.lineage.words import Life, Origin, Place, Purpose
from tests import factories as f
from tests.refusals import refused


def enter(programme: f.Programme, /, *rows: dict[str, Any], **values: Any) -> list[Ramet]:
    given = [{"taxon": programme.taxon.code, **row} for row in rows]
    return f.stock(programme.lead, programme.nursery, given, **values)


def donors(ramet: Ramet) -> set[str]:
    row = ramet.donor_set
    return set(row.colonies.values_list("code", flat=True)) if row else set()


def test_a_legacy_ramet_may_be_known_by_its_taxon_alone(programme: f.Programme) -> None:
    ramet = enter(programme, {})[0]
    assert (ramet.origin, ramet.life, ramet.place) == (Origin.LEGACY, Life.LIVING, Place.NOWHERE)
    assert (ramet.genet_id, ramet.donor_set_id, ramet.generation) == (None, None, None)
    assert StockEntry.objects.get().nursery == programme.nursery


def test_a_legacy_ramet_keeps_what_is_known_of_it(programme: f.Programme) -> None:
    genet = f.genet(programme.lead, programme.taxon)
    ramet = enter(
        programme,
        {
            "genet": genet.code.lower(),
            "donors": [programme.colony.code],
            "generation": 4,
            "pieces": 3,
            "base": "plug",
            "purpose": "reserve",
            "tag": "l 1",
            "note": "from the old ledger",
            "structure": programme.plate.code,
            "cell": "C7",
        },
    )[0]
    assert (ramet.genet, donors(ramet), ramet.generation) == (genet, {programme.colony.code}, 4)
    assert (ramet.pieces, ramet.base, ramet.purpose) == (3, "plug", Purpose.RESERVE)
    assert ramet.note == "from the old ledger"
    assert (ramet.structure, str(ramet.cell)) == (programme.plate, "C7")
    assert Tag.objects.get().text == "L 1"


def test_donors_of_one_genet_imply_it(programme: f.Programme) -> None:
    ramet = enter(programme, {"donors": [programme.colony.code]})[0]
    assert ramet.genet_id == programme.colony.genet_id


def test_donors_of_several_genets_imply_none(programme: f.Programme) -> None:
    other = f.colony(programme.lead, programme.taxon, programme.reef)
    ramet = enter(programme, {"donors": [programme.colony.code, other.code]})[0]
    assert ramet.genet_id is None
    assert donors(ramet) == {programme.colony.code, other.code}


def test_one_donor_written_twice_is_one(programme: f.Programme) -> None:
    ramet = enter(programme, {"donors": [programme.colony.code, programme.colony.code.lower()]})[0]
    assert donors(ramet) == {programme.colony.code}


def test_stock_fills_the_free_cells_of_its_structure(programme: f.Programme) -> None:
    ramets = enter(programme, {}, {"cell": "A1"}, {}, structure=programme.plate.code)
    assert [str(ramet.cell) for ramet in ramets] == ["B1", "A1", "C1"]


def test_stock_has_codes_of_its_nursery(programme: f.Programme) -> None:
    series = programme.nursery.series
    assert series is not None
    assert enter(programme, {})[0].code == next_codes(series.prefix, 1, 1)[0][0]


def test_stock_is_cut_like_any_other(programme: f.Programme) -> None:
    ramet = enter(programme, {"generation": 4}, structure=programme.plate.code)[0]
    assert f.cut(programme.lead, [ramet])[0].generation == 5


@pytest.mark.parametrize(
    ("row", "code", "pointer"),
    [
        ({"taxon": "NONE"}, "unknown_taxon", "#/ramets/0/taxon"),
        ({"genet": "NONE"}, "unknown_genet", "#/ramets/0/genet"),
        ({"donors": ["NONE"]}, "unknown_donorcolony", "#/ramets/0/donors"),
        ({"structure": "NONE"}, "unknown_structure", "#/ramets/0/cell"),
        ({"generation": -1}, "out_of_range", "#/ramets/0/generation"),
        ({"generation": 1001}, "out_of_range", "#/ramets/0/generation"),
        ({"pieces": 0}, "out_of_range", "#/ramets/0/pieces"),
        ({"base": "x" * 41}, "too_long", "#/ramets/0/base"),
        ({"note": "x" * 201}, "too_long", "#/ramets/0/note"),
        ({"tag": "x" * 41}, "too_long", "#/ramets/0/tag"),
        ({"tag": "\x00"}, "control_character", "#/ramets/0/tag"),
        ({"donors": ["A"] * 51}, "too_many", "#/ramets/0/donors"),
        ({"taxon": "=SUM(A1)"}, "code_malformed", "#/ramets/0/taxon"),
    ],
    ids=lambda value: str(value)[:50],
)
def test_stock_that_makes_no_sense_is_refused(
    programme: f.Programme, row: dict[str, Any], code: str, pointer: str
) -> None:
    with refused(code, pointer=pointer):
        enter(programme, row)


def test_a_genet_of_another_taxon_is_refused(programme: f.Programme) -> None:
    genet = f.genet(programme.lead, f.taxon(programme.lead))
    with refused("genet_other_taxon", pointer="#/ramets/0/genet"):
        enter(programme, {"genet": genet.code})


def test_a_donor_of_another_taxon_is_refused(programme: f.Programme) -> None:
    other = f.colony(programme.lead, f.taxon(programme.lead), programme.reef)
    with refused("donor_other_taxon", pointer="#/ramets/0/donors"):
        enter(programme, {"donors": [other.code]})
    with refused("donor_other_taxon", pointer="#/ramets/0/donors"):
        enter(programme, {"donors": [other.code, programme.colony.code]})


def test_a_cell_without_a_structure_is_refused(programme: f.Programme) -> None:
    with refused("cell_without_structure", pointer="#/ramets/0/cell"):
        enter(programme, {"cell": "A1"})


def test_a_structure_of_another_nursery_is_refused(programme: f.Programme) -> None:
    elsewhere = f.tray(programme.lead, f.bay(programme.lead, f.nursery(programme.lead)))
    with refused("other_nursery", pointer="#/ramets/0/structure"):
        enter(programme, {"structure": elsewhere.code})


def test_a_nursery_that_is_not_registered_is_refused(programme: f.Programme) -> None:
    with refused("unknown_nursery", pointer="#/nursery"):
        enter(programme, {}, nursery="NONE")


def test_all_that_is_unknown_is_told_at_once(programme: f.Programme) -> None:
    rows: list[dict[str, Any]] = [{"genet": "NONE"}, {}, {"donors": ["NO1", "NO2"]}]
    with refused("unknown_genet", "unknown_donorcolony", "unknown_donorcolony") as caught:
        enter(programme, *rows)
    assert [problem.row for problem in caught.value.problems] == [0, 2, 2]


def test_two_rows_do_not_share_a_cell(programme: f.Programme) -> None:
    with refused("cell_twice", pointer="#/ramets/1/cell"):
        enter(programme, {"cell": "A1"}, {"cell": "a1"}, structure=programme.plate.code)


# Found, settled, received


def parents(ramet: Ramet) -> set[str]:
    return set(Parent.objects.filter(ramet=ramet).values_list("genet__code", flat=True))


def test_a_loose_piece_has_no_genet_no_donors_and_no_generation(programme: f.Programme) -> None:
    piece = enter(programme, {"structure": programme.plate.code, "cell": "C7"}, origin="found")[0]
    assert (piece.origin, piece.life, str(piece.cell)) == (Origin.FOUND, Life.LIVING, "C7")
    assert (piece.genet_id, piece.entered_genet_id, piece.donor_set_id) == (None, None, None)
    assert piece.generation is None


def test_a_loose_piece_counts_for_no_genet(programme: f.Programme) -> None:
    before = living_by_genet()
    enter(programme, {}, {}, origin="found")
    assert living_by_genet() == before


def test_a_settled_ramet_may_have_any_number_of_possible_parents(programme: f.Programme) -> None:
    one, other = (f.genet(programme.lead, programme.taxon) for _ in range(2))
    own = f.genet(programme.lead, programme.taxon)
    first, second = enter(
        programme,
        {"parents": [one.code, other.code.lower(), one.code], "genet": own.code},
        {},
        origin="settled",
    )
    assert (first.origin, first.genet, first.entered_genet) == (Origin.SETTLED, own, own)
    assert (parents(first), parents(second)) == ({one.code, other.code}, set())
    assert (first.donor_set_id, first.generation) == (None, None)


def test_a_parent_may_be_of_another_taxon(programme: f.Programme) -> None:
    stranger = f.genet(programme.lead, f.taxon(programme.lead))
    ramet = enter(programme, {"parents": [stranger.code]}, origin="settled")[0]
    assert parents(ramet) == {stranger.code}


def test_what_is_cut_from_a_settled_ramet_is_of_its_genet(programme: f.Programme) -> None:
    own = f.genet(programme.lead, programme.taxon)
    rows = {"genet": own.code, "generation": 0}
    settled = enter(programme, rows, origin="settled", structure=programme.tray.code)[0]
    child = f.cut(programme.lead, [settled])[0]
    assert (child.genet, child.generation) == (own, 1)


def test_a_received_ramet_names_the_programme_it_came_from(programme: f.Programme) -> None:
    genet = f.genet(programme.lead, programme.taxon)
    ramet = enter(
        programme,
        {"genet": genet.code, "generation": 7},
        origin="received",
        programme="Invented Reef Trust",
    )[0]
    assert (ramet.origin, ramet.genet, ramet.generation) == (Origin.RECEIVED, genet, 7)
    assert StockEntry.objects.get().programme == "Invented Reef Trust"


def test_a_row_may_say_another_origin_than_the_entry(programme: f.Programme) -> None:
    ramets = enter(
        programme,
        {},
        {"origin": "found"},
        {"origin": "received"},
        {"origin": "legacy"},
        origin="settled",
        programme="Invented Reef Trust",
    )
    assert [ramet.origin for ramet in ramets] == [
        Origin.SETTLED,
        Origin.FOUND,
        Origin.RECEIVED,
        Origin.LEGACY,
    ]


@pytest.mark.parametrize("field", ["genet", "donors", "parents", "generation"])
def test_a_loose_piece_of_which_more_is_said_is_refused(programme: f.Programme, field: str) -> None:
    known: dict[str, Any] = {
        "genet": programme.colony.genet.code,
        "donors": [programme.colony.code],
        "parents": [programme.colony.genet.code],
        "generation": 0,
    }
    with refused("found_is_unidentified", pointer=f"#/ramets/1/{field}") as caught:
        enter(programme, {}, {field: known[field]}, origin="found")
    assert "identify" in caught.value.problems[0].message


@pytest.mark.parametrize(
    ("origin", "field"),
    [
        ("legacy", "parents"),
        ("settled", "donors"),
        ("received", "donors"),
        ("received", "parents"),
    ],
)
def test_what_does_not_belong_to_an_origin_is_refused(
    programme: f.Programme, origin: str, field: str
) -> None:
    known = {"donors": [programme.colony.code], "parents": [programme.colony.genet.code]}
    values = {"programme": "Invented Reef Trust"} if origin == "received" else {}
    with refused("not_of_this_origin", pointer=f"#/ramets/0/{field}"):
        enter(programme, {field: known[field]}, origin=origin, **values)


def test_an_unknown_parent_is_refused(programme: f.Programme) -> None:
    with refused("unknown_genet", pointer="#/ramets/0/parents"):
        enter(programme, {"parents": ["NONE"]}, origin="settled")


def test_received_ramets_without_a_programme_are_refused(programme: f.Programme) -> None:
    with refused("programme_missing", pointer="#/programme"):
        enter(programme, {}, {"origin": "received"})


def test_a_programme_without_received_ramets_is_refused(programme: f.Programme) -> None:
    with refused("not_of_this_origin", pointer="#/programme"):
        enter(programme, {}, programme="Invented Reef Trust")


def test_an_origin_that_is_none_is_refused(programme: f.Programme) -> None:
    with refused("not_a_choice", pointer="#/ramets/0/origin"):
        enter(programme, {"origin": "cut"})
    with refused("not_a_choice", pointer="#/origin"):
        enter(programme, {}, origin="collected")


def test_a_stock_entry_that_is_sent_twice_is_one(programme: f.Programme) -> None:
    uid = str(uuid4())
    first = enter(programme, {}, origin="found", uid=uid)
    assert enter(programme, {}, origin="found", uid=uid) == first
    assert Ramet.objects.filter(origin=Origin.FOUND).count() == 1
    with refused("uid_taken", by=Conflict):
        enter(programme, {}, origin="settled", uid=uid)


def test_a_late_entry_of_a_piece_takes_a_cell_that_was_free_then(programme: f.Programme) -> None:
    place = {"structure": programme.plate.code, "cell": "C7"}
    ramet = enter(programme, {**place}, when="2021-03-01")[0]
    row = {"ramet": ramet.code, "structure": programme.tray.code}
    f.move(programme.lead, [row], when="2021-05-01")
    with refused("cell_was_held") as caught:
        enter(programme, {**place}, origin="found", when="2021-04-01")
    message = caught.value.problems[0].message
    assert "1 March 2021" in message
    assert "1 April 2021" in message
    assert enter(programme, {**place}, origin="found", when="2021-05-01")[0].cell is not None
