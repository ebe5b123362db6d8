"""Who is given which role, and by whom."""

import pytest
from django.core.management import CommandError, call_command
from pytest_django import DjangoAssertNumQueries

from nursery.access.actions import grant_role, save_person, withdraw_role
from nursery.access.actors import actor_for
from nursery.access.models import Membership
from nursery.core.actor import Role
from nursery.core.errors import NotAllowed, Refused
from nursery.core.models import Change, User
from tests import factories as make

pytestmark = pytest.mark.django_db


def test_an_actor_is_made_in_one_query(django_assert_num_queries: DjangoAssertNumQueries) -> None:
    nursery = make.programme().nursery
    user = make.person(Role.FIELD, Role.NURSERY, at=nursery)
    with django_assert_num_queries(1):
        actor = actor_for(user)
    assert actor.roles == {Role.FIELD, Role.NURSERY}
    assert actor.nurseries == {nursery.pk}


def test_somebody_without_membership_has_no_role() -> None:
    assert actor_for(make.person()).roles == frozenset()


def test_a_lead_gives_a_role_and_the_history_names_both() -> None:
    lead, user = make.lead(), make.person()
    grant_role(lead, user, "field")
    assert actor_for(user).roles == {Role.FIELD}
    change = Change.objects.get(register="access.membership", code=user.username)
    assert (change.by_id, change.before, change.after) == (
        lead.user_id,
        None,
        {"role": "field", "nursery": None},
    )


def test_a_role_that_is_held_is_given_again_without_a_change() -> None:
    user = make.person(Role.VIEWER)
    grant_role(make.lead(), user, "viewer")
    assert Membership.objects.filter(user=user).count() == 1
    assert not Change.objects.exists()


@pytest.mark.parametrize("role", [Role.VIEWER, Role.FIELD, Role.NURSERY])
def test_only_a_lead_gives_roles(role: Role) -> None:
    nursery = make.programme().nursery
    with pytest.raises(NotAllowed) as refusal:
        grant_role(make.actor(role, at=nursery), make.person(), "lead")
    assert refusal.value.code == "not_allowed"


def test_the_nursery_role_needs_a_nursery() -> None:
    with pytest.raises(Refused) as refusal:
        grant_role(make.lead(), make.person(), "nursery")
    assert refusal.value.code == "nursery_needed"


def test_other_roles_are_not_given_at_a_nursery() -> None:
    with pytest.raises(Refused) as refusal:
        grant_role(make.lead(), make.person(), "field", make.programme().nursery)
    assert refusal.value.code == "nursery_not_wanted"


def test_an_unknown_role_is_refused() -> None:
    with pytest.raises(Refused) as refusal:
        grant_role(make.lead(), make.person(), "captain")
    assert refusal.value.code == "not_a_choice"


def test_a_withdrawn_role_is_gone_and_its_history_stays() -> None:
    lead, user = make.lead(), make.person(Role.FIELD)
    withdraw_role(lead, Membership.objects.get(user=user))
    assert actor_for(user).roles == frozenset()
    change = Change.objects.filter(code=user.username).latest("pk")
    assert change.before == {"role": "field", "nursery": None}
    assert change.after == {"role": None, "nursery": None}


def test_the_last_lead_stays() -> None:
    lead = make.lead()
    with pytest.raises(Refused) as refusal:
        withdraw_role(lead, Membership.objects.get(user_id=lead.user_id))
    assert refusal.value.code == "last_lead"


def test_a_lead_may_leave_while_another_stays() -> None:
    lead, other = make.lead(), make.person(Role.LEAD)
    withdraw_role(lead, Membership.objects.get(user=other))
    assert not actor_for(other).leads


def test_the_first_lead_comes_from_the_command_line() -> None:
    user = make.person(name="first")
    call_command("grant_role", "first", "lead")
    assert actor_for(user).leads


def test_the_command_line_gives_the_nursery_role_at_a_nursery() -> None:
    nursery = make.programme().nursery
    user = make.person(name="keeper")
    call_command("grant_role", "keeper", "nursery", "--nursery", nursery.code.lower())
    assert actor_for(user).works_at(nursery.pk)


@pytest.mark.parametrize(
    "words", [("nobody", "lead"), ("somebody", "nursery"), ("somebody", "field", "--nursery", "N9")]
)
def test_the_command_line_says_what_is_wrong(words: tuple[str, ...]) -> None:
    make.person(name="somebody")
    with pytest.raises(CommandError):
        call_command("grant_role", *words)
    assert not Membership.objects.exists()


def test_a_log_in_is_entered_by_a_lead_without_its_password_in_the_history() -> None:
    user = save_person(make.lead(), User(username="maru"), password=make.PASSWORD)
    assert user.check_password(make.PASSWORD)
    change = Change.objects.get(register="core.user", code="maru")
    assert change.after["password"] == "set anew"
    assert make.PASSWORD not in str(change.after)


def test_a_log_in_without_password_cannot_be_used() -> None:
    user = save_person(make.lead(), User(username="maru"))
    assert not user.has_usable_password()


def test_only_a_lead_enters_log_ins() -> None:
    with pytest.raises(NotAllowed):
        save_person(make.actor(Role.FIELD), User(username="maru"))
    assert not User.objects.filter(username="maru").exists()


def test_a_lead_does_not_change_a_superuser() -> None:
    boss = make.person(name="boss")
    User.objects.filter(pk=boss.pk).update(is_superuser=True)
    boss.refresh_from_db()
    with pytest.raises(NotAllowed):
        save_person(make.lead(), boss, password="something else entirely")
    boss.refresh_from_db()
    assert boss.check_password(make.PASSWORD)


def test_a_lead_does_not_make_a_superuser() -> None:
    with pytest.raises(NotAllowed):
        save_person(make.lead(), User(username="maru", is_superuser=True))
