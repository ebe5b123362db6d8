"""Keeping photos, closing them, and who gets their files."""

import uuid
from collections.abc import Iterator
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from django.test import Client, override_settings
from rest_framework.test import APIRequestFactory, force_authenticate

from nursery.core.actor import Role
from nursery.core.errors import NotAllowed, Unknown
from nursery.core.models import User
from nursery.donors import photos
from nursery.donors.actions import enter_colony
from nursery.donors.models import DonorColony, Photo
from nursery.donors.photo_api import PhotoViewSet
from tests import factories as make
from tests.donors import photographed
from tests.pages import cost, main_of, read, reader
from tests.refusals import refused

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def folder(tmp_path: Path) -> Iterator[Path]:
    with override_settings(MEDIA_ROOT=tmp_path):
        yield tmp_path / "photos"


def files_in(folder: Path) -> list[Path]:
    return [path for path in folder.rglob("*") if path.is_file()]


def kept(programme: make.Programme, **values: Any) -> Photo:
    (photo,) = photos.keep(programme.lead, [photographed.picture()], programme.colony, **values)
    return photo


def test_a_photo_has_two_files_under_names_by_chance(
    programme: make.Programme, folder: Path
) -> None:
    photo = kept(programme, taken_on=date(2021, 3, 4), note=" from above ")
    assert (photo.note, photo.taken_on) == ("from above", date(2021, 3, 4))
    assert photo.recorded_by_id == programme.lead.user_id
    assert (photo.width, photo.height) == (64, 48)
    found = files_in(folder)
    assert len(found) == 2
    for path in found:
        assert programme.colony.code not in str(path)
        assert path.stem != str(photo.uid)
        assert len(path.stem) == 32
        assert path.stat().st_mode & 0o777 == 0o640


def test_a_photo_of_a_collection_is_one_of_its_colony_too(programme: make.Programme) -> None:
    collection = make.collection(programme.lead, programme.colony)
    (photo,) = photos.keep(programme.lead, [photographed.picture()], None, collection)
    assert photo.colony == programme.colony


@pytest.mark.parametrize(
    ("values", "code"),
    [
        ({"note": "x" * 201}, "too_long"),
        ({"note": "a\x00b"}, "control_character"),
        ({"taken_on": date(2999, 1, 1)}, "date_in_future"),
    ],
)
def test_what_is_wrong_with_a_photo_is_said(
    programme: make.Programme, folder: Path, values: dict[str, Any], code: str
) -> None:
    with refused(code):
        kept(programme, **values)
    assert files_in(folder) == []


def test_a_photo_is_of_something(programme: make.Programme) -> None:
    with refused("of_nothing"):
        photos.keep(programme.lead, [photographed.picture()])


def test_no_more_than_a_dozen_at_once(programme: make.Programme, folder: Path) -> None:
    with refused("too_many"):
        photos.keep(programme.lead, [photographed.picture()] * 13, programme.colony)
    assert files_in(folder) == []


