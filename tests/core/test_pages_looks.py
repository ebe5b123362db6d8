"""How pages look to a reader, cautions folded for the day, and what the browser may load."""

import datetime

import pytest
from django.conf import settings
from django.test import Client, override_settings
from django.utils import timezone

from nursery.core.actor import Role
from nursery.core.cautions import CAUTIONS
from tests import factories as make
from tests.pages import main_of, read, reader, words_of

pytestmark = pytest.mark.django_db


def test_a_chosen_look_stays_on_the_device() -> None:
    client = reader(Role.VIEWER)
    assert "data-look" not in client.get("/").content.decode()
    answer = client.post("/look/", {"look": "red", "next": "/genets/"})
    assert answer["Location"] == "/genets/"
    page = client.get("/").content.decode()
    assert 'data-look="red"' in page
    assert "core/red.css" in page


def test_the_look_of_the_device_is_taken_again() -> None:
    client = reader(Role.VIEWER)
    client.post("/look/", {"look": "dark"})
    client.post("/look/", {"look": ""})
    assert "data-look" not in client.get("/").content.decode()


def test_an_unknown_look_is_not_put_into_the_page() -> None:
    client = reader(Role.VIEWER)
    client.cookies["look"] = '"><script>'
    assert "data-look" not in client.get("/").content.decode()


def test_high_contrast_is_on_every_device_that_asks_for_it_and_where_it_was_chosen() -> None:
    client = reader(Role.VIEWER)
    assert 'media="(prefers-contrast: more)"' in client.get("/").content.decode()
    client.post("/look/", {"look": "contrast"})
    assert 'media="(prefers-contrast: more)"' not in client.get("/").content.decode()


def test_choosing_a_look_never_leads_to_another_host() -> None:
    answer = Client().post("/look/", {"look": "dark", "next": "//elsewhere.example/"})
    assert answer["Location"] == "/"


def test_a_caution_is_folded_until_midnight_and_still_there_to_open() -> None:
    client = reader(Role.FIELD)
    address = "/enter/collection/"
    assert "Fold for today" in read(client, address)
    answer = client.post("/cautions/", {"caution": "permit", "next": address})
    assert answer["Location"] == address
    left = datetime.timedelta(seconds=answer.cookies["cautions"]["max-age"])
    assert timezone.localtime() + left <= timezone.localtime().replace(
        hour=0, minute=0
    ) + datetime.timedelta(days=1, minutes=1)
    page = main_of(client, address)
    assert "Fold for today" not in page
    assert "<details" in page
    assert str(CAUTIONS["permit"].text) in page.replace("&#x27;", "'")


def test_folding_one_caution_leaves_the_others_open() -> None:
    client = reader(Role.FIELD)
    client.post("/cautions/", {"caution": "diving"})
    client.post("/cautions/", {"caution": "nothing such"})
    assert client.cookies["cautions"].value == "diving"
    assert "Fold for today" in read(client, "/enter/collection/")


@pytest.mark.parametrize("address", ["/", "/login/", "/api/", "/colonies/"])
def test_nothing_may_be_loaded_from_elsewhere_or_run_inline(address: str) -> None:
    answer = reader(Role.VIEWER).get(address)
    policy = answer["Content-Security-Policy"]
    assert "default-src 'self'" in policy
    assert "unsafe" not in policy
    assert "http" not in policy


def test_who_guesses_passwords_is_held_off_and_told_for_how_long() -> None:
    user = make.person(Role.VIEWER)
    client = Client()
    wrong = {"username": user.username, "password": "wrong"}
    for _ in range(settings.AXES_FAILURE_LIMIT):
        answer = client.post("/login/", wrong)
    assert answer.status_code == 429
    assert "held off from this device for 15 minutes" in words_of(answer)
    right = {**wrong, "password": make.PASSWORD}
    assert client.post("/login/", right).status_code == 429


def test_a_colleague_on_the_same_device_is_not_held_off() -> None:
    user, colleague = make.person(Role.VIEWER), make.person(Role.VIEWER)
    client = Client()
    for _ in range(settings.AXES_FAILURE_LIMIT):
        client.post("/login/", {"username": user.username, "password": "wrong"})
    form = {"username": colleague.username, "password": make.PASSWORD}
    assert client.post("/login/", form).status_code == 302


def test_one_who_remembers_begins_to_count_anew() -> None:
    user = make.person(Role.VIEWER)
    client = Client()
    wrong = {"username": user.username, "password": "wrong"}
    for _ in range(2):
        for _ in range(settings.AXES_FAILURE_LIMIT - 1):
            assert client.post("/login/", wrong).status_code == 200
        assert client.post("/login/", {**wrong, "password": make.PASSWORD}).status_code == 302
        client.post("/logout/")


@override_settings(TIME_ZONE="UTC")
def test_times_are_those_of_the_readers_nursery() -> None:
    by = make.lead()
    home = make.nursery(by, timezone="Pacific/Auckland")
    here = make.tray(by, make.bay(by, home))
    make.stock(by, home, [{"taxon": make.taxon(by).code, "structure": here.code}])
    event = here.steps.get().event
    moment = datetime.datetime(2024, 3, 4, 22, 30, tzinfo=datetime.UTC)
    type(event).objects.filter(pk=event.pk).update(recorded_at=moment)
    address = f"/events/{event.uid}/"
    assert "5 March 2024, 11:30" in read(reader(Role.NURSERY, at=home), address)
    assert "4 March 2024, 22:30" in read(reader(Role.VIEWER), address)
