"""The page of a ramet tells what became of its labels, tags, bases and places: no false line."""

import pytest
from django.test import Client

from nursery.core.actor import Role
from nursery.lineage.models import Ramet
from tests import factories as make
from tests.factories import Programme
from tests.lineage.ends import count
from tests.lineage.identities import identify, loose, merge, other_genet, relabel, retag
from tests.outplanting.reef import lift
from tests.pages import read, reader

pytestmark = pytest.mark.django_db


def page_of(ramet: Ramet) -> str:
    return f"/ramets/{ramet.code}/"


@pytest.fixture
def client(db: None) -> Client:
    return reader(Role.VIEWER)


def test_a_relabelling_says_what_the_cuttings_said_before(
    programme: Programme, client: Client
) -> None:
    other, _ = other_genet(programme)
    mother = programme.mother()
    (child,) = make.cut(programme.lead, [mother])
    (grandchild,) = make.cut(programme.lead, [child], when="2021-04-01")
    relabel(programme.lead, [child], other)
    was = programme.colony.genet.code
    words = f"Relabelled as {other.code} on 1 July 2021; before, by its cuttings, {was}."
    said = read(client, page_of(child))
    assert words in said
    assert f"relabelled as {other.code}" in said
    # It is told on the rung of the mother, and the descendant has the genet of it.
    assert words in read(client, page_of(grandchild))
    assert words not in read(client, page_of(mother))


def test_a_second_relabelling_names_the_first(programme: Programme, client: Client) -> None:
    other, _ = other_genet(programme)
    third, _ = other_genet(programme)
    mother = programme.mother()
    relabel(programme.lead, [mother], other)
    relabel(programme.lead, [mother], third, when="2021-08-01")
    assert f"before, by the relabelling before, {other.code}." in read(client, page_of(mother))


def test_a_genet_that_was_merged_is_told_with_the_one_it_is_known_as(
    programme: Programme, client: Client
) -> None:
    other, _ = other_genet(programme)
    kept = programme.colony.genet
    mother = programme.mother()
    relabel(programme.lead, [mother], other)
    merge(programme.lead, kept, other)
    said = read(client, page_of(mother))
    assert f"Relabelled as {other.code} (known as {kept.code})" in said


def test_one_relabelled_as_unknown_is_said_to_be_none_of_its_mothers(
    programme: Programme, client: Client
) -> None:
    (child,) = make.cut(programme.lead, [programme.mother()])
    (grandchild,) = make.cut(programme.lead, [child], when="2021-04-01")
    relabel(programme.lead, [child], None)
    for ramet in (child, grandchild):
        said = read(client, page_of(ramet))
        assert "not known; one of" not in said
        assert "Relabelled as of a genet that is not known" in said


def test_candidates_are_said_to_be_all_only_where_they_are(
    programme: Programme, client: Client
) -> None:
    _, stranger = other_genet(programme)
    mother = programme.mother()
    (known,) = make.cut(programme.lead, [mother, stranger])
    assert "or another that is not known" not in read(client, page_of(known))
    (piece,) = loose(programme, when="2021-01-15")
    (child,) = make.cut(programme.lead, [mother, piece], when="2021-04-01")
    said = read(client, page_of(child))
    assert "not known; one of" in said
    assert "or another that is not known" in said


def test_a_found_piece_and_the_known_ramet_name_each_other(
    programme: Programme, client: Client
) -> None:
    (child,) = programme.outplants()
    make.visit(programme.lead, programme.site, {child: "missing"}, when="2021-06-15")
    (piece,) = loose(programme, {"structure": programme.tray.code}, when="2021-06-20")
    identify(programme.lead, {"ramet": child.code, "found": piece.code})
    told = read(client, page_of(piece))
    assert "It was a found piece, and turned out to be another ramet on record." in told
    assert f"This found piece is {child.code}: identified on 1 July 2021." in told
    assert f"identified on 1 July 2021 as {child.code}: its way goes on there." in told
    assert "not identified yet" not in told
    known = read(client, page_of(child))
    assert f"Found again as {piece.code} on 1 July 2021." in known
    assert "found again" in known


def test_tags_are_told_with_their_dates_and_who_has_them_now(
    programme: Programme, client: Client
) -> None:
    first, second = make.cut(
        programme.lead, [programme.mother()], children=[{"tag": "T-1"}, {"tag": "T-2"}]
    )
    retag(programme.lead, {"ramet": first.code, "off": "T-1", "on": "T-9"})
    retag(programme.lead, {"ramet": second.code, "off": "T-2", "lost": True})
    retag(programme.lead, {"ramet": second.code, "on": "T-1"}, when="2021-08-01")
    said = read(client, page_of(first))
    assert f"T-1 since 1 March 2021, taken off 1 July 2021, now on {second.code}" in said
    assert "T-9 since 1 July 2021" in said
    assert "tag T-1 taken off, tag T-9 put on" in said
    assert "(once tag T-1, tag T-9)" in said
    assert "T-2 since 1 March 2021, lost 1 July 2021" in read(client, page_of(second))


def test_a_base_that_was_given_is_told_beside_the_first(
    programme: Programme, client: Client
) -> None:
    rows = [{"base": "disc"}]
    (child,) = make.cut(programme.lead, [programme.mother()], None, programme.tray, children=rows)
    make.move(programme.lead, [{"ramet": child.code, "base": "peg"}], when="2021-04-01")
    said = read(client, page_of(child))
    assert "Base peg born on disc" in said
    assert "given another base; base: peg" in said


def test_a_death_by_count_is_told_as_such(programme: Programme, client: Client) -> None:
    lot = make.cut(programme.lead, [programme.mother()], 2, into=programme.tray)
    counted = {"structure": programme.tray.code, "lot": str(lot[0].born.uid)}
    count(programme.lead, [{**counted, "dead": 1, "missing": 1}])
    told = [read(client, page_of(ramet)) for ramet in lot]
    assert sum("It died, by count." in said and "dead, by count" in said for said in told) == 1
    assert sum("It is missing, by count." in said for said in told) == 1


def test_a_second_planting_has_its_own_rung_and_its_own_sightings(
    programme: Programme, client: Client
) -> None:
    (child,) = programme.outplants()
    lead, site = programme.lead, programme.site
    make.visit(lead, site, {child: "alive"}, when="2021-06-15")
    lift(lead, [child], programme.tray)
    second = make.plot(lead, site)
    make.planting(lead, second, [child], when="2021-08-01")
    make.visit(lead, site, {child: "alive"}, when="2021-09-01")
    said = read(client, page_of(child))
    told = [
        f"Planted again at {site.name}, plot {second.code}",
        "on 1 August 2021",
        "Seen alive on 1 September 2021",
        f"Planted at {site.name}, plot {programme.plot.code}",
        "on 1 June 2021",
        f"Lifted on 1 July 2021, into {programme.tray.code}",
        "Seen alive on 15 June 2021",
        "Cut from",
    ]
    places = [said.index(words) for words in told]
    assert places == sorted(places), said
