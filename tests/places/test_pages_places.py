"""Pages of places and what hangs on them; structures have tests of their own."""

import pytest

from nursery.core.actor import Role
from tests import factories as make
from tests.factories import Programme
from tests.pages import cost, read, reader

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize("kind", ["reef", "nursery", "system", "bay"])
def test_a_place_tells_what_lives_there(programme: Programme, kind: str) -> None:
    programme.mothers(4)
    rows = {
        "reef": ("reefs", programme.reef),
        "nursery": ("nurseries", programme.nursery),
        "system": ("systems", programme.bay.system),
        "bay": ("bays", programme.bay),
    }
    folder, row = rows[kind]
    said = read(reader(Role.VIEWER), f"/{folder}/{row.code}/")
    number = "1 donor colony of the register stand" if kind == "reef" else "4 ramets"
    assert number in said


def test_a_code_in_small_letters_leads_to_its_page(programme: Programme) -> None:
    code = programme.reef.code
    answer = reader(Role.VIEWER).get(f"/reefs/{code.lower()}/")
    assert answer["Location"] == f"/reefs/{code}/"


@pytest.mark.parametrize(
    ("page", "queries"),
    [
        ("/reefs/", 6),
        ("/nurseries/", 7),
        ("/systems/", 7),
        ("/bays/", 6),
        ("/structures/", 8),
        ("/sites/", 8),
        ("/plots/", 8),
    ],
)
def test_a_list_costs_no_more_for_more_rows(programme: Programme, page: str, queries: int) -> None:
    programme.outplants()
    client = reader(Role.VIEWER)
    few = cost(client, page)
    for _ in range(3):
        lead = programme.lead
        bay = make.bay(lead, make.nursery(lead))
        make.structure(lead, bay)
        site = make.site(lead, reef=make.reef(lead).code)
        make.plot(lead, site)
    assert few == cost(client, page) == queries
