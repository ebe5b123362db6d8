"""Two genets turn out to be one individual."""

from __future__ import annotations

from itertools import permutations
from uuid import uuid4

import networkx as nx
import pytest
from hypothesis import given
from hypothesis import strategies as st

from nursery.core.actor import Role
from nursery.core.errors import Conflict, NotAllowed
from nursery.core.models import Event
from nursery.donors.merging import canonical, canonical_anew, joined_by
from nursery.donors.models import Genet, GenetMerge
from nursery.lineage.actions.merge import follow
from nursery.lineage.models import Step
from nursery.lineage.regrouping import Tally, Turn, Where
from tests import factories as f
from tests.lineage.identities import genets, known_as, merge, merging_effect, other_genet, relabel
from tests.refusals import everything_stored, refused

# Reckoned


def test_a_merged_genet_is_known_as_the_one_that_was_kept() -> None:
    assert canonical([(1, 2)]) == {1: 1, 2: 1}


def test_the_kept_one_of_the_last_joining_merge_wins() -> None:
    assert canonical([(1, 2), (3, 1)]) == {1: 3, 2: 3, 3: 3}
    assert canonical([(1, 2), (3, 4), (2, 3)]) == {1: 2, 2: 2, 3: 2, 4: 2}


def test_a_merge_of_what_is_one_already_decides_nothing() -> None:
    assert canonical([(1, 2), (2, 3), (3, 1)]) == {1: 2, 2: 2, 3: 2}


def test_no_merge_no_canonical_genet() -> None:
    assert canonical([]) == {}


EDGES = st.lists(
    st.tuples(st.integers(0, 7), st.integers(0, 7)).filter(lambda edge: edge[0] != edge[1]),
    max_size=12,
)


@given(EDGES)
def test_what_hangs_together_is_known_as_one_of_its_own(edges: list[tuple[int, int]]) -> None:
    known = canonical(edges)
    graph = nx.Graph(edges)
    assert known.keys() == set(graph)
    for group in nx.connected_components(graph):
        heads = {known[genet] for genet in group}
        assert len(heads) == 1
        assert heads <= group


@given(EDGES)
def test_the_merge_that_joined_two_is_the_first_after_which_there_is_a_way(
    edges: list[tuple[int, int]],
) -> None:
    found = joined_by(edges, 0, 1)
    ways = []
    for number in range(len(edges)):
        graph = nx.Graph(edges[: number + 1])
        graph.add_nodes_from([0, 1])
        ways.append(nx.has_path(graph, 0, 1))
    assert found == (ways.index(True) if True in ways else None)


# Recorded


@pytest.fixture
def first(programme: f.Programme) -> Genet:
    return programme.colony.genet


def undo(event: Event) -> None:
    """What a void does to a merge."""
    Event.objects.filter(pk=event.pk).update(live=False)
    row = GenetMerge.objects.get(event=event)
    follow(canonical_anew([row.kept_id, row.merged_id]))


def test_a_merge_is_an_edge_without_steps(programme: f.Programme, first: Genet) -> None:
    second = f.genet(programme.lead, programme.taxon)
    event = merge(programme.lead, first, second)
    row = GenetMerge.objects.get(event=event)
    assert (row.kept, row.merged) == (first, second)
    assert not Step.objects.filter(event=event).exists()
    assert known_as(first, second) == [first.code, first.code]


def test_ramets_keep_the_genet_that_is_written_on_them(
    programme: f.Programme, first: Genet
) -> None:
    second, ramet = other_genet(programme)
    merge(programme.lead, first, second)
    assert genets(ramet) == [second.code]


def test_no_canonical_genet_has_one_itself(programme: f.Programme) -> None:
    rows = [f.genet(programme.lead, programme.taxon) for _ in range(4)]
    a, b, c, d = rows
    merge(programme.lead, a, b)
    merge(programme.lead, c, d)
    merge(programme.lead, c, b)
    assert known_as(*rows) == [c.code] * 4
    assert not Genet.objects.filter(canonical__canonical__isnull=False).exists()


def test_merges_of_different_days_give_the_same_in_whatever_order_they_are_entered(
    programme: f.Programme,
) -> None:
    for order in permutations(range(3)):
        a, b, c, d = (f.genet(programme.lead, programme.taxon) for _ in range(4))
        merges = [("2021-07-01", a, b), ("2021-07-02", c, a), ("2021-07-03", b, d)]
        for number in order:
            when, kept, merged = merges[number]
            merge(programme.lead, kept, merged, when=when)
        assert known_as(a, b, c, d) == [b.code] * 4


def test_a_vague_merge_stands_after_an_exact_one_within_its_date(programme: f.Programme) -> None:
    a, b, c = (f.genet(programme.lead, programme.taxon) for _ in range(3))
    merge(programme.lead, a, b, when="2021-07-20")
    merge(programme.lead, c, a, when="2021-07")
    assert known_as(a, b, c) == [c.code] * 3


def test_pooled_children_are_of_the_genet_that_their_sources_turn_out_to_be_of(
    programme: f.Programme, first: Genet
) -> None:
    mother = programme.mother()
    second, other = other_genet(programme)
    child = f.cut(programme.lead, [mother, other])[0]
    grandchild = f.cut(programme.lead, [child, mother], when="2021-04-01")[0]
    assert genets(child, grandchild) == [None, None]
    merge(programme.lead, second, first)
    assert genets(child, grandchild) == [second.code, second.code]
    assert genets(f.cut(programme.lead, [mother, other], when="2021-08-01")[0]) == [second.code]


