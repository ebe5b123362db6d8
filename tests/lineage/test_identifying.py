"""A known ramet is found again: as a loose piece on record, or as seen."""

from __future__ import annotations

from typing import Any
from uuid import uuid4

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from nursery.core.actor import Role
from nursery.core.errors import Conflict, NotAllowed
from nursery.lineage import resolve
from nursery.lineage.models import Identification, Ramet, Step
from nursery.lineage.words import Life, Place, What
from tests import factories as f
from tests.lineage.identities import LATER, genets, identify, loose, now, retag, statements, tags
from tests.refusals import refused


def at(ramet: Ramet) -> str:
    """Where a ramet is now, in short."""
    row = now(ramet)[0]
    if row.structure is not None:
        return f"{row.structure.code} {row.cell or ''}".strip()
    return row.plot.code if row.plot is not None else Place(row.place).word


def lives(*ramets: Ramet) -> list[str]:
    return [Life(row.life).word for row in now(*ramets)]


@pytest.fixture
def child(programme: f.Programme) -> Ramet:
    """A known ramet in cell A2 of the plate."""
    rows = [{"structure": programme.plate.code, "cell": "A2"}]
    return f.cut(programme.lead, programme.mothers(), children=rows)[0]


@pytest.fixture
def outplant(programme: f.Programme) -> Ramet:
    """A known ramet that was seen missing on the reef."""
    ramet = programme.outplants()[0]
    f.visit(programme.lead, programme.site, {ramet: "missing"}, when="2021-06-10")
    return now(ramet)[0]


def in_cell(programme: f.Programme, cell: str, **row: Any) -> Ramet:
    """A loose piece in a cell of the plate."""
    place = {"structure": programme.plate.code, "cell": cell}
    return loose(programme, {**place, **row}, when="2021-06-15")[0]


def test_a_loose_piece_turns_out_to_be_a_known_ramet(
    programme: f.Programme, outplant: Ramet
) -> None:
    piece = in_cell(programme, "C7")
    event = identify(programme.lead, {"ramet": outplant.code, "found": piece.code})
    assert lives(piece, outplant) == ["identified", "living"]
    where = f"{programme.plate.code} C7"
    assert (at(piece), at(outplant)) == (where, where)
    row = Identification.objects.get()
    assert (row.event, row.ramet, row.found) == (event, outplant, piece)
    steps = dict(Step.objects.filter(event=event).values_list("ramet", "what"))
    assert steps == {piece.pk: What.ENDED, outplant.pk: What.FOUND}


def test_the_piece_counts_no_longer_and_the_known_ramet_keeps_its_genet(
    programme: f.Programme, outplant: Ramet
) -> None:
    piece = in_cell(programme, "C7")
    assert genets(piece) == [None]
    living = Ramet.objects.filter(life=Life.LIVING).count()
    identify(programme.lead, {"ramet": outplant.code, "found": piece.code})
    assert genets(outplant) == [programme.colony.genet.code]
    assert Ramet.objects.filter(life=Life.LIVING).count() == living


def test_the_known_ramet_may_be_put_elsewhere(programme: f.Programme, outplant: Ramet) -> None:
    piece = in_cell(programme, "C7")
    row = {"structure": programme.plate.code, "cell": "D7"}
    identify(programme.lead, {"ramet": outplant.code, "found": piece.code, **row})
    assert at(outplant) == f"{programme.plate.code} D7"
    assert f.cut(
        programme.lead,
        programme.mothers(),
        children=[{"structure": programme.plate.code, "cell": "C7"}],
        when="2021-08-01",
    )


def test_a_living_one_that_had_fallen_off_is_moved(programme: f.Programme, child: Ramet) -> None:
    piece = in_cell(programme, "C7")
    identify(programme.lead, {"ramet": child.code, "found": piece.code})
    assert at(child) == f"{programme.plate.code} C7"


