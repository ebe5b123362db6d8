"""The find field: any code, tag, place or name, and what is close to it."""

import re

import pytest
from django.db import connection, transaction
from django.test.utils import CaptureQueriesContext

from nursery.core.actor import Role
from nursery.core.codes import next_codes, parse_code
from nursery.core.models import User
from nursery.core.registers import edit
from nursery.donors.models import Genet
from nursery.lineage.models import Ramet, Tag
from nursery.outplanting.find import MOST_NEAR, Hit, find, suggest
from tests import factories as make
from tests.factories import Programme
from tests.pages import cost, read, reader, words_of

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


def test_a_lost_tag_leads_on_and_says_since_when_it_is_lost(tagged: Ramet) -> None:
    Tag.objects.filter(text="T-9").update(until="2021-12-31", lost=True)
    answer = reader(Role.VIEWER).get("/find/?q=t-9", follow=True)
    assert answer.redirect_chain == [(f"/ramets/{tagged.code}/", 302)]
    assert "tag T-9, on it from 2021-03-01, is lost since 2021-12-31" in words_of(answer)


def test_a_tag_that_was_never_given_finds_nothing(tagged: Ramet) -> None:
    Tag.objects.filter(text="T-9").update(live=False)
    assert find(make.viewer(), "T-9").hits == ()
    assert suggest(make.viewer(), "T-9") == ()


def test_staff_may_say_what_it_is_before_its_name(programme: Programme) -> None:
    genet = Genet.objects.get(pk=programme.colony.genet_id)
    edit(programme.lead, genet, {"name": "Crescent Moon"})
    make.site(programme.lead, name="Crescent Moon")
    assert leads_to("Genotype crescent moon") == f"/genets/{genet.code}/"
    assert leads_to(f"plate {programme.plate.code}") == f"/structures/{programme.plate.code}/"


def test_a_permit_is_found_by_its_title(programme: Programme) -> None:
    permit = make.permit(programme.lead, title="Reef works 7")
    assert leads_to("reef works 7") == f"/permits/{permit.code}/"


def test_a_person_is_found_with_what_they_entered(programme: Programme) -> None:
    person = make.person(Role.FIELD, name="ana")
    User.objects.filter(pk=person.pk).update(first_name="Ana", last_name="Reyes")
    address = f"/events/?recorded_by={person.username}"
    assert leads_to("ana reyes") == leads_to(person.username) == address
    assert reader(Role.VIEWER).get(address).status_code == 200


def test_while_a_code_is_typed_those_that_begin_so_are_offered(tagged: Ramet) -> None:
    begun = tagged.code.partition("-")[0]
    offered = suggest(make.viewer(), begun.lower())
    assert Hit("ramet", tagged.code) in offered
    assert all(hit.code.startswith(begun) for hit in offered)


def test_while_a_tag_is_typed_its_ramet_is_offered_with_the_tag(tagged: Ramet) -> None:
    (hit,) = suggest(make.viewer(), "t-")
    assert (hit.code, hit.why) == (tagged.code, "carries tag T-9 since 2021-03-01")


def test_what_begins_with_the_text_is_offered_before_what_holds_it(programme: Programme) -> None:
    make.site(programme.lead, code="A1", name="Old Windrose")
    make.reef(programme.lead, code="B2", name="Windrose Bank")
    make.reef(programme.lead, code="WIND", name="Lee")
    offered = [hit.code for hit in suggest(make.viewer(), "wind")]
    assert offered == ["WIND", "B2", "A1"]


def test_a_place_offers_what_lives_in_it(programme: Programme, tagged: Ramet) -> None:
    (hit,) = suggest(make.viewer(), f"{programme.plate.code} c2")
    assert (hit.code, hit.why) == (tagged.code, f"in {programme.plate.code} C2")


def test_a_slip_of_the_pen_offers_the_code_that_was_meant(tagged: Ramet) -> None:
    wrong = "A" if parse_code(tagged.code).check != "A" else "B"
    (hit,) = suggest(make.viewer(), f"{tagged.code[:-1]}{wrong}")
    assert (hit.code, hit.sure) == (tagged.code, False)


@pytest.mark.parametrize("text", ["", "a", " %00 ", "zz top"])
def test_too_little_or_nothing_known_offers_nothing(programme: Programme, text: str) -> None:
    assert suggest(make.viewer(), text.replace("%00", "\x00")) == ()


def test_what_is_offered_is_never_more_than_a_few(programme: Programme) -> None:
    for n in range(12):
        make.reef(programme.lead, name=f"Ban {n}")
    assert len(suggest(make.viewer(), "ban")) == MOST_NEAR


def test_what_is_offered_leads_to_its_page(tagged: Ramet) -> None:
    page = reader(Role.VIEWER).get("/find/near/?q=t-9").content.decode()
    assert f'data-href="/ramets/{tagged.code}/"' in page
    assert page.count('role="option"') == 1
    assert "<html" not in page


@pytest.mark.parametrize("text", ["ba", "t-1", "kb12", "K-1 c7", "KB0001-Z", "no such thing"])
def test_what_is_offered_costs_the_same_however_much_there_is(
    programme: Programme, text: str
) -> None:
    client = reader(Role.VIEWER)
    at = f"/find/near/?q={text}"
    few = cost(client, at)
    for n in range(10):
        make.reef(programme.lead, name=f"Ban {n}")
    make.cut(programme.lead, [programme.mother()], 30)
    # Log-in and roles are three of them.
    assert few == cost(client, at) <= 8


@pytest.mark.parametrize("text", ["KB00", "T-1"])
def test_codes_and_tags_are_looked_up_by_their_indexes(programme: Programme, text: str) -> None:
    """However few there are, so that it holds for a million."""
    with CaptureQueriesContext(connection) as asked:
        suggest(make.viewer(), text)
    many = [
        query["sql"]
        for query in asked
        if "ORDER BY" in query["sql"]
        and ('FROM "lineage_ramet"' in query["sql"] or 'FROM "lineage_tag"' in query["sql"])
    ]
    assert many
    for sql in many:
        plan = explained(sql)
        # From one entry of the index on: neither all of it, nor all rows, nor put in order anew.
        assert re.search(r"\((?:code|text)>\?\)|Index Cond: \(.*>=", plan), plan
        assert not re.search(r"SCAN|Seq Scan|Sort|TEMP", plan), plan


def explained(sql: str) -> str:
    """How the database goes about a query."""
    word = "EXPLAIN QUERY PLAN" if connection.vendor == "sqlite" else "EXPLAIN"
    with transaction.atomic(), connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            cursor.execute("SET LOCAL enable_seqscan = off")
        cursor.execute(f"{word} {sql}")
        return "\n".join(str(row[-1]) for row in cursor.fetchall())
