"""The page of a structure: how it is drawn, what it tells, and what it costs."""

import datetime
import re
from dataclasses import replace

import pytest

from nursery.core.actor import Role
from nursery.core.inputs import read as read_input
from nursery.donors.marks import mark_of
from nursery.husbandry.actions import check
from nursery.husbandry.inputs import CheckIn
from nursery.lineage.actions import end_ramets
from nursery.lineage.inputs import EndingIn
from nursery.places.models import Structure
from tests import factories as make
from tests.factories import Programme
from tests.pages import cost, main_of, read, reader
from tests.places.plates import data_of, page_of

pytestmark = pytest.mark.django_db


def cells_of(html: str) -> list[str]:
    """The cells of a plate, row by row, as HTML."""
    body = html.partition("<tbody>")[2].partition("</tbody>")[0]
    return re.findall(r"<td[^>]*>.*?</td>", body, re.S)


def found(programme: Programme, states: dict[str, str], when: str = make.CUT) -> None:
    """A check that found these ramets so."""
    findings = [{"ramet": code, "state": state} for code, state in states.items()]
    check(programme.lead, read_input(CheckIn, {"when": when, "findings": findings}))


@pytest.fixture
def small(programme: Programme) -> Programme:
    """The programme with a plate of 3 × 2 cells, of which A1 is blocked."""
    plate = make.structure(programme.lead, programme.bay, rows=2, columns=3, blocked="A1")
    return replace(programme, plate=plate)


def test_a_plate_shows_letters_across_and_numbers_down(small: Programme) -> None:
    html = main_of(reader(Role.VIEWER), page_of(small.plate))
    assert re.findall(r'<th scope="col">(\w)</th>', html) == ["A", "B", "C"]
    assert re.findall(r'<th scope="row">(\d)</th>', html) == ["1", "2"]


def test_a_blocked_cell_is_not_there_and_a_living_ramet_has_its_mark(small: Programme) -> None:
    (ramet,) = make.cut(small.lead, [small.mother()], into=small.plate)
    client = reader(Role.VIEWER)
    cells = cells_of(main_of(client, page_of(small.plate)))
    mark = mark_of(ramet.genet_id)
    assert cells[0] == '<td class="x"></td>'
    assert f'href="#mark-{mark.hue}{mark.hatch}"' in cells[1]
    assert f"<b>{mark.label}</b>" in cells[1]
    assert cells[2] == '<td class="f"></td>'
    said = read(client, page_of(small.plate))
    assert f"1 ramet lives in {small.plate.code}; 4 cells are free." in said


def test_every_mark_that_a_cell_can_have_is_drawn_once(small: Programme) -> None:
    html = main_of(reader(Role.VIEWER), page_of(small.plate))
    drawn = re.findall(r'<symbol id="(mark-[^"]+)"', html)
    assert len(drawn) == len(set(drawn))
    wanted = {f"mark-{mark_of(pk).hue}{mark_of(pk).hatch}" for pk in range(1, 500)}
    assert wanted <= set(drawn)


def test_what_ended_in_a_cell_is_hollow_until_another_lives_there(small: Programme) -> None:
    (dead,) = make.cut(small.lead, [small.mother()], into=small.plate)
    given = {"when": make.CUT, "fate": "dead", "ramets": [{"ramet": dead.code}]}
    end_ramets(small.lead, read_input(EndingIn, given))
    client = reader(Role.VIEWER)
    cell = cells_of(main_of(client, page_of(small.plate)))[1]
    assert 'href="#mark-d"' in cell
    assert "dead" in re.sub(r"<[^>]+>", "", cell)
    assert "1 ended here" in read(client, page_of(small.plate))
    make.cut(small.lead, [small.mother()], into=small.plate)
    assert 'href="#mark-d"' not in cells_of(main_of(client, page_of(small.plate)))[1]


def test_each_state_has_a_class_and_is_counted_in_the_summary(programme: Programme) -> None:
    plate = make.structure(programme.lead, programme.bay, rows=1, columns=5)
    ramets = make.cut(programme.lead, [programme.mother()], 5, into=plate)
    states = ["attached", "loose", "dead", "missing"]
    codes = [ramet.code for ramet in ramets]
    found(programme, dict(zip(codes, states, strict=False)))
    client = reader(Role.VIEWER)
    cells = cells_of(main_of(client, page_of(plate)))
    assert [re.findall(r'class="(\w)"', cell)[0] for cell in cells] == ["a", "l", "d", "m", "u"]
    said = read(client, page_of(plate))
    counted = "1 attached, 1 loose, 1 not looked at yet, 1 dead, 1 missing"
    assert f"{programme.taxon.name} · {counted} · last checked 1 March 2021" in said


def test_a_plate_says_that_a_check_is_due(programme: Programme) -> None:
    ramets = make.cut(programme.lead, [programme.mother()], 2, into=programme.plate)
    client = reader(Role.VIEWER)
    days = (datetime.datetime.now(datetime.UTC).date() - datetime.date(2021, 3, 1)).days
    assert f"day {days:,}: check due" in read(client, page_of(programme.plate))
    assert "never checked" in read(client, page_of(programme.plate))
    found(programme, {ramets[0].code: "attached"}, "2021-03-11")
    assert "check due" not in read(client, page_of(programme.plate))


