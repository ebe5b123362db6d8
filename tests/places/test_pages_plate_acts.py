"""What is done with picked cells of a plate: one press, one entry; or refused with picks kept."""

import re
import uuid
from typing import Any

import pytest
from django.http import HttpResponse
from django.test import Client

from nursery.core.actor import Role
from nursery.core.models import Event, EventKind
from nursery.husbandry.models import Finding, FindingState
from nursery.lineage.models import Ramet
from nursery.lineage.words import Cause, Life, Place
from nursery.places.models import Structure
from tests import factories as make
from tests.factories import Programme
from tests.pages import main_of, read, reader, words_of
from tests.places.plates import TODAY, data_of, now, page_of, pairs, press, written
from tests.refusals import everything_stored

pytestmark = pytest.mark.django_db


@pytest.fixture
def client(programme: Programme) -> Client:
    """One of the nursery's own staff."""
    return reader(Role.NURSERY, at=programme.nursery)


@pytest.fixture
def cut(programme: Programme) -> list[Ramet]:
    """Twelve pieces of one mother on the plate."""
    return make.cut(programme.lead, [programme.mother()], 12, into=programme.plate)


def done(answer: HttpResponse, to: Structure) -> None:
    assert answer.status_code == 302, words_of(answer)
    assert answer["Location"] == page_of(to)


def lives(ramets: list[Ramet]) -> set[int]:
    return {ramet.life for ramet in now(ramets)}


@pytest.mark.parametrize("state", ["attached", "loose", "dead", "missing"])
def test_picked_ramets_are_found_in_a_state_by_one_check(
    programme: Programme, client: Client, cut: list[Ramet], state: str
) -> None:
    done(press(client, programme.plate, state, picked=pairs(cut[:3])), programme.plate)
    (event,) = written(EventKind.CHECK)
    found = Finding.objects.filter(during__event=event)
    assert {row.state for row in found} == {FindingState.of(state)}
    assert {row.ramet_id for row in found} == {ramet.pk for ramet in cut[:3]}
    said = read(client, page_of(programme.plate))
    assert f"Entered: 3 {state} in {programme.plate.code}." in said
    assert f"Undo: 3 {state} in {programme.plate.code}" in said


def test_the_dead_have_a_cause_and_the_rest_is_attached_by_the_same_check(
    programme: Programme, client: Client, cut: list[Ramet]
) -> None:
    typed = {"picked": pairs(cut[:2]), "rest": pairs(cut[2:]), "cause": "handling"}
    done(press(client, programme.plate, "dead", **typed), programme.plate)
    assert len(written(EventKind.CHECK)) == 1
    assert lives(cut[:2]) == {Life.DEAD}
    assert {ramet.cause for ramet in now(cut[:2])} == {Cause.HANDLING}
    states = Finding.objects.filter(ramet__in=cut[2:]).values_list("state", flat=True)
    assert list(states) == [FindingState.ATTACHED] * 10
    assert "2 dead in" in read(client, page_of(programme.plate))


def test_a_size_and_a_note_may_be_given(
    programme: Programme, client: Client, cut: list[Ramet]
) -> None:
    typed = {"picked": pairs(cut[:1]), "size_cm": "2.5", "note": "healed", "cause": "cold"}
    done(press(client, programme.plate, "attached", **typed), programme.plate)
    assert str(Finding.objects.get().size_cm) == "2.5"
    assert Event.objects.get(kind=EventKind.CHECK).note == "healed"


def test_one_that_was_dead_is_seen_alive_in_its_cell(
    programme: Programme, client: Client, cut: list[Ramet]
) -> None:
    press(client, programme.plate, "dead", picked=pairs(cut[:1]))
    done(press(client, programme.plate, "attached", picked=pairs(cut[:1])), programme.plate)
    (ramet,) = now(cut[:1])
    assert ramet.living
    assert str(ramet.cell) == "A1"


def test_a_check_is_undone_by_one_press(
    programme: Programme, client: Client, cut: list[Ramet]
) -> None:
    press(client, programme.plate, "dead", picked=pairs(cut))
    html = client.get(page_of(programme.plate)).content.decode()
    entry = re.findall(r'action="/undo/".*?name="entry" value="([^"]+)"', html, re.S)[0]
    client.post("/undo/", {"entry": entry, "next": page_of(programme.plate)})
    assert lives(cut) == {Life.LIVING}


