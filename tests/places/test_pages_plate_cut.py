"""The page of cutting: mothers into a plate by one press."""

import re
import uuid
from typing import Any

import pytest
from django.http import HttpResponse
from django.test import Client

from nursery.core.actor import Role
from nursery.core.models import Event, EventKind
from nursery.lineage.models import Ramet
from nursery.lineage.words import Life, Purpose
from nursery.places.models import Structure
from nursery.places.views.cutting import names_of
from tests import factories as make
from tests.factories import Programme
from tests.lineage.identities import other_genet
from tests.pages import cost, main_of, read, reader, words_of
from tests.places.plates import TODAY, now, page_of, written
from tests.refusals import everything_stored

pytestmark = pytest.mark.django_db


@pytest.fixture
def client(programme: Programme) -> Client:
    return reader(Role.NURSERY, at=programme.nursery)


def send(client: Client, /, **typed: Any) -> HttpResponse:
    return client.post("/cut/", {"uid": str(uuid.uuid4()), "when": TODAY, **typed})


def children() -> list[Ramet]:
    (event,) = written(EventKind.FRAGMENTATION)
    return list(Ramet.objects.filter(born=event).order_by("pk"))


def test_mothers_are_named_by_plate_and_cell_too(programme: Programme, client: Client) -> None:
    first, second = programme.mother(), programme.mother()
    plate, bed = (make.structure(programme.lead, programme.bay) for _ in range(2))
    rows = [(first, "C7"), (second, "D7")]
    moved = [{"ramet": r.code, "structure": plate.code, "cell": cell} for r, cell in rows]
    make.move(programme.lead, moved)
    named = f"{plate.code} C7, {plate.code.lower()}  D7"
    answer = send(client, mothers=named, into=bed.code, count="4")
    assert answer.status_code == 302, words_of(answer)
    sources = {row.ramet_id for row in children()[0].born.fragmentation.sources.all()}
    assert sources == {first.pk, second.pk}


@pytest.mark.parametrize(
    ("text", "names"),
    [
        ("KB0001-2 T-117", ["KB0001-2", "T-117"]),
        ("K-14 C7 KB0001-2", ["K-14 C7", "KB0001-2"]),
        ("K-14  C7;K-14 C7", ["K-14 C7"]),
        ("A11 A12, A13", ["A11", "A12", "A13"]),
        ("K-14, C7", ["K-14", "C7"]),
        ("  ", []),
    ],
)
def test_names_of_mothers_are_codes_tags_and_places(text: str, names: list[str]) -> None:
    assert names_of(text) == names


def flags(client: Client, *mothers: Ramet) -> str:
    """What the page says is to be minded of these mothers."""
    codes = ",".join(mother.code for mother in mothers)
    html = main_of(client, f"/cut/?mother={codes}")
    return " ".join(re.findall(r'<p class="flag">([^<]*)</p>', html))


def test_a_whole_plate_is_cut_from_one_mother(programme: Programme, client: Client) -> None:
    mother = programme.mother()
    plate = make.structure(programme.lead, programme.bay, blocked="A1 K1 A11 K11")
    answer = send(client, mothers=mother.code, into=plate.code, count="117")
    assert answer.status_code == 302, words_of(answer)
    assert answer["Location"] == page_of(plate)
    assert len(children()) == 117
    assert [str(child.cell) for child in children()[:2]] == ["B1", "C1"]
    assert {child.purpose for child in children()} == {Purpose.PRODUCTION}
    said = read(client, page_of(plate))
    assert f"Entered: 117 cut from {mother.code}." in said
    assert "Print its label" in said


def test_pieces_go_into_the_cells_that_were_shown(programme: Programme, client: Client) -> None:
    typed = {"into": programme.plate.code, "count": "2", "spots": "C3,D4"}
    send(client, mothers=programme.mother().code, **typed)
    assert [str(child.cell) for child in children()] == ["C3", "D4"]


def test_a_number_that_was_changed_since_decides(programme: Programme, client: Client) -> None:
    typed = {"into": programme.plate.code, "count": "3", "spots": "C3,D4"}
    send(client, mothers=programme.mother().code, **typed)
    assert [str(child.cell) for child in children()] == ["A1", "B1", "C1"]


def test_mothers_are_pooled_used_up_and_kept_for_something_else(
    programme: Programme, client: Client
) -> None:
    mothers = programme.mothers(2)
    names = f"{mothers[0].code}, {mothers[1].code}"
    typed = {"used_up": "on", "purpose": "reserve", "count": "4", "other": programme.plate.code}
    answer = send(client, mothers=names, **typed)
    assert answer.status_code == 302, words_of(answer)
    assert {mother.life for mother in now(mothers)} == {Life.USED_UP}
    assert {child.purpose for child in children()} == {Purpose.RESERVE}
    assert "Entered: 4 cut from 2 mothers." in read(client, page_of(programme.plate))


def test_the_mother_comes_with_the_address_and_empty_plates_are_offered_first(
    programme: Programme, client: Client
) -> None:
    mother = programme.mother()
    make.cut(programme.lead, [mother], 3, into=programme.plate)
    empty = make.structure(programme.lead, programme.bay, rows=2, columns=2)
    elsewhere = make.nursery(programme.lead)
    make.structure(programme.lead, make.bay(programme.lead, elsewhere), code="FAR-1")
    html = main_of(client, f"/cut/?mother={mother.code}")
    offered = re.findall(r'type="radio"\s+name="into"\s+value="([^"]+)"', html)
    assert offered == [empty.code, programme.plate.code]
    assert f'name="mothers"\n           value="{mother.code}"' in html
    assert f'href="/ramets/{mother.code}/"' in html
    assert "4 cells are free" in read(client, "/cut/")


