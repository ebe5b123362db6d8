"""Lists with chosen columns, as a file, and kept under a name."""

import csv
import io
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from nursery.access.models import KeptList
from nursery.core.actor import Role
from nursery.core.dates import parse_when
from nursery.core.phrases import in_words, link, tag
from nursery.core.views import exporting
from nursery.core.views.exporting import text_of
from nursery.donors.templatetags.genet_marks import genet_mark
from nursery.places.models import Reef
from tests import factories as make
from tests.pages import cost, main_of, read, reader, words_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def begun() -> make.Programme:
    begun = make.programme()
    make.cut(begun.lead, [begun.mother()], 3, into=begun.plate)
    return begun


def rows_of(client: Client, address: str) -> list[list[str]]:
    answer: Any = client.get(address)
    assert answer.status_code == 200, words_of(answer)
    return list(csv.reader(io.StringIO(b"".join(answer.streaming_content).decode())))


def heads_of(client: Client, address: str) -> list[str]:
    page = main_of(client, address)
    return [part.split(">")[0] for part in page.split('data-head="')[1:]]


def test_only_the_chosen_columns_are_shown_in_the_lists_own_order(begun: make.Programme) -> None:
    client = reader(Role.VIEWER)
    words = read(client, "/ramets/?columns=place,state")
    assert "Ramet State Place" in words.replace(" ↑", "")
    assert "In the record since" not in words.partition("Show these")[2]


def test_ticked_boxes_become_one_parameter(begun: make.Programme) -> None:
    answer = reader(Role.VIEWER).get("/ramets/?life=living&columns=ramet&columns=genet")
    assert answer.status_code == 302
    assert answer["Location"] == "/ramets/?life=living&columns=ramet%2Cgenet"


def test_an_unknown_column_is_refused_with_the_known_ones(begun: make.Programme) -> None:
    answer = reader(Role.VIEWER).get("/ramets/?columns=ramet,price")
    assert answer.status_code == 400
    assert "There is no column 'price'. Known here: ramet, taxon, genet" in words_of(answer)


def test_ways_onward_keep_the_columns(begun: make.Programme) -> None:
    page = main_of(reader(Role.VIEWER), "/ramets/?columns=ramet,generation&limit=2")
    assert "columns=ramet%2Cgeneration&amp;limit=2&amp;offset=2" in page
    assert "columns=ramet%2Cgeneration&amp;limit=2&amp;ordering=generation" in page


def test_a_list_is_exported_as_it_is_shown(begun: make.Programme) -> None:
    client = reader(Role.VIEWER)
    rows = rows_of(
        client, "/ramets/?generation__gte=1&ordering=-code&columns=ramet,state&format=csv"
    )
    assert rows[0] == ["Ramet", "State"]
    codes = [code for code, _ in rows[1:]]
    assert len(codes) == 3
    assert codes == sorted(codes, reverse=True)
    assert {state for _, state in rows[1:]} == {"living"}


def test_all_rows_are_exported_not_just_the_page(begun: make.Programme) -> None:
    make.cut(begun.lead, [begun.mother()], 60)
    assert len(rows_of(reader(Role.VIEWER), "/ramets/?limit=10&format=csv")) > 60


def test_a_file_is_named_by_its_list_and_the_day(begun: make.Programme) -> None:
    answer = reader(Role.VIEWER).get("/ramets/?format=csv")
    assert answer["Content-Type"] == "text/csv; charset=utf-8"
    assert answer["Content-Disposition"].startswith('attachment; filename="ramets-20')
    assert answer["Cache-Control"].startswith("max-age=0")


def test_the_number_of_queries_grows_by_the_chunk_not_by_the_row(
    begun: make.Programme, monkeypatch: pytest.MonkeyPatch
) -> None:
    make.cut(begun.lead, [begun.mother()], 40)
    client = reader(Role.VIEWER)
    counts = []
    for chunk in (1000, 10):
        monkeypatch.setattr(exporting, "CHUNK", chunk)
        with CaptureQueriesContext(connection) as asked:
            rows_of(client, "/ramets/?format=csv")
        counts.append(len(asked))
    assert counts[0] == counts[1] <= 5


@pytest.mark.parametrize("path", ["structures", "colonies", "genets", "sites", "fragmentations"])
def test_what_a_list_counts_is_in_its_file(begun: make.Programme, path: str) -> None:
    client = reader(Role.VIEWER)
    rows = rows_of(client, f"/{path}/?format=csv")
    assert len(rows) > 1
    assert not any("<" in cell for row in rows for cell in row)
    assert rows[0] == [cell for cell in rows[0] if cell]


def test_five_thousand_rows_take_as_many_queries_as_five(begun: make.Programme) -> None:
    client = reader(Role.VIEWER)
    with CaptureQueriesContext(connection) as few:
        rows_of(client, "/reefs/?format=csv")
    Reef.objects.bulk_create(
        [Reef(code=f"X{number:04}", name=f'"{number}", é') for number in range(5000)]
    )
    with CaptureQueriesContext(connection) as many:
        rows = rows_of(client, "/reefs/?format=csv")
    assert len(many) == len(few)
    assert len(rows) == 5000 + 2
    assert rows[-1][:2] == ["X4999", '"4999", é']


def test_a_file_for_spreadsheets_begins_with_its_mark(begun: make.Programme) -> None:
    answer: Any = reader(Role.VIEWER).get("/reefs/?format=csv-bom")
    body = b"".join(answer.streaming_content)
    assert body.startswith(b"\xef\xbb\xbfCode,")
    plain: Any = reader(Role.VIEWER).get("/reefs/?format=csv")
    assert b"".join(plain.streaming_content) == body[3:]


