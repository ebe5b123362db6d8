"""The page on which a colony and its collection are entered aboard."""

import uuid
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from django.test import Client, override_settings

from nursery.core.actor import Role
from nursery.core.models import Event
from nursery.donors.models import Collection, DonorColony, Photo
from tests import factories as make
from tests.donors import photographed
from tests.lineage.test_first_collections import FIVE_METRES_NORTH, HERE, entered
from tests.pages import cost, main_of, read, reader, words_of

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def folder(tmp_path: Path) -> Iterator[Path]:
    with override_settings(MEDIA_ROOT=tmp_path):
        yield tmp_path


@pytest.fixture
def client(programme: make.Programme) -> Client:
    return reader(Role.FIELD)


def filled(programme: make.Programme, **values: Any) -> dict[str, Any]:
    return {
        "uid": str(uuid.uuid4()),
        "source": "new",
        "taxon": programme.taxon.code,
        "reef": programme.reef.code,
        **HERE,
        "uncertainty_m": "6",
        "depth": "12 ft",
        "count": "3",
        "when": make.COLLECTED,
        "done_by": "Ana Reyes, Iro Falk",
        **values,
    }


def test_one_press_registers_and_collects(client: Client, programme: make.Programme) -> None:
    permit = make.permit(programme.lead)
    form = filled(programme, permits=[permit.code], photos=[photographed.file()], says="its edge")
    answer = client.post("/collect/", form)
    event = Event.objects.get(uid=form["uid"])
    assert answer.headers["Location"] == f"/events/{event.uid}/"
    assert event.people == ["Ana Reyes", "Iro Falk"]
    colony = DonorColony.objects.latest("pk")
    assert str(colony.depth_m) == "3.7"
    assert Photo.objects.get(colony=colony).note == "its edge"
    page = words_of(client.get(f"/events/{event.uid}/"))
    assert f"Entered: 3 pieces collected from {colony}." in page
    assert "Undo: 3 pieces" in page


def test_the_same_press_twice_enters_once(client: Client, programme: make.Programme) -> None:
    form = filled(programme)
    for _ in range(2):
        assert client.post("/collect/", form).status_code == 302
    assert Collection.objects.count() == 1
    assert "entered already, once" in read(client, f"/events/{form['uid']}/")


def test_another_press_on_the_same_form_is_told_and_may_be_sent_again(
    client: Client, programme: make.Programme
) -> None:
    form = filled(programme)
    client.post("/collect/", form)
    answer = client.post("/collect/", {**form, "count": "9"})
    assert answer.status_code == 409
    body = answer.content.decode()
    assert f"/events/{form['uid']}/" in body
    assert "uid_taken" not in body
    assert form["uid"] not in body.partition('name="uid"')[2][:80]


def test_a_colony_on_record_may_be_chosen_instead(
    client: Client, programme: make.Programme
) -> None:
    colony = programme.colony
    page = main_of(client, f"/collect/?colony={colony.code}")
    assert f'value="{colony.code}"' in page
    colonies = DonorColony.objects.count()
    # What was filled in for a new one before does not count.
    form = filled(programme, source="known", colony=colony.code.lower(), size="35")
    assert client.post("/collect/", form).status_code == 302
    assert Collection.objects.get().colony == colony
    assert DonorColony.objects.count() == colonies


def test_photos_go_to_a_colony_on_record_too(client: Client, programme: make.Programme) -> None:
    colony = programme.colony
    form = filled(programme, source="known", colony=colony.code, photos=[photographed.file()])
    for _ in range(2):
        form["photos"][0].seek(0)
        client.post("/collect/", form)
    assert Photo.objects.get().colony == colony


@pytest.mark.parametrize(
    ("changed", "code", "beside"),
    [
        ({"count": "many"}, "not_a_number", "count"),
        ({"count": ""}, "required", "count"),
        ({"depth": "12 fathoms"}, "unit_unknown", "depth"),
        ({"latitude": "12°61'"}, "coordinate_malformed", "latitude"),
        ({"longitude": ""}, "required", "longitude"),
        ({"when": "2021-13-01"}, "date_impossible", "when"),
        ({"taxon": ""}, "required", "taxon"),
        ({"size": "-3"}, "length_negative", "size"),
        ({"permits": ["NOSUCH"]}, "unknown_permit", "permits"),
        ({"source": "known", "colony": "NOSUCH"}, "unknown_donorcolony", "colony"),
        ({"source": "known", "colony": ""}, "required", "colony"),
    ],
)
def test_a_refusal_stands_beside_its_blank_and_keeps_what_was_typed(
    client: Client, programme: make.Programme, changed: dict[str, Any], code: str, beside: str
) -> None:
    form = filled(programme, note="a note", **changed)
    answer = client.post("/collect/", form)
    assert answer.status_code == 400
    body = answer.content.decode()
    about = body.partition(f'id="about-{beside}"')[2].partition("</div>")[0]
    assert code in about
    assert "Nothing was stored" in body
    for typed in ("a note", "Ana Reyes, Iro Falk", form["uid"]):
        assert typed in body
    assert Collection.objects.count() == 0