def test_scripts_are_told_code_genet_state_age_and_size_of_every_cell(small: Programme) -> None:
    (ramet,) = make.cut(small.lead, [small.mother()], into=small.plate)
    finding = {"ramet": ramet.code, "state": "attached", "size_cm": "2.5"}
    check(small.lead, read_input(CheckIn, {"when": make.CUT, "findings": [finding]}))
    data = data_of(main_of(reader(Role.VIEWER), page_of(small.plate)))
    today = datetime.datetime.now(datetime.UTC).date()
    days = (today - datetime.date.fromisoformat(make.CUT)).days
    assert data["cells"][:3] == [None, [ramet.code, ramet.genet_id, "a", days, "2.5"], 0]
    assert data["genets"][str(ramet.genet_id)]["label"] == mark_of(ramet.genet_id).label
    assert (data["rows"], data["columns"], data["acts"]) == (2, 3, False)


def test_a_structure_in_a_cell_of_another_is_shown_there_and_can_be_opened(
    small: Programme,
) -> None:
    rock = make.structure(small.lead, kind="rock", rows=1, columns=3)
    to = {"structure": rock.code, "parent": small.plate.code, "cell": "C2"}
    make.move_structures(small.lead, [to])
    client = reader(Role.VIEWER)
    html = main_of(client, page_of(small.plate))
    assert rock.code in cells_of(html)[5]
    assert 'href="#mark-h"' in cells_of(html)[5]
    assert data_of(html)["cells"][5] == [rock.code, "rock with sockets"]
    assert f'href="/structures/{rock.code}/"' in html
    assert f"{small.plate.code} C2" in read(client, page_of(rock))


def test_an_open_structure_is_a_list_by_genet_and_lot(programme: Programme) -> None:
    (mother,) = programme.mothers(1)
    make.cut(programme.lead, [mother], 60, into=programme.tray)
    html = main_of(reader(Role.LEAD), page_of(programme.tray))
    assert '<table class="plate"' not in html
    assert f'href="/ramets/{mother.code}/"' in html
    assert "60 living, cut 2021-03-01" in html
    lot = re.findall(r'name="lot" value="([^"]+)"', html)
    assert len(lot) == 1
    assert f'name="dead-{lot[0]}"' in html


def test_several_taxa_on_one_plate_are_flagged(programme: Programme) -> None:
    other = make.taxon(programme.lead)
    rows = [{"taxon": other.code, "structure": programme.plate.code}]
    make.stock(programme.lead, programme.nursery, rows)
    client = reader(Role.VIEWER)
    assert "Several taxa on one plate" not in read(client, page_of(programme.plate))
    make.cut(programme.lead, [programme.mother()], into=programme.plate)
    assert "Several taxa on one plate" in read(client, page_of(programme.plate))


@pytest.mark.parametrize(
    ("roles", "here", "acts"),
    [
        ((Role.VIEWER,), True, False),
        ((Role.FIELD,), True, False),
        ((Role.NURSERY,), True, True),
        ((Role.NURSERY,), False, False),
        ((Role.LEAD,), True, True),
    ],
)
def test_acts_are_offered_to_those_who_work_there(
    programme: Programme, roles: tuple[Role, ...], here: bool, acts: bool
) -> None:
    at = programme.nursery if here else make.nursery(programme.lead)
    client = reader(*roles, at=at if Role.NURSERY in roles else None)
    html = main_of(client, page_of(programme.plate))
    assert ("data-strip" in html) == acts
    assert data_of(html)["acts"] == acts


def test_no_cell_has_a_link_or_a_tab_stop_of_its_own(programme: Programme) -> None:
    make.cut(programme.lead, [programme.mother()], 50, into=programme.plate)
    html = main_of(reader(Role.LEAD), page_of(programme.plate))
    assert len(cells_of(html)) == 121
    assert not [cell for cell in cells_of(html) if "<a" in cell or "tabindex" in cell]


def full(programme: Programme, side: int) -> Structure:
    """A plate of side × side cells, all of them taken, all of them checked."""
    plate = make.structure(programme.lead, programme.bay, rows=side, columns=side)
    left, mother = side * side, programme.mother()
    while left:
        n = min(left, 1000)
        ramets = make.cut(programme.lead, [mother], n, into=plate)
        found(programme, {ramet.code: "attached" for ramet in ramets})
        left -= n
    return plate


def test_1600_cells_cost_as_many_queries_as_117(programme: Programme) -> None:
    small, large = full(programme, 11), full(programme, 40)
    viewer, lead = reader(Role.VIEWER), reader(Role.LEAD)
    assert cost(viewer, page_of(small)) == cost(viewer, page_of(large)) == PLATE
    assert cost(lead, page_of(small)) == cost(lead, page_of(large)) == PLATE_WITH_ACTS
    cells = [f"{page_of(plate)}cells/" for plate in (small, large)]
    assert cost(viewer, cells[0]) == cost(viewer, cells[1]) == 11


def test_a_cell_of_1600_weighs_under_a_hundred_bytes(programme: Programme) -> None:
    plate = make.structure(programme.lead, programme.bay, rows=40, columns=40)
    make.cut(programme.lead, [programme.mother()], 1000, into=plate)
    cells = cells_of(main_of(reader(Role.VIEWER), page_of(plate)))
    assert max(map(len, cells)) < 100


PLATE = 17
PLATE_WITH_ACTS = 23


def test_the_label_of_a_plate_tells_genets_cutting_count_and_mother(programme: Programme) -> None:
    mother = programme.mother()
    make.cut(programme.lead, [mother], 30, into=programme.plate)
    said = read(reader(Role.VIEWER), f"{page_of(programme.plate)}label/")
    assert programme.plate.code in said
    assert programme.taxon.name in said
    assert f"{mark_of(mother.genet_id).label} {mother.genet}" in said
    assert f"30 cut 2021-03-01 from {mother.code}" in said
    assert cost(reader(Role.VIEWER), f"{page_of(programme.plate)}label/") == 12
