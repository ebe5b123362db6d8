"""The find field: any code, tag, place or name, and what is close to it."""

import pytest

from nursery.core.actor import Role
from nursery.core.codes import next_codes, parse_code
from nursery.core.registers import edit
from nursery.donors.models import Genet
from nursery.lineage.models import Ramet, Tag
from nursery.outplanting.find import Hit, find
from tests import factories as make
from tests.factories import Programme
from tests.pages import cost, read, reader

pytestmark = pytest.mark.django_db


def leads_to(text: str) -> str:
    """Where the find field leads at once."""
    answer = reader(Role.VIEWER).get("/find/", {"q": text})
    assert answer.status_code == 302
    return answer["Location"]


@pytest.fixture
def tagged(programme: Programme) -> Ramet:
    """A ramet in C2 of the plate that carries a tag."""
    child = {"cell": "C2", "tag": "T-9"}
    (ramet,) = make.cut(
        programme.lead, [programme.mother()], into=programme.plate, children=[child]
    )
    return ramet


def test_a_code_is_found_in_any_spelling(tagged: Ramet) -> None:
    body, _, check = tagged.code.partition("-")
    for text in (tagged.code, tagged.code.lower(), f"{body}{check}", f" {body} – {check} "):
        assert leads_to(text) == f"/ramets/{tagged.code}/"


def test_a_tag_in_force_is_found(tagged: Ramet) -> None:
    assert leads_to("t-9") == f"/ramets/{tagged.code}/"


def test_an_old_tag_is_found(tagged: Ramet) -> None:
    Tag.objects.filter(text="T-9").update(until="2021-12-31")
    assert leads_to("T-9") == f"/ramets/{tagged.code}/"


def test_a_tag_that_was_used_again_shows_who_carries_it_first(
    programme: Programme, tagged: Ramet
) -> None:
    Tag.objects.filter(text="T-9").update(until="2021-12-31")
    (now,) = make.cut(
        programme.lead, [programme.mother()], when="2022-02-01", children=[{"tag": "T-9"}]
    )
    said = read(reader(Role.VIEWER), "/find/?q=T-9")
    assert "2 things of that name." in said
    assert said.index(now.code) < said.index(tagged.code)
    assert "carried tag T-9 from 2021-03-01 to 2021-12-31" in said


def test_a_place_leads_to_what_lives_in_it(programme: Programme, tagged: Ramet) -> None:
    assert leads_to(f"{programme.plate.code.lower()}  c2") == f"/ramets/{tagged.code}/"


def test_an_empty_or_missing_cell_is_told_with_its_structure(programme: Programme) -> None:
    client = reader(Role.VIEWER)
    code = programme.plate.code
    assert "its cell D4 is empty" in read(client, f"/find/?q={code}+D4")
    assert "it has no cell Z40" in read(client, f"/find/?q={code}+Z40")
    assert "it has no cell A1" in read(client, f"/find/?q={programme.tray.code}+A1")


def test_a_rock_in_a_cell_is_found_by_its_place(programme: Programme) -> None:
    rock = make.structure(programme.lead, kind="rock", rows=1, columns=3)
    to = {"structure": rock.code, "parent": programme.plate.code, "cell": "E5"}
    make.move_structures(programme.lead, [to])
    assert leads_to(f"{programme.plate.code} E5") == f"/structures/{rock.code}/"


@pytest.mark.parametrize(
    "kind", ["reef", "nursery", "bay", "plate", "tray", "taxon", "colony", "site", "plot"]
)
def test_a_register_is_found_by_its_code_in_any_case(programme: Programme, kind: str) -> None:
    row = getattr(programme, kind)
    assert leads_to(row.code.lower()).endswith(f"/{row.code}/")


def test_a_genet_is_found_by_its_staff_name(programme: Programme) -> None:
    genet = Genet.objects.get(pk=programme.colony.genet_id)
    edit(programme.lead, genet, {"name": "Crescent Moon"})
    assert leads_to("crescent moon") == f"/genets/{genet.code}/"


def test_several_things_of_one_name_are_listed(programme: Programme) -> None:
    make.reef(programme.lead, code="WIN", name="Windrose Reef")
    make.site(programme.lead, code="WIN", name="Windrose")
    said = read(reader(Role.VIEWER), "/find/?q=win")
    assert "2 things of that name." in said


def test_a_part_of_a_name_finds_what_holds_it(programme: Programme) -> None:
    make.site(programme.lead, code="WIN", name="Windrose")
    said = read(reader(Role.VIEWER), "/find/?q=indro")
    assert "1 thing with that in the name." in said
    assert "WIN Windrose" in said


def test_a_wrong_check_character_is_told_with_near_codes(tagged: Ramet) -> None:
    wrong = "A" if parse_code(tagged.code).check != "A" else "B"
    said = read(reader(Role.VIEWER), f"/find/?q={tagged.code[:-1]}{wrong}")
    assert "its check character does not fit" in said
    assert "Did you mean" in said
    assert tagged.code in said


def test_swapped_characters_are_told_with_the_code_that_was_meant(programme: Programme) -> None:
    (code,), _ = next_codes(str(programme.nursery.series), 1230, 1)
    codes = [{"code": code}]
    (ramet,) = make.ramets_of(make.collection(programme.lead, programme.colony, pieces=codes))
    found = find(make.viewer(), ramet.code.replace("12", "21"))
    assert (found.near, found.misread, found.hits) == ((ramet.code,), True, ())


def test_a_code_without_its_check_character_is_completed(tagged: Ramet) -> None:
    found = find(make.viewer(), tagged.code[:-2])
    assert Hit("ramet", tagged.code) in found.hits


def test_nothing_of_that_name_says_what_else_to_try() -> None:
    said = read(reader(Role.VIEWER), "/find/?q=zzzz")
    assert "There is nothing of that name in the record." in said
    assert "find it by its place" in said


@pytest.mark.parametrize("address", ["/find/", "/find/?q=%00"])
def test_an_empty_question_tells_what_can_be_found(address: str) -> None:
    assert "Enter a tag, a place or a name" in read(reader(Role.VIEWER), address)


def test_blanks_alone_are_no_question() -> None:
    assert reader(Role.VIEWER).get("/find/?q=++")["Location"] == "/find/"


def test_finding_costs_no_more_where_much_is_found(programme: Programme) -> None:
    make.site(programme.lead, name="Bank")
    client = reader(Role.VIEWER)
    few = cost(client, "/find/?q=ban")
    for n in range(5):
        make.reef(programme.lead, name=f"Ban {n}")
        make.genet(programme.lead, programme.taxon, name=f"Ban {n}")
    assert few == cost(client, "/find/?q=ban")
