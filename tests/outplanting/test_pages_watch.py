"""A monitoring visit on a phone: outplants ticked, or counted, and sent as one visit."""

import re
import uuid
from typing import Any

import pytest
from django.http import HttpResponse
from django.test import Client

from nursery.core.actor import Role
from nursery.core.models import Event
from nursery.lineage.models import Life, Ramet
from nursery.lineage.words import Cause
from nursery.outplanting.models import Observation, PlotCount, Visit
from nursery.outplanting.views.sheet import clusters_of
from tests import factories as make
from tests.lineage.identities import relabel
from tests.pages import cost, main_of, read, reader, words_of
from tests.verified import nothing_wrong

pytestmark = pytest.mark.django_db


@pytest.fixture
def client(programme: make.Programme) -> Client:
    return reader(Role.FIELD)


def sheet(programme: make.Programme) -> str:
    return f"/watch/{programme.plot.code}/"


def ticked(**values: Any) -> dict[str, Any]:
    return {"uid": str(uuid.uuid4()), "when": make.SEEN, "done_by": "Ana Reyes", **values}


def sent(client: Client, programme: make.Programme, marks: dict[str, str], **values: Any) -> Any:
    return client.post(sheet(programme), {**ticked(**values), **marks})


def test_plots_are_listed_with_how_many_may_be_there(
    client: Client, programme: make.Programme
) -> None:
    programme.outplants(3)
    said = read(client, "/watch/")
    assert "3 outplants are to be looked for" in said
    assert f"{programme.plot} 3 alive" in said
    assert "Nobody has looked yet." in said


def test_what_was_ticked_is_one_visit(client: Client, programme: make.Programme) -> None:
    alive, dead, missing, unseen = programme.outplants(4)
    marks = {
        f"seen:{alive.code}": "alive",
        f"cause:{alive.code}": "unknown",
        f"seen:{dead.code}": "dead",
        f"cause:{dead.code}": "disease",
        f"seen:{missing.code}": "missing",
        f"seen:{unseen.code}": "",
    }
    form = ticked()
    answer = client.post(sheet(programme), {**form, **marks})
    assert answer.headers["Location"] == f"/watch/{programme.plot.code}/{form['uid']}/"
    visit = Visit.objects.get(event__uid=form["uid"])
    assert visit.event.people == ["Ana Reyes"]
    seen = Observation.objects.filter(visit=visit).order_by("pk")
    assert [row.ramet for row in seen] == [alive, dead, missing]
    assert Ramet.objects.get(pk=dead.pk).cause == Cause.DISEASE
    lives = [Ramet.objects.get(pk=row.pk).life for row in (alive, dead, missing, unseen)]
    assert lives == [Life.LIVING, Life.DEAD, Life.LOST, Life.LIVING]
    page = client.get(answer.headers["Location"])
    assert f'data-sent="{form["uid"]}"' in page.content.decode()
    assert "Entered: 3 outplants looked at" in words_of(page)
    assert "Undo: 3 outplants" in words_of(page)
    nothing_wrong()


def test_a_visit_goes_over_all_plots_of_its_site(client: Client, programme: make.Programme) -> None:
    (here,) = programme.outplants(1)
    there = make.plot(programme.lead, programme.site)
    (other,) = make.cut(programme.lead, programme.mothers(), 1)
    make.planting(programme.lead, there, [other])
    marks = {f"seen:{here.code}": "alive", f"seen:{other.code}": "alive"}
    assert sent(client, programme, marks).status_code == 302
    assert Visit.objects.get().observations.count() == 2
    assert f'href="/watch/{there.code}/"' in main_of(client, sheet(programme))


def test_the_same_sheet_twice_is_entered_once(client: Client, programme: make.Programme) -> None:
    (ramet,) = programme.outplants(1)
    form = {**ticked(), f"seen:{ramet.code}": "alive"}
    for _ in range(2):
        assert client.post(sheet(programme), form).status_code == 302
    assert Visit.objects.count() == 1


def test_a_sheet_that_was_ticked_on_after_it_was_sent_is_another_visit(
    client: Client, programme: make.Programme
) -> None:
    (ramet,) = programme.outplants(1)
    form = {**ticked(), f"seen:{ramet.code}": "alive"}
    client.post(sheet(programme), form)
    answer = client.post(sheet(programme), {**form, f"seen:{ramet.code}": "dead"})
    assert answer.status_code == 409
    body = answer.content.decode()
    assert f"/events/{form['uid']}/" in body
    assert "data-anew" in body
    fresh = re.search(r'name="uid" value="([^"]+)"', body)
    assert fresh is not None
    assert fresh[1] != form["uid"]
    assert "checked" in body.partition('value="dead"')[2][:12]


def test_plots_are_counted_by_genet_by_taxon_and_altogether(
    client: Client, programme: make.Programme
) -> None:
    programme.outplants(5)
    genet, plot = programme.colony.genet, programme.plot
    stem = f"count:{plot.code}"
    marks = {
        f"{stem}:genet:{genet.code}:alive": "3",
        f"{stem}:genet:{genet.code}:dead": "1",
        f"{stem}:genet:{genet.code}:missing": "",
        f"{stem}:taxon:{programme.taxon.code}:alive": "4",
        f"{stem}:all:alive": "0",
    }
    page = main_of(client, sheet(programme))
    for name in marks:
        assert f'name="{name}"' in page
    assert sent(client, programme, marks).status_code == 302
    counts = PlotCount.objects.order_by("pk")
    assert [(row.genet, row.taxon, row.alive, row.dead, row.missing) for row in counts] == [
        (genet, None, 3, 1, None),
        (None, programme.taxon, 4, None, None),
        (None, None, 0, None, None),
    ]
    assert Event.objects.get(pk=counts[0].visit_id).uid


