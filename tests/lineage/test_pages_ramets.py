"""The page of a ramet: what it is now, its trace, and near codes of what does not exist."""

import re

import pytest

from nursery.core.actor import Role
from nursery.core.codes import parse_code
from nursery.donors.models import Genet
from nursery.lineage.models import Ramet
from tests import factories as make
from tests.factories import Programme
from tests.pages import cost, main_of, read, reader

pytestmark = pytest.mark.django_db


def page_of(ramet: Ramet) -> str:
    return f"/ramets/{ramet.code}/"


def test_an_outplant_is_told_from_the_plot_down_to_the_wild_colony(programme: Programme) -> None:
    mother = programme.mother(done_by=["Ana Reyes"], permits=[make.permit(programme.lead).code])
    (child,) = make.cut(programme.lead, [mother], done_by=["Teo Marsh"])
    make.planting(programme.lead, programme.plot, [child], done_by=["Ana Reyes"])
    make.visit(programme.lead, programme.site, {child: "alive"})
    said = read(reader(Role.VIEWER), page_of(child))
    colony, reef = programme.colony, programme.reef
    assert f"It lives in plot {programme.plot.code} at {programme.site.code}." in said
    assert f"It is 1 cutting away from the wild colony {colony.code}." in said
    told = [
        f"Planted at {programme.site.name}, plot {programme.plot.code}",
        "on 1 June 2021 by Ana Reyes",
        "Seen alive on 1 September 2021",
        f"Cut from {mother.code} on 1 March 2021 by Teo Marsh",
        "A piece of what was collected on 10 January 2021 by Ana Reyes",
        f"Collected on {reef.name}",
        f"Taken in at {programme.nursery.code} on 11 January 2021",
        f"Wild colony {colony.code}",
    ]
    places = [said.index(words) for words in told]
    assert places == sorted(places)


def test_every_node_of_a_trace_leads_to_its_page(programme: Programme) -> None:
    mother = programme.mother()
    (child,) = make.cut(programme.lead, [mother])
    html = main_of(reader(Role.VIEWER), page_of(child))
    for address in (
        f"/ramets/{mother.code}/",
        f"/events/{child.born.uid}/",
        f"/events/{mother.born.uid}/",
        f"/colonies/{programme.colony.code}/",
        f"/reefs/{programme.reef.code}/",
        f"/genets/{programme.colony.genet.code}/",
    ):
        assert f'href="{address}"' in html


def test_a_pooled_cutting_names_all_its_mothers_and_the_genets_it_may_be(
    programme: Programme,
) -> None:
    other = make.colony(programme.lead, programme.taxon, programme.reef)
    first = programme.mother()
    (second,) = make.mothers(programme.lead, other, programme.tray)
    (child,) = make.cut(programme.lead, [first, second])
    said = read(reader(Role.VIEWER), page_of(child))
    assert f"Cut from {first.code} and {second.code}" in said
    assert "not known; one of" in said
    assert programme.colony.genet.code in said
    assert other.genet.code in said


def test_siblings_that_were_cut_together_stand_at_one_rung(programme: Programme) -> None:
    mothers = programme.mothers(3)
    pooled = make.cut(programme.lead, mothers, 6)
    (child,) = make.cut(programme.lead, pooled)
    client = reader(Role.VIEWER)
    html = main_of(client, page_of(child))
    # The ramet asked for, its mothers, theirs, their collection and the colony.
    assert html.count('<li class="rung') == 5
    assert "Cut from the 6 ramets below" in read(client, page_of(child))
    for ramet in (*pooled, *mothers):
        assert html.count(f'id="{ramet.code}"') == 1
        assert f'href="/ramets/{ramet.code}/"' in html


def test_mothers_of_different_cuttings_stand_on_stems_of_their_own(programme: Programme) -> None:
    mother = programme.mother()
    (first,) = make.cut(programme.lead, [mother])
    (second,) = make.cut(programme.lead, [mother], when="2021-04-01")
    (child,) = make.cut(programme.lead, [first, second], when="2021-05-01")
    html = main_of(reader(Role.VIEWER), page_of(child))
    assert html.count('<li class="rung') == 6
    top = html.partition('<li class="rung')[2].partition("</li>")[0]
    assert top.count('class="strand') == 2
    assert 'class="strand down right"' in top
    assert 'class="strand down left"' in top


def test_a_gap_is_drawn_with_its_reason(programme: Programme) -> None:
    row = {"taxon": programme.taxon.code, "donors": [programme.colony.code]}
    (legacy,) = make.stock(programme.lead, programme.nursery, [row])
    client = reader(Role.VIEWER)
    said = read(client, page_of(legacy))
    assert "Its trace has 1 gap." in said
    assert "its cuttings were not recorded" in said
    assert f"Wild colony {programme.colony.code}" in said
    assert 'class="rung broken"' in main_of(client, page_of(legacy))