@pytest.mark.parametrize("condition", ["dead", "missing", "alive"])
def test_a_known_ramet_is_found_again_without_a_piece_on_record(
    programme: f.Programme, condition: str
) -> None:
    ramet = programme.outplants()[0]
    f.visit(programme.lead, programme.site, {ramet: condition}, when="2021-06-10")
    row = {"structure": programme.plate.code, "cell": "B3"}
    identify(programme.lead, {"ramet": ramet.code, **row})
    assert (lives(ramet), at(ramet)) == (["living"], f"{programme.plate.code} B3")
    assert Identification.objects.get().found is None


def test_a_found_ramet_takes_the_next_free_cell_or_none_of_an_open_structure(
    programme: f.Programme, outplant: Ramet, child: Ramet
) -> None:
    identify(
        programme.lead,
        {"ramet": outplant.code, "structure": programme.plate.code},
        {"ramet": child.code, "structure": programme.tray.code},
    )
    assert (at(outplant), at(child)) == (f"{programme.plate.code} A1", programme.tray.code)


def test_pieces_in_no_cell_hand_their_place_on(programme: f.Programme) -> None:
    ramets = programme.outplants(2)
    nowhere = loose(programme)[0]
    in_tray = loose(programme, {"structure": programme.tray.code})[0]
    identify(
        programme.lead,
        {"ramet": ramets[0].code, "found": nowhere.code},
        {"ramet": ramets[1].code, "found": in_tray.code},
    )
    assert [at(ramet) for ramet in ramets] == ["nowhere", programme.tray.code]


def test_pieces_and_ramets_change_cells_in_one_entry(programme: f.Programme, child: Ramet) -> None:
    other = f.cut(
        programme.lead,
        programme.mothers(),
        children=[{"structure": programme.plate.code, "cell": "B2"}],
    )[0]
    one, two = in_cell(programme, "C7"), in_cell(programme, "D7")
    plate = programme.plate.code
    identify(
        programme.lead,
        {"ramet": child.code, "found": one.code, "structure": plate, "cell": "B2"},
        {"ramet": other.code, "found": two.code, "structure": plate, "cell": "C7"},
    )
    assert (at(child), at(other)) == (f"{plate} B2", f"{plate} C7")


def test_the_cell_of_a_piece_is_not_given_to_another_row(
    programme: f.Programme, child: Ramet, outplant: Ramet
) -> None:
    piece = in_cell(programme, "C7")
    with refused("cell_twice"):
        identify(
            programme.lead,
            {"ramet": child.code, "found": piece.code},
            {"ramet": outplant.code, "structure": programme.plate.code, "cell": "C7"},
        )


def test_a_cell_that_is_taken_is_refused(
    programme: f.Programme, child: Ramet, outplant: Ramet
) -> None:
    row = {"structure": programme.plate.code, "cell": "A2"}
    with refused("cell_occupied", pointer="#/ramets/0/cell"):
        identify(programme.lead, {"ramet": outplant.code, **row})


def test_a_tag_on_the_piece_hangs_on_the_known_ramet_from_then_on(
    programme: f.Programme, outplant: Ramet
) -> None:
    piece = in_cell(programme, "C7", tag="blue 7")
    event = identify(programme.lead, {"ramet": outplant.code, "found": piece.code})
    assert tags("BLUE 7") == [
        (piece.code, "2021-06-15", LATER),
        (outplant.code, LATER, None),
    ]
    assert resolve.one("blue 7") == outplant
    assert {tag.ended_by for tag in piece.tags.all()} == {event}
    assert {tag.event for tag in outplant.tags.all()} == {event}


def test_a_tag_that_came_off_the_piece_before_stays_with_it(
    programme: f.Programme, outplant: Ramet
) -> None:
    piece = in_cell(programme, "C7", tag="7")
    retag(programme.lead, {"ramet": piece.code, "off": "7"}, when="2021-06-20")
    identify(programme.lead, {"ramet": outplant.code, "found": piece.code})
    assert tags("7") == [(piece.code, "2021-06-15", "2021-06-20")]


# Late and vague


