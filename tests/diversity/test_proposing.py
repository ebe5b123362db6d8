"""What is proposed of what the record holds: what is ready, what stands, and what is drafted."""

from __future__ import annotations

import uuid
from collections import Counter
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from nursery.core import registers
from nursery.core.actor import Role
from nursery.core.errors import NotAllowed
from nursery.core.inputs import read
from nursery.diversity.allocation.asked import Kind
from nursery.diversity.proposing import draft_proposal, propose
from nursery.diversity.proposing_answers import Proposal, kept, read_back
from nursery.diversity.proposing_inputs import ProposalIn
from nursery.donors.models import Genet
from nursery.lineage.words import Purpose
from nursery.outplanting.models import Manifest, ManifestLine
from tests import factories as make
from tests.diversity.proposed import asked, said, stocked
from tests.factories import Programme
from tests.lineage.identities import merge
from tests.refusals import refused

pytestmark = pytest.mark.django_db


def plugs_of(proposal: Proposal) -> dict[str, int]:
    """Plugs by genet, over all plots."""
    found: Counter[str] = Counter()
    for plot in proposal.plots:
        for portion in plot.portions:
            found[portion.genet] += portion.plugs
    return dict(found)


def test_plugs_are_shared_out_evenly_and_named(programme: Programme) -> None:
    stock = stocked(programme, 6, 6, 2)
    proposal = propose(programme.lead, asked(programme, 8))
    assert sorted(plugs_of(proposal).values()) == [2, 3, 3]
    (plot,) = proposal.plots
    for portion in plot.portions:
        assert portion.plate == stock.plates[portion.genet].code
        assert set(portion.ramets) < {ramet.code for ramet in stock.plugs[portion.genet]} or (
            portion.plugs == 2
        )
        assert len(set(portion.ramets)) == portion.plugs
    (pool,) = proposal.pools
    assert (pool.ready, pool.ready_genets, pool.plates, pool.broken) == (14, 3, 3, ())
    (side,) = pool.sides
    assert side.before.hill_2 is None
    assert side.after.hill_2 == pytest.approx(64 / 22)
    assert pool.gap == pytest.approx(0.0, abs=1e-9)


def test_what_stands_and_what_is_planned_already_counts(programme: Programme) -> None:
    stock = stocked(programme, 9, 9)
    first, second = stock.genets
    make.planting(programme.lead, programme.plot, stock.plugs[first][:3])
    only_standing = propose(programme.lead, asked(programme, 5))
    assert plugs_of(only_standing) == {first: 1, second: 4}
    make.manifest(programme.lead, programme.plot, stock.plugs[second][:2])
    assert plugs_of(propose(programme.lead, asked(programme, 5))) == {first: 2, second: 3}
    left_out = propose(programme.lead, asked(programme, 5, with_planned=False))
    assert plugs_of(left_out) == {first: 1, second: 4}


def test_what_is_on_an_open_manifest_is_not_offered(programme: Programme) -> None:
    stock = stocked(programme, 4)
    (genet,) = stock.genets
    make.manifest(programme.lead, programme.plot, stock.plugs[genet][:3])
    proposal = propose(programme.lead, asked(programme, 4))
    assert [p.ramets for p in proposal.plots[0].portions] == [(stock.plugs[genet][3].code,)]
    (broken,) = proposal.pools[0].broken
    assert (broken.rule.kind, broken.asked, broken.reached) == (Kind.PLUGS, 4, 1)


@pytest.mark.parametrize("purpose", ["broodstock", "reserve"])
def test_broodstock_and_reserve_are_never_offered(programme: Programme, purpose: str) -> None:
    by = programme.lead
    children = [{"purpose": purpose}, {"purpose": "production"}]
    born = make.cut(by, programme.mothers(), None, into=programme.plate, children=children)
    make.cut(by, [], 1, used_up=programme.mothers())
    proposal = propose(by, asked(programme, 5))
    codes = {code for portion in proposal.plots[0].portions for code in portion.ramets}
    kept_back = next(ramet for ramet in born if ramet.purpose != Purpose.PRODUCTION)
    assert kept_back.code not in codes
    assert next(ramet for ramet in born if ramet != kept_back).code in codes