def test_loose_pieces_end_in_a_gap(programme: Programme) -> None:
    found = make.collection(
        programme.lead, reef=programme.reef.code, taxon=programme.taxon.code, count=2
    )
    said = read(reader(Role.VIEWER), page_of(make.ramets_of(found)[0]))
    assert "2 pieces from loose pieces" not in said
    assert "2 loose pieces" in said
    assert "no donor colony is known" in said


def test_a_dead_ramet_says_so_and_of_what(programme: Programme) -> None:
    (ramet,) = programme.outplants()
    given = {"ramet": ramet.code, "condition": "dead", "cause": "storm"}
    make.visit(programme.lead, programme.site, {}, observations=[given])
    said = read(reader(Role.VIEWER), page_of(ramet))
    assert "It died of storm." in said
    assert "cause: storm" in said


def test_what_was_cut_from_a_ramet_is_counted(programme: Programme) -> None:
    mother = programme.mother()
    children = make.cut(programme.lead, [mother], 3)
    make.cut(programme.lead, children[:1], 2)
    assert "5 ramets were cut from it, directly or not: 5 living." in read(
        reader(Role.VIEWER), page_of(mother)
    )


def test_any_spelling_and_any_tag_lead_to_the_canonical_address(programme: Programme) -> None:
    (child,) = make.cut(programme.lead, [programme.mother()], children=[{"tag": "T-9"}])
    client = reader(Role.VIEWER)
    for text in (child.code.lower(), child.code.replace("-", ""), "t-9"):
        answer = client.get(f"/ramets/{text}/")
        assert (answer.status_code, answer["Location"]) == (302, page_of(child))


def test_a_wrong_check_character_is_told_with_the_near_code_as_a_link(
    programme: Programme,
) -> None:
    ramet = programme.mother()
    parsed = parse_code(ramet.code)
    wrong = ramet.code[:-1] + ("A" if parsed.check != "A" else "B")
    client = reader(Role.VIEWER)
    said = read(client, f"/ramets/{wrong}/", 404)
    assert "wrong_check_character" in said
    assert "Near ones that exist" in said
    assert f'href="{page_of(ramet)}"' in client.get(f"/ramets/{wrong}/").content.decode()


def test_exact_positions_are_for_field_staff_and_leads(programme: Programme) -> None:
    colony = make.colony(
        programme.lead,
        programme.taxon,
        programme.reef,
        latitude="7.1234567",
        longitude="134.7654321",
    )
    (ramet,) = make.mothers(programme.lead, colony, programme.tray)
    assert "7.1234567" in read(reader(Role.FIELD), page_of(ramet))
    for roles in ([Role.VIEWER], [Role.NURSERY]):
        said = read(reader(*roles, at=programme.nursery), page_of(ramet))
        assert "7.1234" not in said
        assert "rounded" in said


def test_zoanthids_carry_their_caution(programme: Programme) -> None:
    taxon = make.taxon(programme.lead, group="zoanthid")
    colony = make.colony(programme.lead, taxon, programme.reef)
    (ramet,) = make.mothers(programme.lead, colony, programme.tray)
    client = reader(Role.VIEWER)
    assert "presume palytoxin" in read(client, page_of(ramet))
    assert "presume palytoxin" in read(client, f"/taxa/{taxon.code}/")
    assert "presume palytoxin" not in read(client, page_of(programme.mother()))


def test_the_mark_of_a_genet_is_the_same_on_every_page(programme: Programme) -> None:
    ramet = programme.mother()
    genet = Genet.objects.get(pk=ramet.genet_id)
    client = reader(Role.VIEWER)
    pages = [page_of(ramet), f"/genets/{genet.code}/", "/ramets/", "/genets/"]
    marks = {
        re.search(r'<span class="mark">.*?</span></span>', main_of(client, page), re.S)
        for page in pages
    }
    assert len({found.group() for found in marks if found}) == 1


def test_a_long_trace_costs_as_many_queries_as_a_short_one(programme: Programme) -> None:
    short = programme.outplants()[0]
    ramets = programme.mothers(3)
    for _ in range(5):
        ramets = make.cut(programme.lead, ramets, 3)
    make.planting(programme.lead, programme.plot, ramets)
    client = reader(Role.VIEWER)
    assert cost(client, page_of(short)) == cost(client, page_of(ramets[0])) == 15


def test_the_list_of_ramets_costs_no_more_for_more_rows(programme: Programme) -> None:
    programme.outplants()
    client = reader(Role.VIEWER)
    few = cost(client, "/ramets/")
    make.cut(programme.lead, programme.mothers(3), 20)
    assert few == cost(client, "/ramets/") == 9


def test_the_list_of_cuttings_costs_no_more_for_more_rows(programme: Programme) -> None:
    permit = make.permit(programme.lead).code
    make.cut(programme.lead, [programme.mother()], permits=[permit])
    client = reader(Role.VIEWER)
    few = cost(client, "/fragmentations/")
    for mother in programme.mothers(4):
        make.cut(programme.lead, [mother], 2, permits=[permit])
    assert few == cost(client, "/fragmentations/") == 11
    assert "5 cuttings in the record." in read(client, "/fragmentations/")