@pytest.mark.parametrize(
    ("fate", "life"),
    [
        ("discarded", Life.DISCARDED),
        ("handed_over", Life.HANDED_OVER),
        ("sampled", Life.SAMPLED),
        ("lost", Life.LOST),
    ],
)
def test_picked_ramets_end_otherwise(
    programme: Programme, client: Client, cut: list[Ramet], fate: str, life: Life
) -> None:
    recipient = {"recipient": "Invented Aquarium"} if fate == "handed_over" else {}
    typed = {"picked": pairs(cut[:4]), "fate": fate, **recipient}
    done(press(client, programme.plate, "end", **typed), programme.plate)
    assert lives(cut[:4]) == {life}
    assert lives(cut[4:]) == {Life.LIVING}


def test_picked_ramets_move_to_the_cells_that_were_shown(
    programme: Programme, client: Client, cut: list[Ramet]
) -> None:
    other = make.structure(programme.lead, programme.bay, rows=3, columns=3)
    typed = {"picked": pairs(cut[:2]), "to": other.code.lower(), "spots": "B2,C3"}
    done(press(client, programme.plate, "move", **typed), other)
    assert [str(ramet.cell) for ramet in now(cut[:2])] == ["B2", "C3"]
    assert f"Entered: 2 moved to {other.code}." in read(client, page_of(other))


def test_without_a_preview_they_go_into_the_next_free_cells(
    programme: Programme, client: Client, cut: list[Ramet]
) -> None:
    other = make.structure(programme.lead, programme.bay, rows=3, columns=3)
    done(press(client, programme.plate, "move", picked=pairs(cut[:2]), to=other.code), other)
    assert [str(ramet.cell) for ramet in now(cut[:2])] == ["A1", "B1"]


def test_they_change_places_on_the_same_plate(
    programme: Programme, client: Client, cut: list[Ramet]
) -> None:
    code = programme.plate.code
    typed = {"picked": pairs(cut[:2]), "to": code, "spots": "B1,A1"}
    done(press(client, programme.plate, "move", **typed), programme.plate)
    assert [str(ramet.cell) for ramet in now(cut[:2])] == ["B1", "A1"]


def test_a_cell_that_was_taken_meanwhile_is_named_and_the_picks_are_kept(
    programme: Programme, client: Client, cut: list[Ramet]
) -> None:
    other = make.structure(programme.lead, programme.bay, rows=3, columns=3)
    make.cut(programme.lead, [programme.mother()], 1, into=other)
    before = everything_stored()
    typed = {"picked": pairs(cut[:2]), "to": other.code, "spots": "A1,B1"}
    answer = press(client, programme.plate, "move", **typed)
    assert answer.status_code == 400
    assert f"{other.code} A1 is taken by" in words_of(answer)
    assert everything_stored() == before
    html = answer.content.decode()
    data = data_of(html)
    assert (data["picked"], data["act"]) == (pairs(cut[:2]), "move")
    assert f'value="{other.code}"' in html


def test_what_ended_meanwhile_is_named_by_its_cell(
    programme: Programme, client: Client, cut: list[Ramet]
) -> None:
    picked = pairs(cut[:2])
    press(client, programme.plate, "dead", picked=pairs(cut[1:2]))
    other = make.structure(programme.lead, programme.bay)
    answer = press(client, programme.plate, "move", picked=picked, to=other.code)
    assert answer.status_code == 400
    assert re.search(rf"B1: {cut[1].code} .*not_living", words_of(answer))
    assert data_of(answer.content.decode())["picked"] == picked


def test_scanned_ramets_are_placed_into_the_cells_in_which_they_were_shown(
    programme: Programme, client: Client
) -> None:
    loose = make.cut(programme.lead, [programme.mother()], children=[{"tag": "T-1"}, {}])
    placed = f"C7=T-1,D8={loose[1].code}"
    done(press(client, programme.plate, "place", picked="C7=,D8=", placed=placed), programme.plate)
    assert [str(ramet.cell) for ramet in now(loose)] == ["C7", "D8"]


def test_a_tag_that_is_on_nothing_is_named_by_its_cell(
    programme: Programme, client: Client
) -> None:
    answer = press(client, programme.plate, "place", picked="C7=", placed="C7=NOSUCH")
    assert answer.status_code == 400
    assert "C7: There is no ramet 'NOSUCH'" in words_of(answer)


def test_lots_of_a_rope_are_counted(programme: Programme, client: Client) -> None:
    lot = make.cut(programme.lead, [programme.mother()], 60, into=programme.tray)
    uid = str(lot[0].born.uid)
    typed = {"lot": uid, f"dead-{uid}": "9", f"missing-{uid}": "1", "cause": "sediment"}
    done(press(client, programme.tray, "count", **typed), programme.tray)
    ended = [ramet for ramet in now(lot) if not ramet.living]
    assert sorted(ramet.life for ramet in ended) == [Life.DEAD] * 9 + [Life.LOST]
    assert "9 dead and 1 missing counted in" in read(client, page_of(programme.tray))