def test_the_dead_and_the_planted_are_not_offered(programme: Programme) -> None:
    stock = stocked(programme, 4)
    (plugs,) = stock.plugs.values()
    make.check(programme.lead, {plugs[0]: "dead"})
    make.planting(programme.lead, programme.plot, plugs[1:2])
    proposal = propose(programme.lead, asked(programme, 4))
    assert proposal.plots[0].portions[0].ramets == (plugs[2].code, plugs[3].code)


def test_too_young_too_old_and_too_small_are_not_offered(programme: Programme) -> None:
    stock = stocked(programme, 2, 2)
    first, second = stock.plugs.values()
    # Cut on 1 March, planned for 1 July: 122 days.
    assert propose(programme.lead, asked(programme, 4, least_days=122)).given == 4
    assert propose(programme.lead, asked(programme, 4, least_days=123)).given == 0
    assert propose(programme.lead, asked(programme, 4, most_days=122)).given == 4
    assert propose(programme.lead, asked(programme, 4, most_days=121)).given == 0
    findings = [
        {"ramet": first[0].code, "state": "attached", "size_cm": 3},
        {"ramet": second[0].code, "state": "attached", "size_cm": "2.9"},
    ]
    make.check(programme.lead, {}, findings=findings)
    proposal = propose(programme.lead, asked(programme, 4, smallest=3))
    assert [p.ramets for p in proposal.plots[0].portions] == [(first[0].code,)]


def test_only_the_nurseries_that_are_named_are_asked(programme: Programme) -> None:
    stocked(programme, 3)
    other = make.nursery(programme.lead)
    there = make.structure(programme.lead, make.bay(programme.lead, other))
    moved = stocked(programme, 2)
    (plugs,) = moved.plugs.values()
    rows = [{"ramet": ramet.code, "structure": there.code} for ramet in plugs]
    make.move(programme.lead, rows)
    proposal = propose(programme.lead, asked(programme, 9, nurseries=[other.code]))
    assert plugs_of(proposal) == {moved.genets[0]: 2}


def test_merged_genets_are_one(programme: Programme) -> None:
    stock = stocked(programme, 4, 4, 4)
    first, second, third = stock.genets
    kept_genet, merged = (Genet.objects.get(code=code) for code in (first, second))
    merge(programme.lead, kept_genet, merged)
    proposal = propose(programme.lead, asked(programme, 4))
    assert sorted(plugs_of(proposal).values()) == [2, 2]
    assert plugs_of(proposal)[third] == 2


def test_limits_that_clash_are_named_and_broken_least(programme: Programme) -> None:
    stocked(programme, 9, 9)
    proposal = propose(programme.lead, asked(programme, 6, site_limits={"largest_share": "40 %"}))
    (pool,) = proposal.pools
    assert [rule.kind for (rule,) in pool.clashes] == [Kind.LARGEST_SHARE]
    assert [(b.asked, b.reached) for b in pool.broken] == [(0.4, 0.5)]
    assert proposal.given == 6


def test_genets_from_enough_reefs_are_chosen(programme: Programme) -> None:
    stocked(programme, 5, 5)
    elsewhere = make.reef(programme.lead)
    far = make.colony(programme.lead, programme.taxon, elsewhere)
    make.cut(
        programme.lead,
        [],
        1,
        into=programme.plate,
        used_up=make.mothers(programme.lead, far, programme.tray),
    )
    proposal = propose(programme.lead, asked(programme, 2, site_limits={"fewest_reefs": 2}))
    assert far.genet is not None
    assert far.genet.code in plugs_of(proposal)
    assert proposal.pools[0].broken == ()


