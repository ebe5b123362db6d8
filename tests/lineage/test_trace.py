"""The way back from a ramet to its donor colonies, and what it costs to ask."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

import pytest
from pytest_django.fixtures import DjangoAssertNumQueries

from nursery.core.dates import parse_when
from nursery.core.errors import NotAllowed, Unknown
from nursery.core.plain import plain
from nursery.donors.models import Genet
from nursery.lineage import queries
from nursery.lineage.models import Ramet, Tag
from nursery.lineage.queries import EventView
from nursery.lineage.words import Life, Origin, Place, What
from tests import factories as f
from tests.lineage.identities import identify, relabel
from tests.refusals import refused

QUERIES_OF_A_TRACE = 1


def line(programme: f.Programme, generations: int) -> Ramet:
    """The youngest of a line of single cuttings."""
    ramet = programme.mother()
    for _ in range(generations):
        ramet = f.cut(programme.lead, [ramet], into=programme.tray)[0]
    return ramet


def test_a_trace_goes_all_the_way_to_the_donor_colony(programme: f.Programme) -> None:
    permit = f.permit(programme.lead)
    taken = f.collection(
        programme.lead, programme.colony, permits=[permit.code], depth="14 ft", share_taken=5
    )
    f.intake(programme.lead, taken, programme.nursery, programme.tray)
    mother = f.ramets_of(taken)[0]
    child = f.cut(programme.lead, [mother], into=programme.plate, children=[{"tag": "7"}])[0]
    found = queries.trace(programme.lead, child.code)
    assert [node.ramet for node in found.nodes] == [child.code, mother.code]
    assert [node.generation for node in found.nodes] == [1, 0]
    assert [node.origin for node in found.nodes] == [Origin.CUT, Origin.COLLECTED]
    assert (found.complete, found.gaps, found.candidate_genets) == (True, (), ())
    assert found.head.tags == ("7",)
    assert found.head.place.name == f"{programme.plate.code} A1"
    assert found.head.place.nursery == programme.nursery.code
    assert [(source.ramet, source.used_up) for source in found.head.sources] == [
        (mother.code, False)
    ]
    assert [donor.colony for donor in found.donors] == [programme.colony.code]
    collection = found.collections[0]
    assert (collection.colony, collection.reef) == (programme.colony.code, programme.reef.code)
    assert collection.event.permits == (permit.code,)
    assert [intake.nursery for intake in collection.intakes] == [programme.nursery.code]


def test_a_trace_tells_measures_as_they_were_entered(programme: f.Programme) -> None:
    colony = f.colony(programme.lead, programme.taxon, programme.reef, depth_m="7", size_cm="40.5")
    taken = f.collection(programme.lead, colony, depth="7.5 m", piece_size="3 cm", share_taken=2.5)
    found = queries.trace(programme.lead, f.ramets_of(taken)[0].code)
    collection, donor = found.collections[0], found.donors[0]
    measures = (collection.depth_m, collection.piece_size_cm, collection.share_taken)
    assert measures == (Decimal("7.5"), Decimal("3.0"), Decimal("2.5"))
    assert (donor.depth_m, donor.size_cm) == (Decimal("7.0"), Decimal("40.5"))
    assert [str(value) for value in (*measures, donor.depth_m)] == ["7.5", "3.0", "2.5", "7.0"]


def test_a_trace_tells_headers_as_they_were_entered(programme: f.Programme) -> None:
    taken = f.collection(
        programme.lead,
        programme.colony,
        when="2021-03-04T10:30",
        done_by=["Ana", "Bo"],
        note="calm sea",
    )
    header = queries.trace(programme.lead, f.ramets_of(taken)[0].code).collections[0].event
    assert header == EventView(
        uid=str(taken.event.uid),
        kind="collection",
        when=parse_when("2021-03-04T10:30"),
        done_by=("Ana", "Bo"),
        permits=(),
        note="calm sea",
    )


def test_a_tag_and_a_place_lead_to_the_same_trace(programme: f.Programme) -> None:
    mother = programme.mother()
    child = f.cut(programme.lead, [mother], into=programme.plate, children=[{"tag": "red 7"}])[0]
    by_code = queries.trace(programme.lead, child.code)
    for text in ("red 7", f"{programme.plate.code} A1", f" {child.code.lower()} "):
        assert queries.trace(programme.lead, text) == by_code


def test_a_tag_whose_giving_was_voided_is_not_shown(programme: f.Programme) -> None:
    mother = programme.mother()
    child = f.cut(programme.lead, [mother], children=[{"tag": "red 7"}])[0]
    Tag.objects.filter(ramet=child).update(live=False)
    assert queries.trace(programme.lead, child.code).head.tags == ()


def test_a_ramet_that_has_never_been_is_unknown(programme: f.Programme) -> None:
    child = f.cut(programme.lead, [programme.mother()])[0]
    Ramet.objects.filter(pk=child.pk).update(life=Life.NEVER)
    with refused("unknown_ramet", by=Unknown):
        queries.trace(programme.lead, child.code)


def test_exact_positions_are_told_to_those_alone_who_may_see_them(programme: f.Programme) -> None:
    where = {"latitude": "7.1234567", "longitude": "134.7654321"}
    colony = f.colony(programme.lead, programme.taxon, programme.reef, **where)
    loose = {"reef": programme.reef.code, "taxon": programme.taxon.code}
    pieces = [
        f.ramets_of(f.collection(programme.lead, colony))[0],
        f.ramets_of(f.collection(programme.lead, **loose, **where))[0],
    ]
    mixed = f.cut(programme.lead, pieces)[0]
    # In turn, for what was asked for one of them must not answer another.
    for actor, exact in [(programme.lead, True), (f.viewer(), False)] * 2:
        found = queries.trace(actor, mixed.code)
        seen = [found.donors[0].position]
        seen += [row.position for row in found.collections if row.colony is None]
        assert [position.exact if position else None for position in seen] == [exact, exact]
        latitudes = {position.latitude for position in seen if position}
        assert latitudes == ({Decimal("7.1234567")} if exact else {Decimal("7.12")})


def test_a_trace_shows_every_step_of_every_ramet(programme: f.Programme) -> None:
    child = line(programme, 1)
    found = queries.trace(programme.lead, child.code)
    mother = found.nodes[1]
    assert [step.what for step in found.head.steps] == [What.BORN]
    assert [step.what for step in mother.steps] == [What.BORN, What.RECEIVED, What.CUT_FROM]
    assert [step.place.kind if step.place else None for step in mother.steps] == [
        Place.PACKED,
        Place.STRUCTURE,
        None,
    ]


def test_pooled_cuttings_lead_to_all_their_colonies(programme: f.Programme) -> None:
    other = f.colony(programme.lead, programme.taxon, programme.reef)
    first = programme.mother()
    second = f.mothers(programme.lead, other, programme.tray)[0]
    pooled = f.cut(programme.lead, [first, second], into=programme.tray)[0]
    child = f.cut(programme.lead, [pooled], when="2021-04-01")[0]
    found = queries.trace(programme.lead, child.code)
    assert {donor.colony for donor in found.donors} == {programme.colony.code, other.code}
    assert len(found.collections) == 2
    assert found.complete
    assert found.genet is None
    assert found.candidate_genets == tuple(sorted([programme.colony.genet.code, other.genet.code]))


def test_a_ramet_reached_by_several_ways_is_shown_once_at_its_nearest(
    programme: f.Programme,
) -> None:
    mother = programme.mother()
    child = f.cut(programme.lead, [mother], into=programme.tray)[0]
    grandchild = f.cut(programme.lead, [child], into=programme.tray, when="2021-04-01")[0]
    pooled = f.cut(programme.lead, [mother, grandchild], when="2021-05-01")[0]
    found = queries.trace(programme.lead, pooled.code)
    assert {node.ramet: node.distance for node in found.nodes} == {
        pooled.code: 0,
        mother.code: 1,
        grandchild.code: 1,
        child.code: 2,
    }


def test_siblings_are_not_on_the_way(programme: f.Programme) -> None:
    mother = programme.mother()
    first, second = f.cut(programme.lead, [mother], 2)
    found = queries.trace(programme.lead, first.code)
    assert second.code not in {node.ramet for node in found.nodes}


def test_legacy_stock_is_a_gap_with_the_donors_it_names(programme: f.Programme) -> None:
    row = {"taxon": programme.taxon.code, "donors": [programme.colony.code]}
    legacy = f.stock(programme.lead, programme.nursery, [row])[0]
    child = f.cut(programme.lead, [legacy])[0]
    found = queries.trace(programme.lead, child.code)
    assert not found.complete
    assert [(gap.ramet, gap.code) for gap in found.gaps] == [(legacy.code, "legacy")]
    assert [donor.colony for donor in found.donors] == [programme.colony.code]
    assert found.genet == programme.colony.genet.code


def test_a_loose_piece_is_a_gap(programme: f.Programme) -> None:
    taken = f.collection(programme.lead, reef=programme.reef.code, taxon=programme.taxon.code)
    loose = f.ramets_of(taken)[0]
    found = queries.trace(programme.lead, loose.code)
    assert [(gap.ramet, gap.code) for gap in found.gaps] == [(loose.code, "collected_loose")]
    assert (found.donors, found.collections[0].colony) == ((), None)


def test_one_gap_among_whole_ways_makes_the_trace_incomplete(programme: f.Programme) -> None:
    legacy = f.stock(programme.lead, programme.nursery, [{"taxon": programme.taxon.code}])[0]
    child = f.cut(programme.lead, [programme.mother(), legacy])[0]
    found = queries.trace(programme.lead, child.code)
    assert not found.complete
    assert [gap.ramet for gap in found.gaps] == [legacy.code]
    assert [donor.colony for donor in found.donors] == [programme.colony.code]


def test_the_candidates_are_the_nearest_known_genets(programme: f.Programme) -> None:
    named = f.genet(programme.lead, programme.taxon)
    row = {"taxon": programme.taxon.code, "genet": named.code}
    legacy = f.stock(programme.lead, programme.nursery, [row])[0]
    pooled = f.cut(programme.lead, [programme.mother(), legacy])[0]
    child = f.cut(programme.lead, [pooled], when="2021-04-01")[0]
    found = queries.trace(programme.lead, child.code)
    assert set(found.candidate_genets) == {named.code, programme.colony.genet.code}


def test_a_merged_genet_is_shown_as_the_one_it_turned_out_to_be(
    programme: f.Programme,
) -> None:
    other = f.genet(programme.lead, programme.taxon)
    Genet.objects.filter(pk=programme.colony.genet_id).update(canonical=other)
    found = queries.trace(programme.lead, line(programme, 1).code)
    assert {node.genet for node in found.nodes} == {other.code}


def test_what_ended_is_shown_as_ended(programme: f.Programme) -> None:
    mother = programme.mother()
    child = f.cut(programme.lead, [], used_up=[mother])[0]
    found = queries.trace(programme.lead, child.code)
    assert [node.life for node in found.nodes] == [Life.LIVING, Life.USED_UP]
    assert found.head.sources[0].used_up


def test_a_trace_can_be_written_as_json(programme: f.Programme) -> None:
    answer: Any = plain(queries.trace(programme.lead, line(programme, 2).code))
    assert answer["nodes"][0]["life"] == "living"
    assert answer["nodes"][2]["origin"] == "collected"
    assert answer["nodes"][2]["born"]["when"] == f.COLLECTED


def test_an_unknown_code_is_told_with_those_near_it(programme: f.Programme) -> None:
    mother = programme.mother()
    wrong = mother.code[:-1] + ("A" if mother.code[-1] != "A" else "B")
    with refused("wrong_check_character", by=Unknown) as caught:
        queries.trace(programme.lead, wrong)
    assert mother.code in str(caught.value)


def test_who_has_no_role_sees_no_trace(programme: f.Programme) -> None:
    mother, nobody = programme.mother(), f.actor()
    with refused("no_role", by=NotAllowed):
        queries.trace(nobody, mother.code)


@pytest.mark.parametrize("generations", [1, 25])
def test_a_long_way_costs_as_many_queries_as_a_short_one(
    programme: f.Programme,
    generations: int,
    django_assert_num_queries: DjangoAssertNumQueries,
) -> None:
    youngest = line(programme, generations)
    with django_assert_num_queries(QUERIES_OF_A_TRACE):
        found = queries.trace(programme.lead, youngest.code)
    assert len(found.nodes) == generations + 1
    assert found.complete


def test_many_mothers_cost_as_many_queries_as_one(
    programme: f.Programme, django_assert_num_queries: DjangoAssertNumQueries
) -> None:
    colonies = [f.colony(programme.lead, programme.taxon, programme.reef) for _ in range(8)]
    mothers = [f.mothers(programme.lead, colony, programme.tray)[0] for colony in colonies]
    child = f.cut(programme.lead, mothers)[0]
    with django_assert_num_queries(QUERIES_OF_A_TRACE):
        found = queries.trace(programme.lead, child.code)
    assert len(found.donors) == 8


def test_a_ramet_that_is_not_what_its_label_said_does_not_lead_to_a_colony(
    programme: f.Programme,
) -> None:
    child = f.cut(programme.lead, [programme.mother()])[0]
    other = f.genet(programme.lead, programme.taxon)
    relabel(programme.lead, [child], other)
    found = queries.trace(programme.lead, child.code)
    assert [gap.code for gap in found.gaps] == ["relabelled"]
    assert other.code in found.gaps[0].message
    relabel(programme.lead, [child], programme.colony.genet, when="2021-08-01")
    assert queries.trace(programme.lead, child.code).complete


def test_a_wild_piece_of_another_genet_than_its_colony_has_a_gap(
    programme: f.Programme,
) -> None:
    mother = programme.mother()
    relabel(programme.lead, [mother], f.genet(programme.lead, programme.taxon))
    child = f.cut(programme.lead, [mother])[0]
    found = queries.trace(programme.lead, child.code)
    assert [(gap.ramet, gap.code) for gap in found.gaps] == [(mother.code, "relabelled")]


def test_one_of_a_pool_that_is_known_by_now_has_no_gap(programme: f.Programme) -> None:
    p = programme
    other = f.colony(p.lead, p.taxon, p.reef)
    child = f.cut(p.lead, [p.mother(), f.mothers(p.lead, other, p.tray)[0]])[0]
    relabel(p.lead, [child], other.genet)
    assert queries.trace(p.lead, child.code).complete


def test_a_found_piece_that_is_a_known_ramet_leads_there(programme: f.Programme) -> None:
    child = programme.outplants()[0]
    f.visit(programme.lead, programme.site, {child: "missing"}, when="2021-06-15")
    row = {"taxon": programme.taxon.code, "origin": "found", "structure": programme.tray.code}
    piece = f.stock(programme.lead, programme.nursery, [row], when="2021-06-20")[0]
    identify(programme.lead, {"ramet": child.code, "found": piece.code})
    found = queries.trace(programme.lead, piece.code)
    assert [gap.code for gap in found.gaps] == ["identified"]
    assert child.code in found.gaps[0].message