def test_all_that_is_wrong_is_told_at_once(client: Client, programme: make.Programme) -> None:
    form = filled(programme, count="many", photos=[photographed.file(b"no photo", "talk.txt")])
    body = client.post("/collect/", form).content.decode()
    for code in ("not_a_number", "photo_unreadable", "Choose the photos again"):
        assert code in body


def test_a_code_that_is_taken_is_told(client: Client, programme: make.Programme) -> None:
    body = client.post("/collect/", filled(programme, code=programme.colony.code)).content.decode()
    assert "code_taken" in body.partition('id="about-code"')[2][:400]


@pytest.mark.parametrize("role", [Role.VIEWER, Role.NURSERY])
def test_others_may_not(programme: make.Programme, role: Role) -> None:
    client = reader(role, at=programme.nursery)
    assert client.get("/collect/").status_code == 403
    assert client.post("/collect/", filled(programme)).status_code == 403
    assert client.post("/collect/reading/", filled(programme)).status_code == 403


def test_the_next_form_knows_what_stayed_the_same(
    client: Client, programme: make.Programme
) -> None:
    permit = make.permit(programme.lead)
    client.post("/collect/", filled(programme, permits=[permit.code]))
    page = main_of(client, "/collect/")
    assert f'<option value="{programme.taxon.code}" selected' in " ".join(page.split())
    assert 'value="Ana Reyes, Iro Falk"' in page
    assert "checked" in page.partition(f'value="{permit.code}"')[2][:60]
    assert 'name="count" value=""' in " ".join(page.split())


# What is read back


def reading(client: Client, programme: make.Programme, **values: Any) -> str:
    answer = client.post("/collect/reading/", filled(programme, **values))
    assert answer.status_code == 200
    return words_of(answer)


def test_what_was_typed_is_read_back(client: Client, programme: make.Programme) -> None:
    said = reading(client, programme, latitude="17°30.0' S", longitude="149°49'48\" W", size="1 ft")
    assert "17°30′00.0″S 149°49′48.0″W" in said
    assert "-17.500000, -149.830000" in said
    assert "Depth: 3.7 m." in said
    assert "30.5 cm across" in said
    assert "Day: 10 January 2021." in said


def test_what_cannot_be_read_is_told_while_it_is_typed(
    client: Client, programme: make.Programme
) -> None:
    said = reading(client, programme, latitude="12°61'", depth="deep", when="soon")
    assert "is not a latitude" in said
    assert "is not a length" in said
    assert Collection.objects.count() == 0


def test_a_likely_clone_is_warned_of_while_it_is_typed(
    client: Client, programme: make.Programme
) -> None:
    colony = entered(programme).colony
    said = reading(client, programme, **FIVE_METRES_NORTH)
    assert f"{colony} stands 5 m from here." in said
    assert "17.5" not in said.partition("stands 5 m")[2].partition("Position:")[0]
    assert "stands" not in reading(client, programme, latitude="-17.6")


def test_a_permit_that_does_not_cover_it_is_warned_of_and_nothing_is_lost(
    client: Client, programme: make.Programme
) -> None:
    lapsed = make.permit(programme.lead, valid_until="2020-12-31")
    few = make.permit(programme.lead, pieces=4)
    make.collection(programme.lead, programme.colony, count=2, permits=[few.code])
    assert "No permit is named for this." in reading(client, programme)
    assert f"{lapsed.code} lapsed" in reading(client, programme, permits=[lapsed.code])
    assert f"{few.code} allows 4 pieces; 5 were taken" in reading(
        client, programme, permits=[few.code]
    )
    assert "allows" not in reading(client, programme, permits=[few.code], count="2")
    assert "flagged for a lead" not in reading(client, programme, permits=[few.code], count="2")
    assert client.post("/collect/", filled(programme, permits=[few.code])).status_code == 302


def test_zoanthids_bring_their_caution_along(client: Client, programme: make.Programme) -> None:
    taxon = make.taxon(programme.lead, group="zoanthid")
    assert "palytoxin" in reading(client, programme, taxon=taxon.code)
    assert "palytoxin" not in reading(client, programme)


@pytest.mark.parametrize("hostile", ["\x00", "<b>", "x" * 5000, "9" * 400, "−"])
def test_odd_texts_are_read_without_a_fall(
    client: Client, programme: make.Programme, hostile: str
) -> None:
    names = ("latitude", "longitude", "depth", "size", "count", "when", "taxon", "reef", "colony")
    for name in names:
        for source in ("new", "known"):
            form = filled(programme, **{name: hostile, "source": source})
            answer = client.post("/collect/reading/", form)
            assert answer.status_code == 200
            assert b"<b>" not in answer.content


def test_queries_do_not_grow_with_the_record(client: Client, programme: make.Programme) -> None:
    make.permit(programme.lead)
    cost(client, "/collect/")
    few = cost(client, "/collect/")
    for _ in range(4):
        make.permit(programme.lead)
        make.taxon(programme.lead)
        make.colony(programme.lead, programme.taxon, programme.reef)
    assert cost(client, "/collect/") == few == 8