def test_a_late_identification_is_fitted_in_before_what_the_known_ramet_did_since(
    programme: f.Programme, child: Ramet
) -> None:
    piece = in_cell(programme, "C7")
    row = {"ramet": child.code, "structure": programme.tray.code}
    f.move(programme.lead, [row], when="2021-09-01")
    identify(programme.lead, {"ramet": child.code, "found": piece.code})
    assert (at(child), lives(piece)) == (programme.tray.code, ["identified"])
    assert resolve.ramet_ids([f"{programme.plate.code} C7"], on=now(child)[0].born.latest) == {}


def test_an_identification_behind_a_later_move_of_the_piece_names_both_dates(
    programme: f.Programme, child: Ramet
) -> None:
    piece = in_cell(programme, "C7")
    row = {"ramet": piece.code, "structure": programme.tray.code}
    f.move(programme.lead, [row], when="2021-09-01")
    with refused("behind_later_entry", pointer="#/ramets/0/found") as caught:
        identify(programme.lead, {"ramet": child.code, "found": piece.code})
    message = caught.value.problems[0].message
    assert "1 September 2021" in message
    assert "1 July 2021" in message


def test_a_vague_identification_stands_after_the_piece_came_in(
    programme: f.Programme, outplant: Ramet
) -> None:
    piece = in_cell(programme, "C7", tag="7")
    identify(programme.lead, {"ramet": outplant.code, "found": piece.code}, when="2021-06")
    assert lives(piece, outplant) == ["identified", "living"]
    assert tags("7") == [
        (piece.code, "2021-06-15", "2021-06-15"),
        (outplant.code, "2021-06-15", None),
    ]


def test_an_identification_before_the_piece_came_in_is_refused(
    programme: f.Programme, outplant: Ramet
) -> None:
    piece = in_cell(programme, "C7")
    with refused("before_stock_entry", pointer="#/ramets/0/found"):
        identify(programme.lead, {"ramet": outplant.code, "found": piece.code}, when="2021-06-14")


def test_a_later_sighting_decides_over_an_identification(
    programme: f.Programme, outplant: Ramet
) -> None:
    f.visit(programme.lead, programme.site, {outplant: "dead"}, when="2021-09-01")
    identify(programme.lead, {"ramet": outplant.code, "structure": programme.tray.code})
    assert lives(outplant) == ["dead"]


# Refused


def test_a_piece_that_was_cut_is_refused_with_both_dates(
    programme: f.Programme, outplant: Ramet
) -> None:
    piece = in_cell(programme, "C7")
    f.cut(programme.lead, [piece], when="2021-06-20")
    with refused("was_cut", pointer="#/ramets/0/found") as caught:
        identify(programme.lead, {"ramet": outplant.code, "found": piece.code})
    message = caught.value.problems[0].message
    assert "20 June 2021" in message
    assert "1 July 2021" in message
    assert "Relabel" in message


def test_a_piece_of_another_taxon_is_refused(programme: f.Programme, outplant: Ramet) -> None:
    piece = in_cell(programme, "C7", taxon=f.taxon(programme.lead).code)
    with refused("mixed_taxa", pointer="#/ramets/0/found"):
        identify(programme.lead, {"ramet": outplant.code, "found": piece.code})


def test_a_piece_is_not_identified_as_another_loose_piece(programme: f.Programme) -> None:
    one, two = in_cell(programme, "C7"), in_cell(programme, "D7")
    with refused("not_known", pointer="#/ramets/0/ramet"):
        identify(programme.lead, {"ramet": one.code, "found": two.code})
    with refused("not_known", pointer="#/ramets/0/ramet"):
        identify(programme.lead, {"ramet": one.code, "structure": programme.tray.code})


def test_a_piece_that_was_identified_is_named_by_the_known_ramet(
    programme: f.Programme, outplant: Ramet
) -> None:
    one, two = in_cell(programme, "C7"), in_cell(programme, "D7")
    identify(programme.lead, {"ramet": outplant.code, "found": one.code})
    with refused("not_known", pointer="#/ramets/0/ramet") as caught:
        identify(programme.lead, {"ramet": one.code, "found": two.code})
    assert outplant.code in caught.value.problems[0].message


