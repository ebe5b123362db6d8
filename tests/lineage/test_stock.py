"""Legacy stock: ramets whose cuttings were not recorded."""

from __future__ import annotations

from typing import Any

import pytest

from nursery.core.codes import next_codes
from nursery.lineage.models import Ramet, StockEntry, Tag
from nursery.lineage.words import Life, Origin, Place, Purpose
from tests import factories as f
from tests.refusals import refused


def enter(programme: f.Programme, *rows: dict[str, Any], **values: Any) -> list[Ramet]:
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
