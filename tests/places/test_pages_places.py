"""Pages of places: the plate as it lies on the bench, and what hangs on the others."""

import re
from dataclasses import replace

import pytest

from nursery.core.actor import Role
from nursery.lineage.models import Ramet
from nursery.lineage.words import Cause, Life
from tests import factories as make
from tests.factories import Programme
from tests.pages import cost, main_of, read, reader

pytestmark = pytest.mark.django_db


def cells_of(html: str) -> list[str]:
    """The cells of a plate, row by row, as HTML."""
    return re.findall(
        r"<td[^>]*>.*?</td>", html.partition("<tbody>")[2].partition("</tbody>")[0], re.S
    )


@pytest.fixture
def small(programme: Programme) -> Programme:
    """The programme with a plate of 3 × 2 cells, of which A1 is blocked."""
    plate = make.structure(programme.lead, programme.bay, rows=2, columns=3, blocked="A1")
    return replace(programme, plate=plate)


def test_a_plate_shows_letters_across_and_numbers_down(small: Programme) -> None:
    html = main_of(reader(Role.VIEWER), f"/structures/{small.plate.code}/")
    assert re.findall(r'<th scope="col">(\w)</th>', html) == ["A", "B", "C"]
    assert re.findall(r'<th scope="row">(\d)</th>', html) == ["1", "2"]


def test_a_blocked_cell_is_not_there_and_a_living_ramet_is_a_link(small: Programme) -> None:
    (ramet,) = make.cut(small.lead, [small.mother()], into=small.plate)
    client = reader(Role.VIEWER)
    cells = cells_of(main_of(client, f"/structures/{small.plate.code}/"))
    assert cells[0] == '<td class="blocked"></td>'
    assert f'href="/ramets/{ramet.code}/"' in cells[1]
    assert 'class="mark-label"' in cells[1]
    assert "free" in cells[2]
    said = read(client, f"/structures/{small.plate.code}/")
    assert f"1 ramet lives in {small.plate.code}; 4 cells are free." in said


def test_what_ended_in_a_cell_is_hollow_until_another_lives_there(small: Programme) -> None:
    page = f"/structures/{small.plate.code}/"
    (dead,) = make.cut(small.lead, [small.mother()], into=small.plate)
    # No act of today ends a ramet in its cell: the row is what such a one would leave.
    Ramet.objects.filter(pk=dead.pk).update(life=Life.DEAD, cause=Cause.UNKNOWN)
    client = reader(Role.VIEWER)
    cell = cells_of(main_of(client, page))[1]
    assert 'class="hollow"' in cell
    assert f"{dead.code}, dead" in re.sub(r"<[^>]+>", "", cell)
    assert "1 ended here" in read(client, page)
    (other,) = make.cut(small.lead, [small.mother()], into=small.plate)
    cell = cells_of(main_of(client, page))[1]
    assert f"/ramets/{other.code}/" in cell
    assert 'class="hollow"' not in cell


def test_a_structure_in_a_cell_of_another_is_shown_there(small: Programme) -> None:
    rock = make.structure(small.lead, kind="rock", rows=1, columns=3)
    to = {"structure": rock.code, "parent": small.plate.code, "cell": "C2"}
    make.move_structures(small.lead, [to])
    client = reader(Role.VIEWER)
    cells = cells_of(main_of(client, f"/structures/{small.plate.code}/"))
    assert f'href="/structures/{rock.code}/"' in cells[5]
    assert f"{small.plate.code} C2" in read(client, f"/structures/{rock.code}/")


def test_an_open_structure_is_a_list(programme: Programme) -> None:
    mothers = programme.mothers(3)
    html = main_of(reader(Role.VIEWER), f"/structures/{programme.tray.code}/")
    assert '<table class="plate">' not in html
    assert all(f'href="/ramets/{mother.code}/"' in html for mother in mothers)


def test_a_full_plate_costs_as_many_queries_as_an_empty_one(programme: Programme) -> None:
    page = f"/structures/{programme.plate.code}/"
    make.cut(programme.lead, [programme.mother()], into=programme.plate)
    client = reader(Role.VIEWER)
    few = cost(client, page)
    make.cut(programme.lead, [programme.mother()], 100, into=programme.plate)
    assert few == cost(client, page) == 11


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
        ("/reefs/", 5),
        ("/nurseries/", 6),
        ("/systems/", 6),
        ("/bays/", 5),
        ("/structures/", 7),
        ("/sites/", 7),
        ("/plots/", 7),
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