def test_a_count_of_more_than_there_are_comes_back_as_it_was_typed(
    programme: Programme, client: Client
) -> None:
    lot = make.cut(programme.lead, [programme.mother()], 6, into=programme.tray)
    uid = str(lot[0].born.uid)
    answer = press(client, programme.tray, "count", **{"lot": uid, f"dead-{uid}": "9"})
    assert answer.status_code == 400
    assert "more_than_there" in words_of(answer)
    assert f'name="dead-{uid}"' in answer.content.decode()
    assert re.search(rf'name="dead-{uid}"[^>]*value="9"', answer.content.decode())


@pytest.mark.parametrize("dead", ["", "many", "-3", "9" * 30])
def test_a_count_that_is_none_is_refused(programme: Programme, client: Client, dead: str) -> None:
    lot = make.cut(programme.lead, [programme.mother()], 6, into=programme.tray)
    uid = str(lot[0].born.uid)
    answer = press(client, programme.tray, "count", **{"lot": uid, f"dead-{uid}": dead})
    assert answer.status_code == 400
    assert lives(lot) == {Life.LIVING}


def test_ramets_ticked_in_a_list_are_checked_without_scripts(
    programme: Programme, client: Client
) -> None:
    kept, gone = programme.mothers(2)
    answer = press(client, programme.tray, "dead", tick=[gone.code], cause="disease")
    done(answer, programme.tray)
    assert lives([gone]) == {Life.DEAD}
    assert lives([kept]) == {Life.LIVING}


def test_a_whole_plate_moves_to_a_bay_a_cell_or_a_plot(
    programme: Programme, client: Client, cut: list[Ramet]
) -> None:
    bay = make.bay(programme.lead, programme.nursery)
    done(press(client, programme.plate, "stand", to=bay.code.lower()), programme.plate)
    assert Structure.objects.get(pk=programme.plate.pk).bay == bay
    table = make.structure(programme.lead, programme.bay, kind="table", rows=2, columns=2)
    done(press(client, programme.plate, "stand", to=table.code, cell="B2"), programme.plate)
    assert str(Structure.objects.get(pk=programme.plate.pk).parent_cell) == "B2"
    assert {str(ramet.cell) for ramet in now(cut[:1])} == {"A1"}


def test_where_a_plate_cannot_go_is_said(programme: Programme, client: Client) -> None:
    answer = press(client, programme.plate, "stand", to="NOWHERE")
    assert answer.status_code == 400
    assert "There is no bay, structure or plot NOWHERE" in words_of(answer)
    assert 'value="NOWHERE"' in answer.content.decode()


def test_a_lost_plate_takes_along_what_the_page_said(
    programme: Programme, client: Client, cut: list[Ramet]
) -> None:
    rock = make.structure(programme.lead, kind="rock", rows=1, columns=3)
    to = {"structure": rock.code, "parent": programme.plate.code, "cell": "K11"}
    make.move_structures(programme.lead, [to])
    on_rock = make.cut(programme.lead, [programme.mother()], 2, into=rock)
    said = read(client, page_of(programme.plate))
    assert "goes with 14 living ramets and the 1 structure in it." in said
    assert f"{programme.plate.code} is lost, with 14 ramets" in said
    done(press(client, programme.plate, "lose", note="the gale"), programme.plate)
    assert lives([*cut, *on_rock]) == {Life.LOST}
    assert Structure.objects.get(pk=rock.pk).lost


def test_the_same_form_sent_twice_is_entered_once(
    programme: Programme, client: Client, cut: list[Ramet]
) -> None:
    typed: dict[str, Any] = {"uid": str(uuid.uuid4()), "picked": pairs(cut[:3])}
    for _ in range(2):
        done(press(client, programme.plate, "dead", **typed), programme.plate)
    assert len(written(EventKind.CHECK)) == 1
    assert "It was entered already, once: 3 dead" in read(client, page_of(programme.plate))


def test_a_form_that_was_changed_after_it_was_entered_gets_a_uid_of_its_own(
    programme: Programme, client: Client, cut: list[Ramet]
) -> None:
    uid = str(uuid.uuid4())
    press(client, programme.plate, "dead", uid=uid, picked=pairs(cut[:3]))
    answer = press(client, programme.plate, "loose", uid=uid, picked=pairs(cut[3:4]))
    assert answer.status_code == 409
    assert "This form was entered already" in words_of(answer)
    again = re.findall(r'name="uid" value="([^"]+)"', answer.content.decode())[0]
    assert again != uid
    done(
        press(client, programme.plate, "loose", uid=again, picked=pairs(cut[3:4])),
        programme.plate,
    )


