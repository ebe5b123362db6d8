"""Where genets are kept: the matrix of living ramets, and which genets one mishap would end."""

import re

import pytest
from django.test import Client

from nursery.core.actor import Role
from nursery.diversity.risk import FEW, Risk, keeping
from nursery.donors.models import DonorColony
from nursery.lineage.models import Ramet
from nursery.places.models import Structure
from tests import factories as make
from tests.factories import Programme
from tests.pages import cost, main_of, read, reader

pytestmark = pytest.mark.django_db
PAGE = "/genets/matrix/"


@pytest.fixture
def client(db: None) -> Client:
    return reader(Role.VIEWER)


def another_tray(programme: Programme, same_nursery: bool = False) -> Structure:
    home = programme.nursery if same_nursery else make.nursery(programme.lead)
    return make.tray(programme.lead, make.bay(programme.lead, home))


def grown(programme: Programme, *trays: Structure, each: int = FEW) -> DonorColony:
    """A colony of a new genet with so many ramets in each tray."""
    colony = make.colony(programme.lead, programme.taxon, programme.reef)
    for tray in trays:
        make.mothers(programme.lead, colony, tray, each)
    return colony


def risks(programme: Programme, colony: DonorColony) -> tuple[Risk, ...]:
    (row,) = [row for row in keeping(programme.lead).rows if row.genet == colony.genet]
    return row.risks


def test_a_genet_in_two_nurseries_is_at_no_risk(programme: Programme, client: Client) -> None:
    colony = grown(programme, programme.tray, another_tray(programme))
    assert risks(programme, colony) == ()
    assert "1 genet live, and none of them is at risk" in read(client, PAGE).replace(
        "lives", "live"
    )


def test_few_are_told_with_their_number(programme: Programme, client: Client) -> None:
    colony = grown(programme, programme.tray, another_tray(programme), each=2)
    assert risks(programme, colony) == (Risk.FEW,)
    assert "▼ few: 4" in read(client, PAGE)
    assert f"1 have fewer than {FEW} living ramets." in read(client, PAGE)


def test_just_enough_are_not_few(programme: Programme) -> None:
    other = another_tray(programme)
    colony = grown(programme, programme.tray, other, each=2)
    make.mothers(programme.lead, colony, other, FEW - 4)
    assert risks(programme, colony) == ()


def test_all_in_one_water_is_told_with_its_system(programme: Programme, client: Client) -> None:
    colony = grown(programme, programme.tray, programme.plate)
    assert risks(programme, colony) == (Risk.ONE_WATER,)
    assert f"◉ one water: {programme.bay.system.code}" in read(client, PAGE)


def test_all_in_one_nursery_in_several_waters_is_told_apart(
    programme: Programme, client: Client
) -> None:
    colony = grown(programme, programme.tray, another_tray(programme, same_nursery=True))
    assert risks(programme, colony) == (Risk.ONE_NURSERY,)
    assert f"◎ one nursery: {programme.nursery.code}" in read(client, PAGE)


def test_what_is_held_by_another_structure_shares_its_water(programme: Programme) -> None:
    rock = make.structure(programme.lead, kind="rock", rows=1, columns=3)
    move = [{"structure": rock.code, "parent": programme.plate.code, "cell": "C1"}]
    make.move_structures(programme.lead, move)
    colony = grown(programme, programme.tray, Structure.objects.get(pk=rock.pk), each=3)
    assert risks(programme, colony) == (Risk.ONE_WATER,)


def test_what_stands_on_the_reef_is_in_no_one_water(programme: Programme) -> None:
    programme.outplants(FEW)
    assert risks(programme, programme.colony) == ()


def test_merged_genets_are_one(programme: Programme) -> None:
    first = grown(programme, programme.tray)
    second = grown(programme, another_tray(programme))
    first.genet.canonical = second.genet
    first.genet.save()
    (row,) = keeping(programme.lead).rows
    assert (row.genet, row.living) == (second.genet, 2 * FEW)


def rows_of(html: str) -> list[str]:
    """The genets of the table from the top down."""
    body = html.partition("<tbody")[2].partition("</tbody>")[0]
    return re.findall(r'href="/genets/([^/]+)/"', body)


def test_the_matrix_counts_by_nursery_and_reef_and_leads_to_the_ramets(
    programme: Programme, client: Client
) -> None:
    programme.outplants(3)
    html = main_of(client, PAGE)
    genet, home = programme.colony.genet.code, programme.nursery.code
    assert f'href="/ramets/?genet={genet}&amp;life=living&amp;nursery={home}">1</a>' in html
    assert f'href="/ramets/?genet={genet}&amp;life=living&amp;place=plot">3</a>' in html
    assert "1 ramet with" in read(client, f"/ramets/?genet={genet}&life=living&nursery={home}")


def test_it_is_sorted_by_what_one_asks_for(programme: Programme, client: Client) -> None:
    other = another_tray(programme)
    many = grown(programme, programme.tray, other, each=9)
    few = grown(programme, programme.tray, each=1)
    home = other.nursery
    assert home is not None
    genets = [many.genet.code, few.genet.code]
    # At risk first, unless told otherwise.
    assert rows_of(main_of(client, PAGE)) == genets[::-1]
    assert rows_of(main_of(client, f"{PAGE}?ordering=-living")) == genets
    assert rows_of(main_of(client, f"{PAGE}?ordering=nursery:{home.code}")) == genets[::-1]
    html = main_of(client, f"{PAGE}?ordering=-nursery:{home.code}")
    assert rows_of(html) == genets
    assert 'aria-sort="descending"' in html


def test_it_shows_those_at_risk_or_one_taxon_alone(programme: Programme, client: Client) -> None:
    safe = grown(programme, programme.tray, another_tray(programme))
    risky = grown(programme, programme.tray)
    assert rows_of(main_of(client, f"{PAGE}?risk=1")) == [risky.genet.code]
    taxon = make.taxon(programme.lead)
    assert rows_of(main_of(client, f"{PAGE}?taxon={programme.taxon.code}")) == sorted(
        [safe.genet.code, risky.genet.code], key=lambda code: code != risky.genet.code
    )
    said = read(client, f"{PAGE}?taxon={taxon.code}")
    assert f"No genet of {taxon.name} has a living ramet" in said


@pytest.mark.parametrize(
    ("query", "code"),
    [
        ("ordering=colour", "unknown_ordering"),
        ("ordering=nursery:NONE", "unknown_ordering"),
        ("risk=high", "not_a_choice"),
        ("taxon=NONE", "unknown_taxon"),
        ("colour=red", "unknown_parameter"),
    ],
)
def test_what_is_not_understood_is_refused(client: Client, query: str, code: str) -> None:
    assert code in read(client, f"{PAGE}?{query}", 400)


def test_an_empty_record_says_what_belongs_there(client: Client) -> None:
    said = read(client, PAGE)
    assert "No genet has a living ramet in the record." in said
    assert "A collection that was taken in brings the first." in said


def test_ramets_without_a_genet_are_no_row(programme: Programme, client: Client) -> None:
    make.stock(programme.lead, programme.nursery, [{"taxon": programme.taxon.code}])
    assert Ramet.objects.count() == 1
    assert "No genet has a living ramet" in read(client, PAGE)


def test_many_genets_cost_as_many_queries_as_one(programme: Programme, client: Client) -> None:
    grown(programme, programme.tray)
    few = cost(client, PAGE)
    for _ in range(4):
        grown(programme, programme.tray, another_tray(programme))
    assert few == cost(client, PAGE) == 9
