"""Logging in and out, who is let in, and what is said to whom is not."""

import pytest
from django.test import Client

from nursery.core.actor import Role
from tests import factories as make
from tests.pages import read, reader, words_of

pytestmark = pytest.mark.django_db

PAGES = [
    "/",
    "/find/?q=k",
    "/colonies/",
    "/collections/",
    "/reefs/",
    "/taxa/",
    "/permits/",
    "/genets/",
    "/ramets/",
    "/fragmentations/",
    "/structures/",
    "/nurseries/",
    "/systems/",
    "/bays/",
    "/sites/",
    "/plots/",
    "/outplantings/",
    "/visits/",
    "/events/",
]


def test_a_person_logs_in_and_comes_to_where_they_wanted_to_go() -> None:
    user = make.person(Role.VIEWER)
    client = Client()
    asked = client.get("/genets/")
    assert asked.status_code == 302
    assert asked["Location"] == "/login/?next=/genets/"
    form = {"username": user.username, "password": make.PASSWORD}
    answer = client.post(asked["Location"], {**form, "next": "/genets/"})
    assert answer["Location"] == "/genets/"


def test_a_wrong_password_is_told_without_saying_whose() -> None:
    user = make.person(Role.VIEWER)
    answer = Client().post("/login/", {"username": user.username, "password": "wrong"})
    assert answer.status_code == 200
    assert "Name and password do not fit together" in words_of(answer)


def test_logging_in_never_leads_to_another_host() -> None:
    user = make.person(Role.VIEWER)
    form = {"username": user.username, "password": make.PASSWORD}
    answer = Client().post("/login/", {**form, "next": "//elsewhere.example/"})
    assert answer["Location"] == "/"


def test_a_person_logs_out_by_post_only() -> None:
    client = reader(Role.VIEWER)
    assert client.get("/logout/").status_code == 405
    assert client.post("/logout/")["Location"] == "/login/"
    assert client.get("/")["Location"] == "/login/?next=/"


@pytest.mark.parametrize("page", PAGES)
def test_a_viewer_reads_every_list(page: str) -> None:
    assert reader(Role.VIEWER).get(page).status_code == 200


@pytest.mark.parametrize("page", PAGES)
def test_nobody_reads_without_logging_in(page: str) -> None:
    answer = Client().get(page)
    assert answer.status_code == 302
    assert answer["Location"].startswith("/login/?next=")


@pytest.mark.parametrize("page", PAGES)
def test_an_account_without_a_role_is_told_what_to_do(page: str) -> None:
    said = read(reader(), page, 403)
    assert "no_role" in said
    assert "Tell them the name you logged in with" in said
    assert "Find" not in said


def test_a_page_is_kept_by_no_browser() -> None:
    assert "no-store" in reader(Role.VIEWER).get("/")["Cache-Control"]


def test_an_unknown_address_is_told_in_our_own_words() -> None:
    said = read(reader(Role.VIEWER), "/no/such/page/", 404)
    assert "There is no page at this address." in said
    assert "no_such_page" in said


def test_a_missing_last_slash_is_put_right() -> None:
    answer = reader(Role.VIEWER).get("/genets?status=presumed")
    assert answer.status_code == 301
    assert answer["Location"] == "/genets/?status=presumed"


def test_putting_a_slash_right_never_leads_to_another_host() -> None:
    answer = reader(Role.VIEWER).get("/", PATH_INFO="//elsewhere.example/genets")
    assert answer.status_code == 404


def test_an_unknown_address_tells_nothing_to_who_is_not_logged_in() -> None:
    assert Client().get("/no/such/page/")["Location"].startswith("/login/")


@pytest.mark.parametrize(
    "page", ["/genets/NONE/", "/colonies/NONE/", "/sites/NONE/", "/plots/NONE/", "/events/NONE/"]
)
def test_an_unknown_thing_is_not_found(page: str) -> None:
    said = read(reader(Role.VIEWER), page, 404)
    assert "There is nothing of that name" in said
    assert "unknown_" in said


@pytest.mark.parametrize("page", ["/genets/a%00b/", "/ramets/a%00b/", "/sites/a%00b/"])
def test_a_control_character_in_an_address_is_not_found(page: str) -> None:
    assert reader(Role.VIEWER).get(page).status_code == 404


def test_a_page_is_not_written_to() -> None:
    assert reader(Role.LEAD).post("/genets/").status_code == 405


def test_a_form_that_was_open_too_long_says_so() -> None:
    client = Client(enforce_csrf_checks=True)
    answer = client.post("/login/", {"username": "a", "password": "b"})
    assert answer.status_code == 403
    assert "This page was open too long" in words_of(answer)


def test_a_fault_of_ours_is_a_page_that_reveals_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(*args: object) -> None:
        raise RuntimeError("secret")

    monkeypatch.setattr("nursery.diversity.views.today.today", broken)
    client = reader(Role.VIEWER)
    client.raise_request_exception = False
    answer = client.get("/")
    assert answer.status_code == 500
    said = words_of(answer)
    assert "A fault of the register" in said
    assert "secret" not in said
