"""The page of a day's plantings: what is aboard, dive after dive."""

import re
import uuid
from typing import Any

import pytest
from django.test import Client

from nursery.core.actor import Role
from nursery.core.models import Event, EventKind
from nursery.lineage.models import Life
from nursery.outplanting.models import Outplant
from tests import factories as make
from tests.outplanting.reef import now
from tests.outplanting.test_dives import on_plate, packed
from tests.pages import cost, main_of, read, reader, words_of
from tests.verified import nothing_wrong

pytestmark = pytest.mark.django_db


@pytest.fixture
def client(programme: make.Programme) -> Client:
    return reader(Role.LEAD)


def sheet(programme: make.Programme, query: str = "packed=1") -> str:
    return f"/dive/?plot={programme.plot.code}&{query}"


def dived(**values: Any) -> dict[str, Any]:
    return {"uid": str(uuid.uuid4()), "when": make.PLANTED, "done_by": "Ana, Iro", **values}


def test_the_plot_and_what_is_aboard_are_chosen_first(
    client: Client, programme: make.Programme
) -> None:
    rows = on_plate(programme, 2)
    said = read(client, "/dive/")
    assert "Choose the plot and what is aboard" in said
    assert f"{programme.plate}, 2" in said
    for caution in ("Wet cement burns", "Diving", "Permits"):
        assert caution in said
    query = f"from={programme.plate.code}"
    page = main_of(client, sheet(programme, query))
    assert "2 ramets are aboard." in page
    for row in rows:
        assert f'name="did:{row.code}"' in page
        assert f"{programme.plate.code} {row.cell}" in page


def test_what_is_scanned_is_aboard_and_what_is_not_known_is_told(
    client: Client, programme: make.Programme
) -> None:
    (row,) = make.cut(programme.lead, programme.mothers(), children=[{"tag": "T-7"}])
    page = main_of(client, sheet(programme, "named=t-7%0ANOSUCH"))
    assert f'name="did:{row.code}"' in page
    assert "or packed: NOSUCH." in " ".join(page.split())


def test_a_dive_is_one_press_and_undone_by_one(client: Client, programme: make.Programme) -> None:
    planted, back, lost, dead, aboard = packed(programme, 5)
    form = dived(fixing="epoxy", cluster="A", permits=[make.permit(programme.lead).code])
    marks = {
        f"did:{planted.code}": "planted",
        f"at:{planted.code}": "3",
        f"did:{back.code}": "returned",
        f"did:{lost.code}": "lost",
        f"did:{dead.code}": "dead",
        f"cause:{dead.code}": "handling",
        f"did:{aboard.code}": "",
        f"cause:{aboard.code}": "storm",
    }
    answer = client.post(sheet(programme), {**form, **marks})
    assert answer.status_code == 302, words_of(answer)
    where = answer.headers["Location"]
    assert where.startswith(sheet(programme))
    page = client.get(where).content.decode()
    assert f'data-sent="{form["uid"]}"' in page
    assert f"dive at {programme.plot.code}: 1 planted, 1 back, 1 lost and 1 died" in page
    # The rest stays aboard for the next dive.
    assert re.findall(r'data-names="(\S+) ', page) == [aboard.code]
    outplant = Outplant.objects.get(ramet=planted)
    assert (outplant.cluster, outplant.position) == ("A", "3")
    assert [now(row).life for row in (lost, dead)] == [Life.LOST, Life.DEAD]
    nothing_wrong()
    uid = re.search(r'action="/undo/".*?name="entry"\s+value="([^"]+)"', page, re.DOTALL)
    assert uid is not None
    undone = client.post("/undo/", {"entry": uid[1], "next": "/"}, follow=True)
    assert "Undone: dive at" in words_of(undone)
    assert [now(row).life for row in (planted, back, lost, dead)] == [Life.LIVING] * 4
    assert not Event.objects.filter(kind=EventKind.OUTPLANTING, live=True).exists()
    nothing_wrong()


def test_two_dives_of_a_day(client: Client, programme: make.Programme) -> None:
    first, second = packed(programme, 2)
    for row in (first, second):
        client.post(sheet(programme), {**dived(), f"did:{row.code}": "planted"})
    assert Outplant.objects.count() == 2
    assert "Nothing is aboard." in read(client, sheet(programme))