def test_children_of_a_pool_with_a_third_genet_stay_without_one(
    programme: f.Programme, first: Genet
) -> None:
    second, other = other_genet(programme)
    _, third = other_genet(programme)
    child = f.cut(programme.lead, [programme.mother(), other, third])[0]
    merge(programme.lead, first, second)
    assert genets(child) == [None]


def test_a_merge_that_is_undone_leaves_everything_as_it_was(
    programme: f.Programme, first: Genet
) -> None:
    mother = programme.mother()
    second, other = other_genet(programme)
    child = f.cut(programme.lead, [mother, other])[0]
    grandchild = f.cut(programme.lead, [child, mother], when="2021-04-01")[0]
    event = merge(programme.lead, first, second)
    assert genets(child, grandchild) == [first.code, first.code]
    undo(event)
    assert genets(child, grandchild) == [None, None]
    assert known_as(first, second) == [first.code, second.code]


def test_the_middle_merge_of_a_chain_undone_leaves_two_groups(programme: f.Programme) -> None:
    a, b, c, d = rows = [f.genet(programme.lead, programme.taxon) for _ in range(4)]
    merge(programme.lead, a, b, when="2021-07-01")
    middle = merge(programme.lead, c, b, when="2021-07-02")
    merge(programme.lead, c, d, when="2021-07-03")
    undo(middle)
    assert known_as(*rows) == [a.code, a.code, c.code, c.code]
    merge(programme.lead, d, b, when="2021-07-04")
    assert known_as(*rows) == [d.code] * 4


def test_a_relabelled_source_counts_as_what_it_was_relabelled_to(
    programme: f.Programme, first: Genet
) -> None:
    mother = programme.mother()
    second, other = other_genet(programme)
    third = f.genet(programme.lead, programme.taxon)
    child = f.cut(programme.lead, [mother, other])[0]
    relabel(programme.lead, [mother], third)
    merge(programme.lead, third, second)
    assert genets(child) == [third.code]


# Refused


def test_a_genet_merged_with_itself_is_refused(programme: f.Programme, first: Genet) -> None:
    with refused("merged_with_itself", pointer="#/merged"):
        merge(programme.lead, first, first)


def test_two_that_are_one_already_are_refused_with_both_dates(programme: f.Programme) -> None:
    a, b, c = (f.genet(programme.lead, programme.taxon) for _ in range(3))
    merge(programme.lead, a, b, when="2021-07-01")
    merge(programme.lead, b, c, when="2021-07-02")
    with refused("merged_already", pointer="#/merged") as caught:
        merge(programme.lead, c, a, when="2021-07-03")
    message = caught.value.problems[0].message
    assert "2 July 2021" in message
    assert "3 July 2021" in message
    with refused("merged_already"):
        merge(programme.lead, b, a)


def test_genets_of_two_taxa_are_refused(programme: f.Programme, first: Genet) -> None:
    stranger = f.genet(programme.lead, f.taxon(programme.lead))
    with refused("genet_other_taxon", pointer="#/merged"):
        merge(programme.lead, first, stranger)


def test_genets_that_are_not_registered_are_refused(programme: f.Programme, first: Genet) -> None:
    unknown = Genet(code="NONE", taxon=programme.taxon)
    with refused("unknown_genet", pointer="#/merged"):
        merge(programme.lead, first, unknown)
    with refused("unknown_genet", pointer="#/kept"):
        merge(programme.lead, unknown, first)


@pytest.mark.parametrize("role", [Role.VIEWER, Role.FIELD, Role.NURSERY])
def test_only_a_lead_merges(programme: f.Programme, first: Genet, role: Role) -> None:
    second = f.genet(programme.lead, programme.taxon)
    by = f.actor(role, at=programme.nursery)
    with refused("not_allowed", by=NotAllowed):
        merge(by, first, second)
    with refused("not_allowed", by=NotAllowed):
        merging_effect(by, first, second)


def test_a_merge_that_is_sent_twice_is_one(programme: f.Programme, first: Genet) -> None:
    second = f.genet(programme.lead, programme.taxon)
    uid = str(uuid4())
    event = merge(programme.lead, first, second, uid=uid)
    assert merge(programme.lead, first, second, uid=uid) == event
    assert GenetMerge.objects.count() == 1
    with refused("uid_taken", by=Conflict):
        merge(programme.lead, second, first, uid=uid)


# Shown before it is done


def test_a_preview_counts_the_living_of_each_place_and_genet_and_keeps_nothing(
    programme: f.Programme, first: Genet
) -> None:
    mother = programme.mother()
    second, other = other_genet(programme)
    planted = [
        *f.cut(programme.lead, [mother], 2),
        *f.cut(programme.lead, [other], 3),
        *f.cut(programme.lead, [mother, other], 1),
    ]
    f.planting(programme.lead, programme.plot, planted)
    f.visit(programme.lead, programme.site, {planted[2]: "dead"})
    before = everything_stored()
    effect = merging_effect(programme.lead, first, second)
    assert everything_stored() == before
    site, nursery = Where("site", programme.site.code), Where("nursery", programme.nursery.code)
    assert set(effect.turns) == {
        Turn(second.code, first.code, nursery, 1, 1),
        Turn(second.code, first.code, site, 3, 2),
        Turn("", first.code, site, 1, 1),
    }
    assert (effect.ramets, effect.living) == (5, 4)
    assert set(effect.tallies) == {
        Tally(nursery, first.code, 1, 2),
        Tally(nursery, second.code, 1, 0),
        Tally(site, first.code, 2, 5),
        Tally(site, second.code, 2, 0),
        Tally(site, "", 1, 0),
    }
