"""To settle: what disagrees, by kind; what stands as it is, and by whose word."""

import pytest
from django.test import Client

from nursery.core.actor import Role
from nursery.outplanting.models import Settled
from nursery.outplanting.unsettled import CODES
from tests import factories as make
from tests.factories import Programme
from tests.pages import cost, main_of, read, reader, words_of

pytestmark = pytest.mark.django_db

PAGE, SETTLED = "/unsettled/", "/unsettled/settled/"
REASON = "the tag was misread <twice>"


@pytest.fixture
def client(db: None) -> Client:
    return reader(Role.LEAD)


def disagreement(programme: Programme, seen: int = 1) -> list[str]:
    """Outplants that were seen dead and then alive; their codes."""
    outplants = programme.outplants(seen)
    make.visit(programme.lead, programme.site, dict.fromkeys(outplants, "dead"))
    again = dict.fromkeys(outplants, "alive")
    make.visit(programme.lead, programme.site, again, when="2021-10-01")
    return [ramet.code for ramet in outplants]


def test_what_disagrees_stands_under_its_heading_with_both_entries(
    programme: Programme, client: Client
) -> None:
    (code,) = disagreement(programme)
    said, html = read(client, PAGE), main_of(client, PAGE)
    assert "3 things are to be settled." in said
    assert f"{CODES['sightings_disagree']} 1" in said
    assert f"{code} was seen dead on 1 September 2021" in said
    assert "visit, 1 September 2021" in said
    assert "visit, 1 October 2021" in said
    assert f'href="/ramets/{code}/"' in html
    assert said.index(str(CODES["sightings_disagree"])) < said.index(
        str(CODES["irregular_collection"])
    )


def test_today_tells_how_many_things_there_are_to_settle(
    programme: Programme, client: Client
) -> None:
    disagreement(programme)
    assert "3 things are to be settled" in read(client, "/unsettled/count/")
    assert 'hx-get="/unsettled/count/"' in main_of(client, "/")
    assert f'href="{PAGE}"' in main_of(client, "/")


def test_nothing_to_settle_is_said(client: Client) -> None:
    assert "Nothing that the record knows of disagrees." in read(client, PAGE)
    assert "0 things are to be settled." in read(client, PAGE)
    assert "to be settled" not in read(client, "/unsettled/count/")


def test_a_lead_lets_something_stand_and_takes_it_back(
    programme: Programme, client: Client
) -> None:
    (code,) = disagreement(programme)
    given = {"code": "sightings_disagree", "thing": code, "reason": REASON}
    answer = client.post(PAGE, given)
    assert answer.status_code == 302
    said = read(client, PAGE)
    assert "2 things are to be settled." in said
    assert "1 thing stands as it is" in said
    told = read(client, SETTLED)
    assert "1 thing was looked at and left as it is." in told
    assert f"“{REASON}”" in told
    assert f"{code} was seen dead on 1 September 2021" in told
    assert client.post(SETTLED, given).status_code == 302
    assert "3 things are to be settled." in read(client, PAGE)
    assert not Settled.objects.exists()


def test_a_reason_is_needed_and_what_was_typed_is_kept(
    programme: Programme, client: Client
) -> None:
    (code,) = disagreement(programme)
    given = {"code": "sightings_disagree", "thing": code}
    answer = client.post(PAGE, {**given, "reason": ""})
    assert answer.status_code == 400
    assert "required" in words_of(answer)
    assert "<details" in answer.content.decode()
    long = "too long " * 60
    kept = client.post(PAGE, {**given, "reason": long})
    assert kept.status_code == 400
    assert f'value="{long}"' in kept.content.decode()
    assert not Settled.objects.exists()


def test_the_same_press_twice_says_that_it_was_settled(
    programme: Programme, client: Client
) -> None:
    (code,) = disagreement(programme)
    given = {"code": "sightings_disagree", "thing": code, "reason": REASON}
    client.post(PAGE, given)
    answer = client.post(PAGE, given)
    assert answer.status_code == 400
    assert "settled_already" in words_of(answer)
    assert Settled.objects.count() == 1


def test_only_leads_let_things_stand(programme: Programme) -> None:
    (code,) = disagreement(programme)
    given = {"code": "sightings_disagree", "thing": code, "reason": REASON}
    client = reader(Role.FIELD)
    assert "<form" not in main_of(client, PAGE)
    assert client.post(PAGE, given).status_code == 403
    assert reader(Role.LEAD).post(PAGE, given).status_code == 302
    assert "<form" not in main_of(client, SETTLED)
    assert client.post(SETTLED, given).status_code == 403
    assert Settled.objects.count() == 1


def test_many_of_one_kind_have_pages_of_their_own(programme: Programme, client: Client) -> None:
    codes = disagreement(programme, 12)
    said = read(client, PAGE)
    assert "All 12 of these" in said
    shown = sum(f"{code} was seen dead" in said for code in codes)
    assert shown == 10
    all_of_them = read(client, f"{PAGE}?code=sightings_disagree")
    assert "12 things are to be settled." in all_of_them
    assert all(f"{code} was seen dead" in all_of_them for code in codes)
    second = read(client, f"{PAGE}?code=sightings_disagree&limit=5&offset=10")
    assert sum(f"{code} was seen dead" in second for code in codes) == 2


def test_settling_on_a_page_of_one_kind_leads_back_to_it(
    programme: Programme, client: Client
) -> None:
    code = disagreement(programme, 12)[0]
    page = f"{PAGE}?code=sightings_disagree"
    given = {"code": "sightings_disagree", "thing": code, "reason": REASON}
    assert client.post(page, given)["Location"].startswith(page)


def test_a_kind_that_there_is_not_is_refused(client: Client) -> None:
    assert "not_a_choice" in read(client, f"{PAGE}?code=weather", 400)


def test_what_the_record_no_longer_tells_is_still_told_as_settled(client: Client) -> None:
    by = make.person(Role.LEAD)
    Settled.objects.create(code="sightings_disagree", thing="GONE-1", reason="old", by=by)
    said = read(client, SETTLED)
    assert "GONE-1: the record no longer tells this." in said
    gone = {"code": "sightings_disagree", "thing": "GONE-1"}
    assert client.post(SETTLED, gone).status_code == 302
    assert client.post(SETTLED, gone).status_code == 400


def test_more_that_disagrees_costs_no_more_queries(programme: Programme, client: Client) -> None:
    disagreement(programme, 2)
    few = cost(client, PAGE)
    disagreement(programme, 8)
    assert few == cost(client, PAGE) == 18