def test_two_taxa_are_pools_of_their_own_and_share_a_layout(programme: Programme) -> None:
    stocked(programme, 4)
    other = make.taxon(programme.lead)
    colony = make.colony(programme.lead, other, programme.reef)
    make.cut(
        programme.lead,
        [],
        4,
        into=programme.plate,
        used_up=make.mothers(programme.lead, colony, programme.tray),
    )
    body = said(
        programme,
        4,
        layouts=[
            {
                "plot": programme.plot.code,
                "rows": 3,
                "columns": 4,
                "spacing": 50,
                "taxa_apart": True,
            }
        ],
    )
    body["needs"].append({"plot": programme.plot.code, "taxon": other.code, "plugs": 4})
    proposal = propose(programme.lead, read(ProposalIn, body))
    assert [pool.taxon for pool in proposal.pools] == [programme.taxon.code, other.code]
    (plot,) = proposal.plots
    assert plot.layout is not None
    assert (plot.given, len(plot.layout.spots), plot.layout.clashing) == (8, 8, 0)
    assert {spot.ramet for spot in plot.layout.spots} == {
        code for portion in plot.portions for code in portion.ramets
    }


def test_presumed_genets_are_left_out_where_that_is_asked(programme: Programme) -> None:
    stock = stocked(programme, 3, 3)
    known = Genet.objects.get(code=stock.genets[0])
    change = {"status": "confirmed", "panel": "Invented panel", "confirmed_on": "2021-02-01"}
    registers.edit(programme.lead, known, change, None)
    assert len(plugs_of(propose(programme.lead, asked(programme, 6)))) == 2
    left = propose(programme.lead, asked(programme, 6, presumed=False))
    assert plugs_of(left) == {known.code: 3}


def test_neighbours_from_one_reef_are_kept_apart_where_that_is_asked(
    programme: Programme,
) -> None:
    # Three genets of one reef, three plugs of one genet of another.
    stocked(programme, 1, 1, 1)
    far = make.colony(programme.lead, programme.taxon, make.reef(programme.lead))
    mothers = make.mothers(programme.lead, far, programme.tray)
    make.cut(programme.lead, [], 3, into=programme.plate, used_up=mothers)
    grid = {"plot": programme.plot.code, "rows": 1, "columns": 6, "spacing": 50}
    layouts = [{**grid, "kept_apart": "donor_reef"}]
    laid = propose(programme.lead, asked(programme, 6, layouts=layouts)).plots[0].layout
    assert laid is not None
    assert (laid.like, laid.bound) == (0, 0)
    assert far.genet is not None
    # 3 of 6 are of each reef: 2 · 3 · 2 of 6 · 5 pairs of plugs.
    assert laid.expected == pytest.approx(5 * 12 / 30)
    assert [spot.genet == far.genet.code for spot in laid.spots] in (
        [True, False] * 3,
        [False, True] * 3,
    )


def test_what_is_named_wrongly_is_told_at_once(programme: Programme) -> None:
    stocked(programme, 2)
    closed = make.plot(programme.lead, programme.site, closed_on="2021-01-01")
    body: dict[str, Any] = said(
        programme,
        5,
        nurseries=["NOWHERE"],
        layouts=[
            {"plot": "PLOT-X", "rows": 2, "columns": 2, "spacing": 50},
            {"plot": programme.plot.code, "rows": 2, "columns": 2, "spacing": 50},
        ],
    )
    body["needs"] += [
        {"plot": "PLOT-Y", "taxon": programme.taxon.code, "plugs": 1},
        {"plot": closed.code, "taxon": "NO-SUCH", "plugs": 1},
    ]
    codes = (
        *("unknown_plot", "plot_closed", "unknown_taxon", "unknown_nursery"),
        *("layout_of_another_plot", "layout_too_small"),
    )
    with refused(*codes, pointer="#/needs/1/plot"):
        propose(programme.lead, read(ProposalIn, body))


def test_a_plot_is_named_once_a_taxon(programme: Programme) -> None:
    body = said(programme, 5)
    with refused("named_twice"):
        read(ProposalIn, {**body, "needs": body["needs"] * 2})


@pytest.mark.parametrize("role", [Role.FIELD, Role.NURSERY, Role.VIEWER])
def test_only_a_lead_proposes(programme: Programme, role: Role) -> None:
    person = make.actor(role, at=programme.nursery)
    with refused("not_allowed", by=NotAllowed):
        propose(person, asked(programme, 1))