@pytest.mark.parametrize(
    "typed",
    [
        {"act": "dance"},
        {"act": ""},
        {"act": "dead", "picked": ""},
        {"act": "dead", "picked": "A1=NOSUCH"},
        {"act": "dead", "picked": ",,=,", "cause": "boredom"},
        {"act": "move", "picked": "A1=X"},
        {"act": "end", "picked": "A1=X", "fate": "fused"},
        {"act": "place", "placed": ""},
        {"act": "attached", "picked": "A1=X", "when": "2021-13"},
        {"act": "attached", "picked": "A1=X", "uid": "not one"},
        {"act": "stand", "to": ""},
        {"act": "count"},
    ],
)
def test_junk_is_refused_and_stores_nothing(
    programme: Programme, client: Client, typed: dict[str, str]
) -> None:
    before = everything_stored()
    answer = press(client, programme.plate, typed.pop("act"), **typed)
    assert answer.status_code == 400, words_of(answer)
    assert everything_stored() == before


@pytest.mark.parametrize("act", ["attached", "end", "move", "stand", "lose"])
@pytest.mark.parametrize("who", ["viewer", "elsewhere"])
def test_those_who_do_not_work_there_change_nothing(
    programme: Programme, cut: list[Ramet], act: str, who: str
) -> None:
    other = make.nursery(programme.lead)
    client = reader(Role.VIEWER) if who == "viewer" else reader(Role.NURSERY, at=other)
    before = everything_stored()
    to = programme.bay.code if act == "stand" else programme.plate.code
    typed = {"picked": pairs(cut[:1]), "fate": "lost", "to": to}
    answer = press(client, programme.plate, act, **typed)
    assert answer.status_code == 403
    assert "not_allowed" in words_of(answer) or "not_your_nursery" in words_of(answer)
    assert everything_stored() == before


def test_more_than_a_thousand_are_checked_by_one_press_and_undone_by_one(
    programme: Programme, client: Client
) -> None:
    plate = make.structure(programme.lead, programme.bay, rows=30, columns=40)
    mother = programme.mother()
    ramets = [
        *make.cut(programme.lead, [mother], 1000, into=plate),
        *make.cut(programme.lead, [mother], 200, into=plate),
    ]
    typed = {"uid": str(uuid.uuid4()), "picked": pairs(ramets)}
    for _ in range(2):
        done(press(client, plate, "dead", **typed), plate)
    assert len(written(EventKind.CHECK)) == 2
    assert lives(ramets) == {Life.DEAD}


def test_packed_ramets_wait_to_be_placed_by_the_entry_that_they_came_by(
    programme: Programme, client: Client
) -> None:
    found = make.collection(programme.lead, programme.colony, count=3)
    make.cut(programme.lead, [programme.mother()], 2)
    entries = client.get("/waiting/").json()["entries"]
    assert [len(entry["ramets"]) for entry in entries] == [2, 3]
    codes = [ramet["code"] for ramet in entries[1]["ramets"]]
    assert codes == [ramet.code for ramet in make.ramets_of(found)]
    placed = ",".join(
        f"{cell}={code}" for cell, code in zip(("A1", "B1", "C1"), codes, strict=True)
    )
    done(press(client, programme.plate, "place", placed=placed), programme.plate)
    assert {ramet.place for ramet in now(make.ramets_of(found))} == {Place.STRUCTURE}


def test_a_tag_is_looked_up_for_scripts(programme: Programme, client: Client) -> None:
    (ramet,) = make.cut(programme.lead, [programme.mother()], children=[{"tag": "T-9"}])
    told = client.get("/named/", {"q": "t-9"}).json()
    assert (told["code"], told["genet"], told["living"]) == (ramet.code, ramet.genet_id, True)
    answer = client.get("/named/", {"q": "NOSUCH"})
    assert answer.status_code == 404
    assert "There is no ramet" in answer.json()["message"]
    assert client.get("/structures/NOSUCH/cells/").status_code == 404


def test_the_forms_keep_when_and_who(
    programme: Programme, client: Client, cut: list[Ramet]
) -> None:
    html = main_of(client, page_of(programme.plate))
    name = str(client.get("/").wsgi_request.user)
    assert f'name="done_by" value="{name}"' in html
    press(client, programme.plate, "loose", picked=pairs(cut[:1]), done_by="Ana; Teo")
    event = Event.objects.get(kind=EventKind.CHECK)
    assert event.people == ["Ana", "Teo"]
    assert str(event.when) == TODAY