def test_an_unknown_kind_of_file_is_refused(begun: make.Programme) -> None:
    answer = reader(Role.VIEWER).get("/ramets/?format=xls")
    assert answer.status_code == 400
    assert "unknown_format" in words_of(answer)


@pytest.mark.parametrize(
    ("shown", "text"),
    [
        ("=1+1", "'=1+1"),
        ("@cmd", "'@cmd"),
        ("-3.5", "-3.5"),
        ("1,234", "1234"),
        ("1,2", "1,2"),
        ("+61 2", "'+61 2"),
        ("007", "007"),
        ("-", "'-"),
        (None, ""),
        (7, "7"),
        ("a  b\n c", "a b c"),
        (tag("NR0001-X"), "NR0001-X"),
        (link("K-07 <b>", "structure", "K-07"), "K-07 <b>"),
        (in_words(parse_when("2024-03")), "2024-03"),
        (genet_mark(None), ""),
        (genet_mark(3), ""),
    ],
    ids=str,
)
def test_a_cell_is_plain_text_that_no_spreadsheet_runs(shown: Any, text: str) -> None:
    assert text_of(shown) == text


def kept(client: Client, name: str = "Mine", **values: str) -> Any:
    form = {"name": name, "path": "/ramets/", "query": "life=living&columns=ramet", **values}
    return client.post("/kept/", form)


def test_a_list_is_kept_under_a_name_and_leads_back(begun: make.Programme) -> None:
    client = reader(Role.VIEWER)
    answer = kept(client)
    assert answer["Location"] == "/ramets/?life=living&columns=ramet"
    assert "Mine" in read(client, "/ramets/")
    assert "Mine" not in read(client, "/genets/")
    assert "Mine" not in read(reader(Role.LEAD), "/ramets/")


def test_a_shared_list_is_everybodys_with_whose_it_is(begun: make.Programme) -> None:
    kept(reader(Role.FIELD), shared="on")
    words = read(reader(Role.VIEWER), "/ramets/")
    assert f"Mine {KeptList.objects.get().user}" in words


def test_the_same_name_again_is_the_new_list(begun: make.Programme) -> None:
    client = reader(Role.VIEWER)
    kept(client)
    kept(client, query="life=dead")
    assert KeptList.objects.get().query == "life=dead"


def test_one_removes_ones_own_and_a_lead_what_is_shared(begun: make.Programme) -> None:
    owner, other, lead = reader(Role.VIEWER), reader(Role.FIELD), reader(Role.LEAD)
    for shared in ("", "on"):
        kept(owner, shared=shared)
        row = KeptList.objects.get()
        at = f"/kept/{row.pk}/remove/"
        assert other.post(at).status_code == (403 if shared else 404)
        assert (lead if shared else owner).post(at)["Location"] == "/ramets/"
        assert not KeptList.objects.exists()


@pytest.mark.parametrize("path", ["/", "/ramets/NR0001-X/", "//elsewhere.example/", "/nothing/"])
def test_only_lists_are_kept(begun: make.Programme, path: str) -> None:
    assert kept(reader(Role.VIEWER), path=path).status_code == 400
    assert not KeptList.objects.exists()


def test_a_list_costs_the_same_however_many_are_kept(begun: make.Programme) -> None:
    client = reader(Role.VIEWER)
    before = cost(client, "/ramets/")
    for number in range(5):
        kept(client, name=f"Number {number}")
    assert cost(client, "/ramets/") == before


@pytest.mark.parametrize("role", [Role.VIEWER, Role.LEAD])
def test_a_file_holds_no_exact_donor_position(begun: make.Programme, role: Role) -> None:
    """A list shows none, not even the rounded one, and so its file has none for anybody."""
    exact = {"latitude": "-17.512345", "longitude": "-149.823456", "uncertainty_m": 5}
    make.colony(begun.lead, begun.taxon, begun.reef, **exact)
    rows = rows_of(reader(role), "/colonies/?format=csv")
    assert len(rows) == 3
    assert not any("512345" in cell or "823456" in cell for row in rows for cell in row)


def test_a_kept_list_is_renamed_and_shared_by_its_owner(begun: make.Programme) -> None:
    owner = reader(Role.VIEWER)
    kept(owner)
    row = KeptList.objects.get()
    answer = owner.post(f"/kept/{row.pk}/", {"name": "Ours", "shared": "on"})
    assert answer["Location"] == "/ramets/?life=living&columns=ramet"
    assert "Ours" in read(reader(Role.FIELD), "/ramets/")
    assert KeptList.objects.get().query == row.query


def test_what_others_keep_is_renamed_by_nobody_else(begun: make.Programme) -> None:
    kept(reader(Role.VIEWER), shared="on")
    row = KeptList.objects.get()
    answer = reader(Role.LEAD).post(f"/kept/{row.pk}/", {"name": "Taken over"})
    assert answer.status_code == 403
    assert "not_yours" in words_of(answer)
    assert KeptList.objects.get().name == "Mine"


def test_two_of_ones_lists_have_no_name_together(begun: make.Programme) -> None:
    client = reader(Role.VIEWER)
    kept(client)
    kept(client, name="Other")
    row = KeptList.objects.get(name="Other")
    answer = client.post(f"/kept/{row.pk}/", {"name": "Mine"})
    assert answer.status_code == 409
    assert "name_taken" in words_of(answer)
    assert KeptList.objects.filter(name="Other").exists()
