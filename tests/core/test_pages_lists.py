"""Lists: filters, ordering and pages, as strict as the API's."""

import re

import pytest

from nursery.core.actor import Role
from tests import factories as make
from tests.pages import main_of, read, reader

pytestmark = pytest.mark.django_db


def rows_of(html: str) -> list[str]:
    """The first cell of each row."""
    cells = re.findall(r'<th scope="row".*?</th>', html, re.S)
    return [re.sub(r"<[^>]+>|\s+", "", cell) for cell in cells]


@pytest.fixture
def reefs() -> None:
    lead = make.lead()
    for code, name in (("B", "Ash"), ("A", "Birch"), ("C", "Ash Bank")):
        make.reef(lead, code=code, name=name)


@pytest.mark.usefixtures("reefs")
def test_a_list_says_how_many_there_are_and_stands_in_order_of_code() -> None:
    client = reader(Role.VIEWER)
    assert "3 reefs in the record." in read(client, "/reefs/")
    assert rows_of(main_of(client, "/reefs/")) == ["A", "B", "C"]


@pytest.mark.usefixtures("reefs")
def test_a_list_is_ordered_by_the_head_of_a_column() -> None:
    client = reader(Role.VIEWER)
    html = main_of(client, "/reefs/")
    assert 'href="/reefs/?ordering=name"' in html
    ordered = main_of(client, "/reefs/?ordering=-name")
    assert rows_of(ordered) == ["A", "C", "B"]
    assert 'aria-sort="descending"' in ordered


@pytest.mark.usefixtures("reefs")
def test_a_list_is_narrowed_and_says_to_what() -> None:
    client = reader(Role.VIEWER)
    assert "2 reefs with name ash." in read(client, "/reefs/?name=ash")
    assert rows_of(main_of(client, "/reefs/?name=ash")) == ["B", "C"]


@pytest.mark.usefixtures("reefs")
def test_fields_that_were_left_alone_are_dropped_from_the_address() -> None:
    answer = reader(Role.VIEWER).get("/reefs/?name=ash&open=&ordering=")
    assert answer.status_code == 302
    assert answer["Location"] == "/reefs/?name=ash"


@pytest.mark.usefixtures("reefs")
def test_a_page_of_a_list_leads_to_those_before_and_after() -> None:
    client = reader(Role.VIEWER)
    html = main_of(client, "/reefs/?limit=1&offset=1")
    assert rows_of(html) == ["B"]
    assert 'href="/reefs/?limit=1" rel="prev"' in html
    assert 'href="/reefs/?limit=1&amp;offset=2" rel="next"' in html
    assert "2 to 2 of 3" in read(client, "/reefs/?limit=1&offset=1")


def test_an_empty_register_says_what_belongs_there() -> None:
    said = read(reader(Role.VIEWER), "/reefs/")
    assert "A programme lead enters them." in said


@pytest.mark.parametrize(
    ("query", "code"),
    [
        ("nmae=ash", "unknown_parameter"),
        ("name=a&name=b", "repeated_parameter"),
        ("ordering=colour", "unknown_ordering"),
        ("limit=0", "bad_limit"),
        ("limit=501", "bad_limit"),
        ("offset=-1", "bad_offset"),
        ("open=perhaps", "not_yes_or_no"),
        ("name=%00", "control_character"),
    ],
)
def test_what_a_list_does_not_understand_is_refused(query: str, code: str) -> None:
    said = read(reader(Role.VIEWER), f"/reefs/?{query}", 400)
    assert "This could not be understood" in said
    assert code in said


@pytest.mark.parametrize("page", ["/", "/reefs/X/", "/find/?colour=red", "/ramets/X/"])
def test_other_pages_refuse_unknown_parameters_too(page: str) -> None:
    make.reef(make.lead(), code="X")
    mark = "&" if "?" in page else "?"
    assert "unknown_parameter" in read(reader(Role.VIEWER), f"{page}{mark}colour=red", 400)
