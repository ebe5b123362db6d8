"""Tokens: made, used, and what is answered when one is no good."""

import hashlib
from datetime import timedelta

import pytest
from django.core.management import CommandError, call_command
from django.utils import timezone
from rest_framework.test import APIClient

from nursery.access.actions import issue_token, withdraw_token
from nursery.access.actors import actor_for
from nursery.access.models import Token
from nursery.core.actor import Role
from nursery.core.errors import NotAllowed, Refused
from nursery.core.models import User
from tests import factories as make

pytestmark = pytest.mark.django_db


def key_of(user: User, *, read_only: bool = False) -> str:
    return issue_token(actor_for(user), user, "logger", 30, read_only)[1]


def with_key(key: str) -> APIClient:
    api = APIClient()
    api.credentials(HTTP_AUTHORIZATION=f"Bearer {key}")
    return api


def test_only_the_hash_of_a_key_is_kept() -> None:
    user = make.person(Role.VIEWER)
    token, key = issue_token(actor_for(user), user, "logger", 30)
    assert len(key) >= 40
    assert token.digest == hashlib.sha256(key.encode()).hexdigest()
    assert all(key not in str(value) for value in Token.objects.values().get().values())


def test_a_token_ends_after_its_days() -> None:
    user = make.person(Role.VIEWER)
    token, _ = issue_token(actor_for(user), user, "logger", 30)
    assert abs(token.expires_at - timezone.now() - timedelta(days=30)) < timedelta(minutes=1)


@pytest.mark.parametrize("days", [0, -1, 367])
def test_a_token_lasts_a_day_to_a_year(days: int) -> None:
    user = make.person(Role.VIEWER)
    with pytest.raises(Refused) as refusal:
        issue_token(actor_for(user), user, "logger", days)
    assert refusal.value.code == "out_of_range"


def test_a_token_has_a_name() -> None:
    user = make.person(Role.VIEWER)
    with pytest.raises(Refused):
        issue_token(actor_for(user), user, "  ", 30)


def test_nobody_makes_a_token_for_somebody_else() -> None:
    with pytest.raises(NotAllowed):
        issue_token(make.actor(Role.FIELD), make.person(Role.LEAD), "logger", 30)


def test_a_lead_makes_a_token_for_somebody_else() -> None:
    user = make.person(Role.FIELD)
    token, _ = issue_token(make.lead(), user, "boat", 30)
    assert token.user == user


def test_somebody_without_a_role_makes_no_token() -> None:
    user = make.person()
    with pytest.raises(NotAllowed) as refusal:
        issue_token(actor_for(user), user, "logger", 30)
    assert refusal.value.code == "no_role"


def test_nobody_withdraws_somebody_elses_token() -> None:
    user = make.person(Role.VIEWER)
    token, _ = issue_token(actor_for(user), user, "logger", 30)
    with pytest.raises(NotAllowed):
        withdraw_token(make.actor(Role.FIELD), token)


def test_a_good_key_opens_the_api() -> None:
    answer = with_key(key_of(make.person(Role.VIEWER))).get("/api/reefs/")
    assert answer.status_code == 200


def test_the_day_of_the_last_use_is_kept() -> None:
    key = key_of(make.person(Role.VIEWER))
    with_key(key).get("/api/reefs/")
    assert Token.objects.get().last_used_on == timezone.now().date()


def test_a_key_speaks_for_its_owner_and_not_for_the_session() -> None:
    api = make.client(Role.LEAD)
    api.credentials(HTTP_AUTHORIZATION=f"Bearer {key_of(make.person(Role.VIEWER))}")
    answer = api.post("/api/reefs/", {"code": "R9", "name": "Spur"})
    assert (answer.status_code, answer.json()["code"]) == (403, "not_allowed")


@pytest.mark.parametrize(
    ("header", "code"),
    [
        ("Bearer", "token_malformed"),
        ("Bearer a b", "token_malformed"),
        ("Bearer " + "x" * 300, "token_malformed"),
        ("Bearer clé", "token_malformed"),
        ("Bearer wrong", "token_unknown"),
        ("bearer wrong", "token_unknown"),
        ("Basic bWFydTptYXJ1", "not_authenticated"),
    ],
)
def test_a_bad_header_is_answered_401_with_a_challenge(header: str, code: str) -> None:
    api = APIClient()
    api.credentials(HTTP_AUTHORIZATION=header)
    answer = api.get("/api/reefs/")
    assert (answer.status_code, answer.json()["code"]) == (401, code)
    assert answer["WWW-Authenticate"].startswith("Bearer ")
    assert answer["Content-Type"] == "application/problem+json"


def test_an_expired_token_is_answered_401() -> None:
    key = key_of(make.person(Role.VIEWER))
    Token.objects.update(expires_at=timezone.now())
    answer = with_key(key).get("/api/reefs/")
    assert (answer.status_code, answer.json()["code"]) == (401, "token_expired")


def test_a_withdrawn_token_is_answered_401() -> None:
    key = key_of(make.person(Role.VIEWER))
    withdraw_token(make.lead(), Token.objects.get())
    answer = with_key(key).get("/api/reefs/")
    assert (answer.status_code, answer.json()["code"]) == (401, "token_withdrawn")


def test_a_token_of_a_closed_log_in_is_answered_401() -> None:
    user = make.person(Role.VIEWER)
    key = key_of(user)
    User.objects.filter(pk=user.pk).update(is_active=False)
    answer = with_key(key).get("/api/reefs/")
    assert (answer.status_code, answer.json()["code"]) == (401, "log_in_closed")


def test_a_reading_token_reads() -> None:
    answer = with_key(key_of(make.person(Role.LEAD), read_only=True)).get("/api/changes/")
    assert answer.status_code == 200


def test_a_reading_token_does_not_write() -> None:
    api = with_key(key_of(make.person(Role.LEAD), read_only=True))
    answer = api.post("/api/reefs/", {"code": "R9", "name": "Spur"})
    assert (answer.status_code, answer.json()["code"]) == (403, "read_only")


def test_a_role_withdrawn_takes_its_tokens_with_it() -> None:
    user = make.person(Role.VIEWER)
    key = key_of(user)
    user.memberships.all().delete()
    answer = with_key(key).get("/api/reefs/")
    assert (answer.status_code, answer.json()["code"]) == (403, "no_role")


def test_the_command_line_prints_a_key_that_opens_the_api(
    capsys: pytest.CaptureFixture[str],
) -> None:
    make.person(Role.VIEWER, name="logger")
    call_command("make_token", "logger", "--days", "3", "--read-only")
    key = capsys.readouterr().out.strip()
    assert with_key(key).get("/api/reefs/").status_code == 200
    assert Token.objects.get().read_only


@pytest.mark.parametrize("words", [("nobody",), ("logger", "--days", "0"), ("idle",)])
def test_the_command_line_says_why_there_is_no_token(words: tuple[str, ...]) -> None:
    make.person(Role.VIEWER, name="logger")
    make.person(name="idle")
    with pytest.raises(CommandError):
        call_command("make_token", *words)
    assert not Token.objects.exists()