def test_pooling_genets_and_mixing_taxa_are_warned_of(programme: Programme, client: Client) -> None:
    _genet, stranger = other_genet(programme)
    mother = programme.mother()
    assert "Pooled: mothers of 2 genets" in flags(client, mother, stranger)
    assert flags(client, mother) == ""
    other = make.taxon(programme.lead)
    rows = [{"taxon": other.code, "structure": programme.tray.code}]
    (third,) = make.stock(programme.lead, programme.nursery, rows)
    assert "These are of several taxa" in flags(client, mother, third)


def test_cautions_stand_where_the_work_is_done(programme: Programme, client: Client) -> None:
    mother = programme.mother()
    html = main_of(client, f"/cut/?mother={mother.code}")
    assert "Blades, glue and mains" in html
    assert re.search(r"data-zoanthid\s+hidden", html)
    taxon = make.taxon(programme.lead, group="zoanthid")
    colony = make.colony(programme.lead, taxon, programme.reef)
    (zoanthid,) = make.mothers(programme.lead, colony, programme.tray)
    html = main_of(client, f"/cut/?mother={zoanthid.code}")
    assert not re.search(r"data-zoanthid\s+hidden", html)


def test_a_cell_that_was_taken_meanwhile_is_named_and_what_was_typed_is_kept(
    programme: Programme, client: Client
) -> None:
    mother = programme.mother()
    make.cut(programme.lead, [mother], 1, into=programme.plate)
    before = everything_stored()
    typed = {"into": programme.plate.code, "count": "2", "spots": "A1,B1", "note": "by hand"}
    answer = send(client, mothers=mother.code, **typed)
    assert answer.status_code == 400
    assert f"{programme.plate.code} A1 is taken by" in words_of(answer)
    html = answer.content.decode()
    assert f'value="{mother.code}"' in html
    assert 'value="by hand"' in html
    assert re.search(rf'value="{programme.plate.code}"\s+data-free="\d+"\s+checked', html)
    assert everything_stored() == before


@pytest.mark.parametrize(
    ("typed", "code"),
    [
        ({"mothers": ""}, "required"),
        ({"mothers": "NOSUCH"}, "unknown_ramet"),
        ({"count": "0"}, "out_of_range"),
        ({"count": "many"}, "not_a_number"),
        ({"count": "many", "purpose": "reserve"}, "required"),
        ({"count": ""}, "required"),
        ({"count": "122"}, "structure_full"),
        ({"other": "NOSUCH"}, "unknown_structure"),
        ({"uid": "not one"}, "malformed"),
        ({"new_code": "NEW-1", "like": "NOSUCH"}, "unknown_structure"),
    ],
)
def test_what_cannot_be_cut_is_refused(
    programme: Programme, client: Client, typed: dict[str, str], code: str
) -> None:
    given = {"mothers": programme.mother().code, "into": programme.plate.code, "count": "2"}
    before = everything_stored()
    answer = send(client, **{**given, **typed})
    assert answer.status_code == 400
    assert code in words_of(answer)
    assert everything_stored() == before


def test_a_form_that_is_sent_twice_is_cut_once(programme: Programme, client: Client) -> None:
    typed = {
        "uid": str(uuid.uuid4()),
        "mothers": programme.mother().code,
        "new_code": "new-7",
        "like": programme.plate.code,
        "count": "5",
    }
    for _ in range(2):
        answer = send(client, **typed)
        assert answer.status_code == 302, words_of(answer)
        assert answer["Location"] == "/structures/NEW-7/"
    assert len(children()) == 5
    assert "It was entered already, once: 5 cut" in read(client, "/structures/NEW-7/")


def test_a_new_plate_is_like_another_and_stands_beside_it(
    programme: Programme, client: Client
) -> None:
    like = make.structure(programme.lead, programme.bay, rows=3, columns=2, blocked="B3")
    mother = programme.mother()
    send(client, mothers=mother.code, new_code="NEW-8", like=like.code, count="5")
    made = Structure.objects.get(code="NEW-8")
    assert (made.rows, made.columns, made.blocked) == (3, 2, ["B3"])
    assert (made.bay, made.nursery) == (programme.bay, programme.nursery)
    assert {child.structure for child in children()} == {made}


@pytest.mark.parametrize("who", ["viewer", "elsewhere"])
def test_others_cut_nothing(programme: Programme, who: str) -> None:
    other = make.nursery(programme.lead)
    client = reader(Role.VIEWER) if who == "viewer" else reader(Role.NURSERY, at=other)
    given = {"mothers": programme.mother().code, "into": programme.plate.code, "count": "2"}
    before = everything_stored()
    assert send(client, **given).status_code == 403
    assert client.get("/cut/").status_code == (403 if who == "viewer" else 200)
    assert everything_stored() == before


def test_cutting_is_undone_by_one_press(programme: Programme, client: Client) -> None:
    mother = programme.mother()
    send(client, mothers=mother.code, into=programme.plate.code, count="3")
    (event,) = written(EventKind.FRAGMENTATION)
    client.post("/undo/", {"entry": str(event.uid), "next": "/"})
    assert not Event.objects.get(pk=event.pk).live
    assert not Ramet.objects.filter(structure=programme.plate).exists()


def test_the_page_costs_no_more_for_more_plates_and_mothers(
    programme: Programme, client: Client
) -> None:
    mothers = programme.mothers(5)
    few = cost(client, f"/cut/?mother={mothers[0].code}")
    for _ in range(4):
        make.structure(programme.lead, programme.bay)
    codes = ",".join(mother.code for mother in mothers)
    assert few == cost(client, f"/cut/?mother={codes}") == 8