def test_a_piece_is_identified_once(programme: f.Programme, outplant: Ramet, child: Ramet) -> None:
    piece = in_cell(programme, "C7")
    identify(programme.lead, {"ramet": outplant.code, "found": piece.code})
    row = {"structure": programme.tray.code}
    with refused("not_living", pointer="#/ramets/0/found") as caught:
        identify(
            programme.lead, {"ramet": child.code, "found": piece.code, **row}, when="2021-08-01"
        )
    message = caught.value.problems[0].message
    assert "1 July 2021" in message
    assert "1 August 2021" in message


def test_only_a_loose_piece_is_identified(
    programme: f.Programme, outplant: Ramet, child: Ramet
) -> None:
    with refused("not_found_loose", pointer="#/ramets/0/found"):
        identify(programme.lead, {"ramet": outplant.code, "found": child.code})


def test_one_piece_is_not_two_ramets(programme: f.Programme, outplant: Ramet, child: Ramet) -> None:
    piece = in_cell(programme, "C7")
    with refused("named_twice", pointer="#/ramets/1/found"):
        identify(
            programme.lead,
            {"ramet": outplant.code, "found": piece.code},
            {"ramet": child.code, "found": piece.code},
        )
    with refused("named_twice", pointer="#/ramets/0/found"):
        identify(programme.lead, {"ramet": piece.code, "found": piece.code})


@pytest.mark.parametrize(
    ("row", "code"),
    [
        ({}, "found_where"),
        ({"cell": "A1"}, "found_where"),
        ({"structure": "NONE"}, "unknown_structure"),
    ],
    ids=str,
)
def test_a_row_without_a_place_is_refused(
    programme: f.Programme, outplant: Ramet, row: dict[str, str], code: str
) -> None:
    with refused(code):
        identify(programme.lead, {"ramet": outplant.code, **row})


def test_a_cell_of_no_structure_is_refused(programme: f.Programme, outplant: Ramet) -> None:
    piece = in_cell(programme, "C7")
    with refused("cell_without_structure", pointer="#/ramets/0/cell"):
        identify(programme.lead, {"ramet": outplant.code, "found": piece.code, "cell": "A1"})


def test_an_identification_that_is_sent_twice_is_one(
    programme: f.Programme, outplant: Ramet
) -> None:
    piece = in_cell(programme, "C7", tag="7")
    uid = str(uuid4())
    row = {"ramet": outplant.code, "found": piece.code}
    event = identify(programme.lead, row, uid=uid)
    assert identify(programme.lead, row, uid=uid) == event
    assert Identification.objects.count() == 1
    with refused("uid_taken", by=Conflict):
        identify(programme.lead, {**row, "structure": programme.tray.code}, uid=uid)


def test_who_works_elsewhere_may_not_identify(programme: f.Programme, child: Ramet) -> None:
    piece = in_cell(programme, "C7")
    row = {"ramet": child.code, "found": piece.code}
    stranger = f.staff(f.nursery(programme.lead))
    viewer = f.actor(Role.VIEWER)
    with refused("not_your_nursery", by=NotAllowed):
        identify(stranger, row)
    with refused("not_allowed", by=NotAllowed):
        identify(viewer, row)
    identify(f.staff(programme.nursery), row)


def test_an_outplant_is_identified_by_those_who_work_on_the_reef(
    programme: f.Programme, outplant: Ramet
) -> None:
    piece = in_cell(programme, "C7")
    by = f.staff(programme.nursery)
    with refused("not_allowed", by=NotAllowed):
        identify(by, {"ramet": outplant.code, "found": piece.code})


def test_many_take_as_many_queries_as_few(programme: f.Programme) -> None:
    counts = []
    for number in (3, 12):
        ramets = f.cut(programme.lead, programme.mothers(), number)
        rows = [{"tag": f"{number} {n}", "structure": programme.plate.code} for n in range(number)]
        pieces = loose(programme, *rows)
        found = [
            {"ramet": ramet.code, "found": piece.code}
            for ramet, piece in zip(ramets, pieces, strict=True)
        ]
        with CaptureQueriesContext(connection) as queries:
            identify(programme.lead, *found)
        counts.append(statements(queries))
    assert counts[0] == counts[1]