@pytest.mark.parametrize(
    ("values", "code"),
    [
        ({"when": "2021-13"}, "date_impossible"),
        ({"when": "2021-01-01"}, "before_outplanting"),
        ({"note": "a\x07b"}, "control_character"),
    ],
)
def test_a_refusal_stands_on_the_sheet_with_all_that_was_ticked(
    client: Client, programme: make.Programme, values: dict[str, str], code: str
) -> None:
    one, other = programme.outplants(2)
    marks = {
        f"seen:{one.code}": "dead",
        f"cause:{one.code}": "storm",
        f"seen:{other.code}": "alive",
    }
    answer = sent(client, programme, marks, **values)
    assert answer.status_code == 400
    body = answer.content.decode()
    assert code in body
    assert "Nothing was stored" in body
    row = body.partition(f'name="seen:{one.code}" value="dead"')[2]
    assert row.startswith(" checked")
    assert "<option selected>storm</option>" in row[:600]
    assert 'value="Ana Reyes"' in body
    assert "2 of 2" in body
    assert not Visit.objects.exists()


def test_a_fault_of_one_row_stands_in_it(client: Client, programme: make.Programme) -> None:
    one, other = programme.outplants(2)
    page = sent(client, programme, {f"seen:{one.code}": "poorly", f"seen:{other.code}": "alive"})
    body = page.content.decode()
    after = body.partition(f'data-names="{one.code} ')[2].partition("</fieldset>")[0]
    assert "not_a_choice" in after
    page = sent(client, programme, {f"count:{programme.plot.code}:all:dead": "3"})
    after = page.content.decode().partition("All together")[2].partition("</fieldset>")[0]
    assert "required" in after


def test_what_is_on_no_row_is_told_above(client: Client, programme: make.Programme) -> None:
    programme.outplants(1)
    for marks, code in (
        ({"seen:NOSUCH": "alive"}, "unknown_ramet"),
        ({"count:PERHAPS:all:alive": "3"}, "unknown_plot"),
    ):
        body = sent(client, programme, marks).content.decode()
        assert code in body.partition('id="sheet"')[0]
    assert sent(client, programme, {"count:": "3"}).status_code == 400


def test_an_empty_sheet_is_no_visit(client: Client, programme: make.Programme) -> None:
    (ramet,) = programme.outplants(1)
    answer = sent(client, programme, {f"seen:{ramet.code}": "", f"cause:{ramet.code}": "storm"})
    assert answer.status_code == 400
    assert "nothing_seen" in answer.content.decode()


@pytest.mark.parametrize("role", [Role.VIEWER, Role.NURSERY])
def test_others_may_not(programme: make.Programme, role: Role) -> None:
    other = reader(role, at=programme.nursery)
    assert other.get("/watch/").status_code == 403
    assert other.get(sheet(programme)).status_code == 403
    assert sent(other, programme, {}).status_code == 403


def test_what_is_not_there_is_told(client: Client, programme: make.Programme) -> None:
    assert client.get("/watch/NOSUCH/").status_code == 404
    assert client.get(f"/watch/{programme.plot.code}/{uuid.uuid4()}/").status_code == 404
    assert "Nothing that may be alive" in read(client, sheet(programme))


# What stands on a sheet


def test_a_sheet_has_its_outplants_in_the_order_of_the_reef(programme: make.Programme) -> None:
    rows = make.cut(
        programme.lead,
        programme.mothers(),
        children=[{"tag": "T-1"}, {}, {}, {}, {}, {}],
    )
    places = [("B", "2"), ("A", "10"), ("A", "9"), ("", ""), ("A", "2"), ("A", "1")]
    make.planting(
        programme.lead,
        programme.plot,
        [],
        outplants=[
            {"ramet": row.code, "cluster": cluster, "position": position}
            for row, (cluster, position) in zip(rows, places, strict=True)
        ],
    )
    make.visit(programme.lead, programme.site, {rows[4]: "missing", rows[5]: "dead"})
    found = clusters_of(programme.plot, {}, {})
    names = [(cluster.name, [row.position for row in cluster.rows]) for cluster in found]
    assert names == [
        ("", [""]),
        ("A", ["9", "10"]),
        ("B", ["2"]),
        ("Missing when last looked for", ["2"]),
    ]
    assert found[2].rows[0].called == "T-1"
    assert found[0].rows[0].called == rows[3].code


def test_merged_and_relabelled_genets_are_counted_as_they_are_known(
    client: Client, programme: make.Programme
) -> None:
    one, _other = programme.outplants(2)
    genet = make.genet(programme.lead, programme.taxon)
    relabel(programme.lead, [one], genet, when=make.SEEN)
    page = main_of(client, sheet(programme))
    for code in (genet.code, programme.colony.genet.code):
        assert f'name="count:{programme.plot.code}:genet:{code}:alive"' in page


def test_queries_and_size_do_not_grow_with_the_outplants(
    client: Client, programme: make.Programme
) -> None:
    programme.outplants(2)
    cost(client, sheet(programme))
    few, plots = cost(client, sheet(programme)), cost(client, "/watch/")
    programme.outplants(58)
    make.plot(programme.lead, make.site(programme.lead))
    assert cost(client, sheet(programme)) == few == 12
    assert cost(client, "/watch/") == plots == 5
    assert len(client.get(sheet(programme)).content) < 100_000


def test_a_refused_sheet_costs_no_more_for_more_rows(
    client: Client, programme: make.Programme, django_assert_max_num_queries: Any
) -> None:
    rows = programme.outplants(40)
    marks = {f"seen:{row.code}": "alive" for row in rows}
    with django_assert_max_num_queries(40):
        answer: HttpResponse = sent(client, programme, marks)
    assert answer.status_code == 302