def test_files_of_a_photo_that_is_not_stored_are_taken_away(
    programme: make.Programme, folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(*_: Any, **__: Any) -> None:
        raise OSError("no space left")

    monkeypatch.setattr(Photo, "save", full)
    with pytest.raises(OSError, match="no space"):
        kept(programme)
    assert files_in(folder) == []


def test_only_field_staff_and_leads_bring_photos(programme: make.Programme) -> None:
    for actor in (make.viewer(), make.staff(programme.nursery)):
        with refused("not_allowed", by=NotAllowed):
            photos.keep(actor, [photographed.picture()], programme.colony)
    assert photos.keep(make.field(), [photographed.picture()], programme.colony)


def test_a_closed_photo_is_kept_and_no_more_shown(programme: make.Programme, folder: Path) -> None:
    field = make.field()
    (photo,) = photos.keep(field, [photographed.picture()], programme.colony)
    closed = photos.close(field, photo.uid)
    assert closed.closed_by_id == field.user_id
    assert photos.close(programme.lead, photo.uid).closed_by_id == field.user_id
    assert len(files_in(folder)) == 2
    assert list(photos.shown()) == []
    assert photos.one(programme.lead, photo.uid) == photo
    with pytest.raises(Unknown):
        photos.one(field, photo.uid)


def test_a_photo_is_closed_by_whoever_brought_it_or_by_a_lead(programme: make.Programme) -> None:
    photo, other = kept(programme), make.field()
    with refused("not_allowed", by=NotAllowed):
        photos.close(other, photo.uid)
    with refused("unknown_photo", by=Unknown):
        photos.close(programme.lead, uuid.uuid4())
    assert photos.close(make.lead(), photo.uid).closed_at is not None


def test_a_colony_with_a_photo_alone_can_still_be_corrected(programme: make.Programme) -> None:
    kept(programme)
    other = make.reef(programme.lead)
    row = DonorColony.objects.get(pk=programme.colony.pk)
    assert enter_colony(programme.lead, {"reef": other.code}, row).reef == other


# Files


@pytest.mark.parametrize("size", ["large", "small"])
def test_whoever_has_a_role_gets_the_file(programme: make.Programme, size: str) -> None:
    photo = kept(programme)
    answer = reader(Role.VIEWER).get(f"/photos/{photo.uid}/{size}.jpg")
    assert answer.status_code == 200
    assert answer["Content-Type"] == "image/jpeg"
    assert answer["X-Content-Type-Options"] == "nosniff"
    assert answer["Cache-Control"].startswith("private")
    content = b"".join(answer.streaming_content)  # type: ignore[attr-defined]
    assert photographed.opened(content).size == (64, 48)
    assert photographed.SECRET not in content


def test_nobody_else_gets_it(programme: make.Programme) -> None:
    photo = kept(programme)
    address = f"/photos/{photo.uid}/large.jpg"
    assert Client().get(address).status_code == 302
    assert reader().get(address).status_code == 403
    lead = reader(Role.LEAD)
    assert lead.get(f"/photos/{uuid.uuid4()}/large.jpg").status_code == 404
    for guess in (photo.file.name, f"media/{photo.file.name}", f"photos/{photo.file.name}"):
        assert lead.get(f"/{guess}").status_code == 404
    photos.close(programme.lead, photo.uid)
    assert reader(Role.VIEWER).get(address).status_code == 404
    answer = lead.get(address)
    assert answer.status_code == 200
    assert list(answer.streaming_content)  # type: ignore[attr-defined]


def test_a_file_that_is_gone_is_told(programme: make.Programme) -> None:
    photo = kept(programme)
    photos.forget_files(photos.files_of([photo]))
    assert reader(Role.VIEWER).get(f"/photos/{photo.uid}/large.jpg").status_code == 404


def test_a_file_has_no_address_of_its_own(programme: make.Programme) -> None:
    with pytest.raises(ValueError, match="no address"):
        _ = kept(programme).file.url


# Pages


def test_a_colony_shows_its_photos_in_words_too(programme: make.Programme) -> None:
    photo = kept(programme, note="Bleached <edge>", taken_on=date(2021, 3, 4))
    other = kept(programme, taken_on=date(2021, 3, 5))
    page = main_of(reader(Role.VIEWER), f"/colonies/{programme.colony.code}/")
    assert f"/photos/{photo.uid}/small.jpg" in page
    assert 'alt="Bleached &lt;edge&gt;"' in page
    assert f'alt="{programme.colony}, 5 March 2021"' in page
    assert page.index(str(other.uid)) < page.index(str(photo.uid))
    assert "Add photos" not in page
    assert "Close this photo" not in page


def test_photos_are_brought_and_closed_on_pages(programme: make.Programme) -> None:
    client = reader(Role.FIELD)
    colony = programme.colony
    address = f"/colonies/{colony.code}/photos/"
    assert f'href="{address}"' in main_of(client, f"/colonies/{colony.code}/")
    sent = {"photos": [photographed.file(), photographed.file()], "note": "edge", "taken_on": ""}
    answer = client.post(address, sent)
    assert answer.headers["Location"] == f"/colonies/{colony.code}/#photos"
    assert "2 photos are kept." in read(client, f"/colonies/{colony.code}/")
    photo = Photo.objects.filter(colony=colony).first()
    assert photo is not None
    client.post(f"/photos/{photo.uid}/close/")
    assert str(photo.uid) not in main_of(client, f"/colonies/{colony.code}/")
    assert "Close this photo" not in main_of(reader(Role.FIELD), f"/colonies/{colony.code}/")


@pytest.mark.parametrize(
    ("sent", "code"),
    [
        ({}, "required"),
        ({"photos": [photographed.file(b"no photo", "talk.txt")]}, "photo_unreadable"),
        ({"photos": [photographed.file()], "taken_on": "4 March"}, "date_malformed"),
        ({"photos": [photographed.file()] * 13}, "too_many"),
    ],
)
def test_a_refusal_stands_on_the_form_with_what_was_typed(
    programme: make.Programme, sent: dict[str, Any], code: str
) -> None:
    for name in sent.get("photos", ()):
        name.seek(0)
    address = f"/colonies/{programme.colony.code}/photos/"
    answer = reader(Role.FIELD).post(address, {"note": "from above", **sent})
    assert answer.status_code == 400
    body = answer.content.decode()
    assert code in body
    assert 'value="from above"' in body
    assert Photo.objects.count() == 0


@pytest.mark.parametrize("role", [Role.VIEWER, Role.NURSERY])
def test_others_bring_none(programme: make.Programme, role: Role) -> None:
    client = reader(role, at=programme.nursery)
    address = f"/colonies/{programme.colony.code}/photos/"
    assert client.get(address).status_code == 403
    assert client.post(address, {"photos": [photographed.file()]}).status_code == 403
    photo = kept(programme)
    assert client.post(f"/photos/{photo.uid}/close/").status_code == 403


def test_a_colonys_queries_do_not_grow_with_its_photos(programme: make.Programme) -> None:
    client, page = reader(Role.LEAD), f"/colonies/{programme.colony.code}/"
    kept(programme)
    few = cost(client, page)
    for _ in range(4):
        kept(programme)
    assert cost(client, page) == few


# API

_DO = {"get": "list", "post": "create"}


def asked(method: str, user: User, does: str = "", /, **values: Any) -> Any:
    """An answer of the photos' endpoint."""
    uid = {"uid": values.pop("uid")} if "uid" in values else {}
    build = getattr(APIRequestFactory(), method)
    request = build("/api/photos/", values, **({"format": "multipart"} if method == "post" else {}))
    force_authenticate(request, user)
    return PhotoViewSet.as_view({method: does or _DO[method]})(request, **uid)


def test_photos_go_by_api_too(programme: make.Programme) -> None:
    field, viewer = make.person(Role.FIELD), make.person(Role.VIEWER)
    sent = {"colony": programme.colony.code, "taken_on": "2021-03-04", "note": "edge"}
    answer = asked("post", field, photo=photographed.file(), **sent)
    assert answer.status_code == 201
    assert {**answer.data, **sent} == answer.data
    (listed,) = asked("get", viewer, colony=programme.colony.code).data["results"]
    assert listed == answer.data
    uid = answer.data["uid"]
    assert asked("get", viewer, "retrieve", uid=uid).data == answer.data
    file = asked("get", viewer, "file", uid=uid)
    assert file["Content-Type"] == "image/jpeg"
    file.file_to_stream.close()
    assert asked("post", field, "close", uid=uid).data["closed_at"]
    assert asked("get", viewer).data["results"] == []


@pytest.mark.parametrize(
    ("sent", "code"),
    [
        ({"colony": "NOSUCH"}, "unknown_donorcolony"),
        ({"collection": "perhaps"}, "unknown_collection"),
        ({"collection": str(uuid.uuid4())}, "unknown_collection"),
        ({"colour": "red"}, "unknown_field"),
        ({"taken_on": "soon"}, "date_malformed"),
        ({}, "of_nothing"),
    ],
)
def test_the_api_says_what_is_wrong(
    programme: make.Programme, sent: dict[str, str], code: str
) -> None:
    field = make.person(Role.FIELD)
    answer = asked("post", field, photo=photographed.file(), **sent)
    assert answer.status_code in (400, 404)
    assert code in answer.content.decode()
    assert Photo.objects.count() == 0


def test_the_api_wants_a_file_and_a_role_that_may(programme: make.Programme) -> None:
    assert asked("post", make.person(Role.FIELD), colony=programme.colony.code).status_code == 400
    viewer = make.person(Role.VIEWER)
    sent = {"photo": photographed.file(), "colony": programme.colony.code}
    assert asked("post", viewer, **sent).status_code == 403
    assert Photo.objects.count() == 0
