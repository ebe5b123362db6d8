"""Pages of proposals: a lead says what plots need, reads what is proposed, and drafts it."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pytest
from django.conf import settings
from django.test import Client

from nursery.core.actor import Role
from nursery.exchange import tasks
from nursery.exchange.models import Task
from nursery.outplanting.models import ManifestLine
from tests import factories as make
from tests.diversity.proposed import PLANNED, stocked
from tests.factories import Programme
from tests.pages import cost, main_of, read, reader, words_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def client() -> Client:
    return reader(Role.LEAD)


def typed(programme: Programme, plugs: int, **values: Any) -> dict[str, Any]:
    """The form as it is filled in."""
    return {
        "taxon": programme.taxon.code,
        "title": "An invented day",
        "planned": PLANNED,
        f"plugs:{programme.plot.code}": str(plugs),
        "spacing": "50",
        "plates": "same",
        "with_planned": "1",
        "presumed": "1",
        **values,
    }


def proposed(client: Client, programme: Programme, plugs: int, **values: Any) -> str:
    """The address of the proposal that comes of it."""
    answer = client.post("/proposals/", typed(programme, plugs, **values))
    assert answer.status_code == 302, words_of(answer)
    return str(answer["Location"])


def test_the_first_page_says_of_which_taxa_plugs_are_ready(
    programme: Programme, client: Client
) -> None:
    stocked(programme, 4, 3)
    words = read(client, "/proposals/")
    assert f"{programme.taxon.name} 7 plugs of 2 genets are ready" in words
    assert "Nothing was proposed yet." in words


def test_the_form_shows_what_stands_on_each_plot(programme: Programme, client: Client) -> None:
    stock = stocked(programme, 4, 3)
    for ramets in stock.plugs.values():
        make.planting(programme.lead, programme.plot, ramets[:2])
    words = read(client, f"/proposals/?taxon={programme.taxon.code}")
    assert "3 plugs of 2 genets are ready." in words
    assert f"{programme.plot.code} {programme.site.name} 4 of 2 genets" in words


def test_the_form_is_filled_in_from_the_policy(programme: Programme, client: Client) -> None:
    stocked(programme, 4)
    for rule, value in (
        ("largest_share", "35"),
        ("genets_of_plot", "6"),
        ("presumed_genets", "no"),
        ("kept_apart", "donor_reef"),
    ):
        make.rule(programme.lead, rule, value)
    form = main_of(client, f"/proposals/?taxon={programme.taxon.code}")
    filled = dict(re.findall(r'<input[^>]*name="([a-z_]+)"[^>]*value="([^"]*)"', form))
    assert (filled["site_largest_share"], filled["plot_fewest_genets"]) == ("35", "6")
    assert filled["site_fewest_genets"] == ""
    assert re.search(r'name="presumed"\s+value="1"\s*>', form)
    assert re.search(r'value="donor_reef"\s+selected', form)


def test_a_proposal_tells_what_the_site_gains_and_from_where(
    programme: Programme, client: Client
) -> None:
    stock = stocked(programme, 6, 6)
    first, second = stock.genets
    make.planting(programme.lead, programme.plot, stock.plugs[first][:4])
    words = read(client, proposed(client, programme, 4))
    assert (
        f"Site {programme.site.name} would go from 1.0 to 2.0 effective genets with 4 plugs."
        in words
    )
    assert "No plan within these limits is more even." in words
    assert "1 structure is touched; no plan that is as even needs fewer." in words
    assert "8 plugs of 2 genets were ready." in words
    assert f"{second} {stock.plates[second].code} 4" in words.replace("–", "")


def test_a_conflict_is_told_in_words_with_the_nearest_plan(
    programme: Programme, client: Client
) -> None:
    stocked(programme, 6, 6)
    words = read(client, proposed(client, programme, 6, site_largest_share="40"))
    assert "This is the nearest plan:" in words
    site = programme.site.code
    assert f"site {site}: one genet would hold 50 %; at most 40 % may." in words
    assert (
        "With what is ready and what stands, this cannot be kept: "
        f"the largest share of a genet, site {site}." in words
    )


def test_too_few_plugs_are_told(programme: Programme, client: Client) -> None:
    stocked(programme, 2)
    words = read(client, proposed(client, programme, 5))
    assert f"plot {programme.plot.code} gets 2 of 5 plugs: no more are ready." in words


def test_the_plot_is_drawn_with_neighbours_apart(programme: Programme, client: Client) -> None:
    stocked(programme, 3, 3)
    plot = programme.plot.code
    grid = {f"rows:{plot}": "2", f"columns:{plot}": "4"}
    address = proposed(client, programme, 6, **grid)
    words = read(client, address)
    assert "0 of 6 neighbouring pairs are of one genet (0 %)" in words
    assert "at random it would be 40 %, and no layout has fewer than 0." in words
    html = main_of(client, address)
    drawn = html.partition('<svg class="plot-map"')[2].partition("</div>")[0]
    assert drawn.count("<g transform=") == 6
    assert drawn.count('class="empty-spot"') == 2


def test_the_manifest_is_drafted_once_and_then_named(programme: Programme, client: Client) -> None:
    stocked(programme, 5)
    address = proposed(client, programme, 3)
    for _ in range(2):
        answer = client.post(address)
        assert (answer.status_code, answer["Location"]) == (302, address)
    lines = ManifestLine.objects.select_related("manifest")
    assert {line.plot_id for line in lines} == {programme.plot.pk}
    assert lines.count() == 3
    words = read(client, address)
    assert f"Manifests of this proposal: {lines[0].manifest.code}" in words
    assert "Draft the manifests" not in words


def test_what_has_changed_since_is_told_where_it_is_drafted(
    programme: Programme, client: Client
) -> None:
    stock = stocked(programme, 3)
    address = proposed(client, programme, 3)
    (plugs,) = stock.plugs.values()
    make.check(programme.lead, {plugs[0]: "dead"})
    answer = client.post(address)
    assert answer.status_code == 400
    words = words_of(answer)
    assert f"{plugs[0].code} is dead, so it cannot be planted." in words
    assert "Ask again." in words
    assert not ManifestLine.objects.exists()


def test_a_sheet_names_what_to_take_and_where_it_goes(programme: Programme, client: Client) -> None:
    stock = stocked(programme, 2, 2)
    plot = programme.plot.code
    address = proposed(client, programme, 4, **{f"rows:{plot}": "2", f"columns:{plot}": "2"})
    words = read(client, f"{address}sheet/")
    assert "4 plugs from 2 structures, for 1 July 2021." in words
    assert "Positions are 50 cm apart." in words
    for genet, ramets in stock.plugs.items():
        assert f"2 of {genet} for {plot}" in words
        assert stock.plates[genet].code in words
        assert all(ramet.code in words for ramet in ramets)


def test_what_cannot_be_read_is_told_and_what_was_typed_is_kept(
    programme: Programme, client: Client
) -> None:
    stocked(programme, 2)
    answer = client.post("/proposals/", typed(programme, 7, title="", site_largest_share="lots"))
    assert answer.status_code == 400
    assert "2 things are in the way. Nothing was stored." in words_of(answer)
    kept = answer.content.decode()
    assert 'value="7"' in kept
    assert 'value="lots"' in kept
    assert not Task.objects.exists()


def test_much_is_worked_out_by_itself(
    programme: Programme, client: Client, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(settings, "TASKS_ROOT", tmp_path)
    monkeypatch.setattr(tasks, "start", lambda task: None)
    stocked(programme, 4)
    address = proposed(client, programme, 2000)
    task = Task.objects.get()
    assert address == f"/work/{task.uid}/"
    assert "It begins." in read(client, address)
    read(client, f"/proposals/{task.uid}/", status=404)
    tasks.run(str(task.uid))
    words = read(client, address)
    assert "4 of 2000 plugs have a place." in words
    assert "Look at the proposal" in words
    assert "gets 4 of 2,000 plugs" in read(client, f"/proposals/{task.uid}/")


def test_much_that_is_named_wrongly_is_refused_before_it_starts(
    programme: Programme, client: Client
) -> None:
    answer = client.post("/proposals/", typed(programme, 2000, **{"plugs:NO-SUCH": "1"}))
    assert answer.status_code == 400
    assert "There is no plot NO-SUCH." in words_of(answer)
    assert not Task.objects.exists()


def test_everybody_reads_proposals_but_only_leads_ask_and_draft(
    programme: Programme, client: Client
) -> None:
    stocked(programme, 3)
    address = proposed(client, programme, 2)
    diver = reader(Role.FIELD)
    assert "Draft the manifests" not in read(diver, address)
    read(diver, f"{address}sheet/")
    assert "Of which taxon?" not in read(diver, "/proposals/")
    assert diver.post(address).status_code == 403
    assert diver.get(f"/proposals/?taxon={programme.taxon.code}").status_code == 403
    assert diver.post("/proposals/", typed(programme, 2)).status_code == 403
    assert not ManifestLine.objects.exists()


@pytest.mark.parametrize("uid", ["nonsense", "8a1a9a3e-0000-4000-8000-000000000000"])
def test_a_proposal_that_there_is_not_is_told(client: Client, uid: str) -> None:
    assert "There is no such proposal." in read(client, f"/proposals/{uid}/", status=404)


def test_the_queries_of_the_pages_do_not_grow(programme: Programme, client: Client) -> None:
    stocked(programme, 2)
    form = f"/proposals/?taxon={programme.taxon.code}"
    small = proposed(client, programme, 1)
    costs = [cost(client, page) for page in ("/proposals/", form, small, f"{small}sheet/")]
    stock = stocked(programme, 4, 5)
    for ramets in stock.plugs.values():
        make.planting(programme.lead, programme.plot, ramets[:1])
    others = [make.plot(programme.lead, make.site(programme.lead)) for _ in range(3)]
    many = {f"plugs:{plot.code}": "2" for plot in others}
    large = proposed(client, programme, 2, **many)
    again = [cost(client, page) for page in ("/proposals/", form, large, f"{large}sheet/")]
    assert again == costs == [6, 11, 5, 4]
