"""The page of the policy, and what Today says of manifests and sites below it."""

from __future__ import annotations

import pytest
from django.test import Client

from nursery.core.actor import Role
from nursery.outplanting.models import PolicyRule
from tests import factories as f
from tests.pages import cost, read, reader, words_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def client(db: None) -> Client:
    return reader(Role.LEAD)


def test_a_lead_sets_a_rule_from_a_day_on(client: Client, programme: f.Programme) -> None:
    assert "Nothing is asked yet." in read(client, "/policy/")
    typed = {"rule": "genets_of_site", "value": "10", "since": "2021-01-01", "note": "Workshop"}
    said = words_of(client.post("/policy/", typed, follow=True))
    assert "Genets on the site: set from 2021-01-01 on." in said
    assert "1 rule is in force." in said
    assert "all taxa at least 10 genets 1 January 2021" in said
    typed = {**typed, "value": "12", "since": "2022-01-01", "taxon": programme.taxon.code}
    client.post("/policy/", typed)
    typed = {**typed, "value": "15", "since": "2999-01-01", "taxon": ""}
    client.post("/policy/", typed)
    said = read(client, "/policy/")
    assert "2 rules are in force." in said
    assert f"{programme.taxon.name} at least 12 genets" in said
    assert "What was asked before, and what is asked later" in said


def test_what_is_wrong_is_told_beside_its_blank(client: Client, programme: f.Programme) -> None:
    typed = {"rule": "largest_share", "value": "most", "since": "2021-01-01"}
    answer = client.post("/policy/", typed)
    assert answer.status_code == 400
    assert "A number, in %. not_a_number" in words_of(answer)
    assert 'value="most"' in answer.content.decode()
    assert not PolicyRule.objects.exists()


def test_others_read_the_policy_and_set_nothing(programme: f.Programme) -> None:
    f.rule(programme.lead, "manifest_demanded", "yes")
    field = reader(Role.FIELD)
    said = read(field, "/policy/")
    assert "Planted only of a signed-off manifest all taxa yes" in said
    assert "Set a rule" not in said
    answer = field.post("/policy/", {"rule": "least_age", "value": "1"})
    assert answer.status_code == 403


def test_the_page_takes_a_constant_number_of_queries(
    client: Client, programme: f.Programme
) -> None:
    f.rule(programme.lead, "least_age", 1)
    before = cost(client, "/policy/")
    for number in range(5):
        f.rule(programme.lead, "least_size", number, since=f"2021-01-0{number + 1}")
    f.rule(programme.lead, "least_size", 1, taxon=programme.taxon.code)
    assert cost(client, "/policy/") == before


def test_today_names_manifests_that_wait_and_sites_below_the_policy(
    client: Client, programme: f.Programme
) -> None:
    first, second = f.cut(programme.lead, [programme.mother()], 2, into=programme.plate)
    f.planting(programme.lead, programme.plot, [first])
    found = f.manifest(programme.lead, programme.plot, [second])
    f.diversity.audit(programme.lead, found)
    said = read(client, "/")
    assert f"{found} waits for a lead to sign it off" in said
    assert "stands below the policy" not in said
    f.rule(programme.lead, "genets_of_site", 2)
    f.rule(programme.lead, "donor_reefs", 1)
    said = read(client, "/")
    assert f"{programme.site.name} stands below the policy Genets on the site." in said
    f.signed(programme.lead, found, genets_of_site="A trial.")
    assert "waits for a lead" not in read(client, "/")


def test_today_takes_no_more_queries_for_more_sites_below(
    client: Client, programme: f.Programme
) -> None:
    f.rule(programme.lead, "genets_of_site", 2)
    programme.outplants(1)
    before = cost(client, "/")
    for _ in range(3):
        plot = f.plot(programme.lead, f.site(programme.lead))
        f.planting(programme.lead, plot, f.cut(programme.lead, programme.mothers(), 1))
    assert cost(client, "/") == before