# --- manifests -----------------------------------------------------------------------------------


def test_a_manifest_is_drafted_for_each_site_and_only_once(programme: Programme) -> None:
    stocked(programme, 5, 5)
    other = make.plot(programme.lead, make.site(programme.lead))
    body = said(programme, 4)
    body["needs"].append({"plot": other.code, "taxon": programme.taxon.code, "plugs": 3})
    proposal = propose(programme.lead, read(ProposalIn, body))
    uid = uuid.uuid4()
    drafted = draft_proposal(programme.lead, proposal, uid)
    assert all(each.fresh for each in drafted)
    again = draft_proposal(programme.lead, proposal, uid)
    assert [each.manifest for each in again] == [each.manifest for each in drafted]
    assert not any(each.fresh for each in again)
    lines = Counter(ManifestLine.objects.values_list("manifest__site__code", "plot__code"))
    assert lines == {
        (programme.site.code, programme.plot.code): 4,
        (other.site.code, other.code): 3,
    }
    assert set(Manifest.objects.values_list("title", flat=True)) == {"An invented day"}


def test_positions_and_clusters_come_onto_the_manifest(programme: Programme) -> None:
    stocked(programme, 4, 4)
    layout = {"plot": programme.plot.code, "rows": 2, "columns": 4, "spacing": 30, "unit": 4}
    proposal = propose(programme.lead, asked(programme, 8, layouts=[layout]))
    draft_proposal(programme.lead, proposal, uuid.uuid4())
    rows = ManifestLine.objects.values_list("cluster", "position", "ramet__genet__code")
    of: dict[str, set[str]] = {}
    for cluster, position, genet in rows:
        of.setdefault(f"{cluster} {genet}", set()).add(position)
    # Four of one genet side by side, and four of the other.
    assert sorted(map(sorted, of.values())) == [["A1", "A2", "B1", "B2"], ["C1", "C2", "D1", "D2"]]


def test_a_ramet_that_died_since_is_refused_and_nothing_is_drafted(programme: Programme) -> None:
    stock = stocked(programme, 3)
    proposal = propose(programme.lead, asked(programme, 3))
    (plugs,) = stock.plugs.values()
    make.check(programme.lead, {plugs[0]: "dead"})
    with refused("not_living"):
        draft_proposal(programme.lead, proposal, uuid.uuid4())


def test_nothing_proposed_is_no_manifest(programme: Programme) -> None:
    proposal = propose(programme.lead, asked(programme, 3))
    with refused("nothing_proposed"):
        draft_proposal(programme.lead, proposal, uuid.uuid4())


def test_a_proposal_is_kept_and_read_back(programme: Programme) -> None:
    stocked(programme, 3, 3)
    layout = {"plot": programme.plot.code, "rows": 2, "columns": 2, "spacing": 30}
    proposal = propose(programme.lead, asked(programme, 4, layouts=[layout]))
    assert read_back(kept(proposal)) == proposal


def test_the_queries_do_not_grow_with_plugs_genets_and_plots(programme: Programme) -> None:
    def cost(given: ProposalIn) -> int:
        with CaptureQueriesContext(connection) as sent:
            propose(programme.lead, given)
        return len(sent)

    stocked(programme, 2)
    few = cost(asked(programme, 1))
    stocked(programme, 4, 5, 6)
    body = said(programme, 9)
    for _ in range(3):
        plot = make.plot(programme.lead, make.site(programme.lead))
        body["needs"].append({"plot": plot.code, "taxon": programme.taxon.code, "plugs": 1})
    assert cost(read(ProposalIn, body)) == few <= 14


def test_permits_of_a_proposal_are_named_by_its_manifest(programme: Programme) -> None:
    stocked(programme, 2)
    permit = make.permit(programme.lead).code
    proposal = propose(programme.lead, asked(programme, 2, permits=[permit]))
    (drafted,) = draft_proposal(programme.lead, proposal, uuid.uuid4())
    assert [row.code for row in drafted.manifest.permits.all()] == [permit]
    with refused("unknown_permit"):
        propose(programme.lead, asked(programme, 2, permits=["NOSUCH"]))
