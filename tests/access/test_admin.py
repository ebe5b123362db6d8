"""The back office: for leads who are staff, and through the actions."""

import pytest
from django.test import Client

from nursery.access.models import Membership, Token
from nursery.core.actor import Role
from nursery.core.models import Change, User
from tests import factories as make

pytestmark = pytest.mark.django_db

PAGES = [
    "/admin/core/user/",
    "/admin/core/user/add/",
    "/admin/access/membership/",
    "/admin/access/membership/add/",
    "/admin/access/token/",
    "/admin/access/token/add/",
]


def staff(*roles: Role) -> tuple[Client, User]:
    user = make.person(*roles)
    User.objects.filter(pk=user.pk).update(is_staff=True)
    client = Client()
    client.force_login(user)
    return client, user


@pytest.mark.parametrize("page", PAGES)
def test_a_lead_opens_the_back_office(page: str) -> None:
    client, _ = staff(Role.LEAD)
    assert client.get(page).status_code == 200


@pytest.mark.parametrize("page", PAGES)
def test_nobody_else_opens_the_back_office(page: str) -> None:
    client, _ = staff(Role.FIELD)
    assert client.get(page).status_code == 403


def test_a_superuser_without_a_role_sees_nothing_of_it() -> None:
    client, user = staff()
    User.objects.filter(pk=user.pk).update(is_superuser=True)
    assert client.get("/admin/access/membership/").status_code == 403


def test_a_person_is_entered_with_a_password() -> None:
    client, lead = staff(Role.LEAD)
    client.post(
        "/admin/core/user/add/",
        {"username": "maru", "new_password": make.PASSWORD, "is_active": "on"},
    )
    assert User.objects.get(username="maru").check_password(make.PASSWORD)
    assert Change.objects.filter(register="core.user", code="maru", by=lead).exists()


def test_a_weak_password_is_refused() -> None:
    client, _ = staff(Role.LEAD)
    answer = client.post("/admin/core/user/add/", {"username": "maru", "new_password": "12345678"})
    assert answer.status_code == 200
    assert not User.objects.filter(username="maru").exists()


def test_a_person_is_edited_and_keeps_the_password() -> None:
    client, _ = staff(Role.LEAD)
    user = make.person(name="maru")
    client.post(
        f"/admin/core/user/{user.pk}/change/",
        {"username": "maru", "first_name": "Maru", "is_active": "on"},
    )
    user.refresh_from_db()
    assert user.first_name == "Maru"
    assert user.check_password(make.PASSWORD)


def test_the_form_has_no_way_to_make_a_superuser() -> None:
    client, _ = staff(Role.LEAD)
    client.post(
        "/admin/core/user/add/", {"username": "maru", "is_superuser": "on", "is_active": "on"}
    )
    assert not User.objects.get(username="maru").is_superuser


def test_nobody_is_deleted() -> None:
    client, _ = staff(Role.LEAD)
    user = make.person()
    assert client.post(f"/admin/core/user/{user.pk}/delete/", {"post": "yes"}).status_code == 403
    assert User.objects.filter(pk=user.pk).exists()


def test_a_role_is_given_and_withdrawn() -> None:
    client, lead = staff(Role.LEAD)
    user = make.person()
    client.post("/admin/access/membership/add/", {"user": user.pk, "role": "field"})
    membership = Membership.objects.get(user=user)
    client.post(f"/admin/access/membership/{membership.pk}/delete/", {"post": "yes"})
    assert not Membership.objects.filter(user=user).exists()
    assert Change.objects.filter(code=user.username, by=lead).count() == 2


def test_the_last_lead_stays_and_is_told_why() -> None:
    client, lead = staff(Role.LEAD)
    membership = Membership.objects.get(user=lead)
    answer = client.post(
        f"/admin/access/membership/{membership.pk}/delete/", {"post": "yes"}, follow=True
    )
    assert "Nobody would lead the programme" in answer.content.decode()
    assert Membership.objects.filter(pk=membership.pk).exists()


def test_the_key_of_a_token_is_shown_once() -> None:
    client, lead = staff(Role.LEAD)
    answer = client.post(
        "/admin/access/token/add/", {"user": lead.pk, "name": "logger", "days": "30"}
    )
    token = Token.objects.get()
    assert "It is shown only now" in answer.content.decode()
    assert "no-store" in answer["Cache-Control"]
    page = client.get(f"/admin/access/token/{token.pk}/change/").content.decode()
    assert token.digest not in page


def test_tokens_are_withdrawn_from_the_list() -> None:
    client, lead = staff(Role.LEAD)
    client.post("/admin/access/token/add/", {"user": lead.pk, "name": "logger", "days": "30"})
    token = Token.objects.get()
    client.post("/admin/access/token/", {"action": "withdraw", "_selected_action": [token.pk]})
    token.refresh_from_db()
    assert token.withdrawn_at is not None