def test_the_same_press_twice_enters_once(client: Client, programme: make.Programme) -> None:
    (row,) = packed(programme, 1)
    form = {**dived(), f"did:{row.code}": "planted"}
    for _ in range(2):
        assert client.post(sheet(programme), form).status_code == 302
    assert Outplant.objects.count() == 1
    other = packed(programme, 1)[0]
    answer = client.post(sheet(programme), {**form, f"did:{other.code}": "planted"})
    assert answer.status_code == 409
    assert "data-anew" in answer.content.decode()
    assert form["uid"] not in re.findall(r'name="uid" value="([^"]+)"', answer.content.decode())


def test_what_came_back_to_where_it_was_is_told_to_need_no_entry(
    client: Client, programme: make.Programme
) -> None:
    (row,) = on_plate(programme, 1)
    address = sheet(programme, f"from={programme.plate.code}")
    answer = client.post(address, {**dived(), f"did:{row.code}": "returned"}, follow=True)
    assert "there was nothing to enter" in words_of(answer)


@pytest.mark.parametrize(
    ("values", "code"),
    [
        ({"when": "soon"}, "date_malformed"),
        ({"when": "2020-01-01"}, "before_fragmentation"),
        ({"permits": ["NOSUCH"]}, "unknown_permit"),
        ({"fixing": "string"}, "not_a_choice"),
        ({"return_to": "NOSUCH"}, "unknown_structure"),
    ],
)
def test_a_refusal_stands_on_the_sheet_with_all_that_was_marked(
    client: Client, programme: make.Programme, values: dict[str, Any], code: str
) -> None:
    planted, back = packed(programme, 2)
    marks = {f"did:{planted.code}": "planted", f"did:{back.code}": "returned"}
    answer = client.post(sheet(programme), {**dived(cluster="A7"), **marks, **values})
    assert answer.status_code == 400
    body = answer.content.decode()
    assert code in body
    assert f'name="did:{planted.code}" value="planted" checked' in body
    assert 'value="A7"' in body
    assert "2 of 2" in body
    assert not Outplant.objects.exists()


def test_a_fault_stands_in_the_row_it_is_about(client: Client, programme: make.Programme) -> None:
    good, kept = make.cut(
        programme.lead,
        programme.mothers(),
        children=[{}, {"purpose": "broodstock"}],
        structure=programme.plate.code,
    )
    address = sheet(programme, f"from={programme.plate.code}")
    marks = {f"did:{good.code}": "planted", f"did:{kept.code}": "planted"}
    body = client.post(address, {**dived(), **marks}).content.decode()
    assert "not_for_planting" in body.partition(f'data-names="{kept.code} ')[2][:600]
    assert "broodstock" in body
    body = client.post(address, {**dived(), f"did:{good.code}": "eaten"}).content.decode()
    assert "not_a_choice" in body.partition(f'data-names="{good.code} ')[2][:600]
    answer = client.post(address, {**dived(other_purposes="on"), **marks})
    assert answer.status_code == 302


def test_nothing_marked_is_no_dive(client: Client, programme: make.Programme) -> None:
    packed(programme, 1)
    answer = client.post(sheet(programme), dived())
    assert "nothing_done" in answer.content.decode()
    answer = client.post("/dive/?plot=NOSUCH", {**dived(), "did:NOSUCH": "planted"})
    assert "unknown_plot" in answer.content.decode()


@pytest.mark.parametrize("role", [Role.VIEWER, Role.NURSERY])
def test_others_may_not(programme: make.Programme, role: Role) -> None:
    other = reader(role, at=programme.nursery)
    assert other.get(sheet(programme)).status_code == 403
    assert other.post(sheet(programme), dived()).status_code == 403


def test_field_staff_are_told_what_only_the_nursery_may(programme: make.Programme) -> None:
    (row,) = packed(programme, 1)
    answer = reader(Role.FIELD).post(sheet(programme), {**dived(), f"did:{row.code}": "returned"})
    assert answer.status_code == 403
    body = answer.content.decode()
    assert "not_your_nursery" in body
    assert f'name="did:{row.code}" value="returned" checked' in body


def test_queries_and_size_do_not_grow_with_what_is_aboard(
    client: Client, programme: make.Programme
) -> None:
    address = sheet(programme, f"packed=1&from={programme.plate.code}")
    packed(programme, 2)
    cost(client, address)
    few = cost(client, address)
    packed(programme, 30)
    on_plate(programme, 28)
    assert cost(client, address) == few == 12
    assert len(client.get(address).content) < 100_000
