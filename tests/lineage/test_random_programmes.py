"""Whatever a programme does: descent, caches and ledger agree with a reckoning of their own."""

from __future__ import annotations

from itertools import count

import networkx as nx  # type: ignore[import-untyped]
import pytest
from django.db.models.expressions import RawSQL
from hypothesis import given, settings

from nursery.donors.models import DonorColony, DonorSetMember
from nursery.lineage import queries, walk
from nursery.lineage.models import Ramet, Step
from nursery.lineage.rows import change_of, key_of, state_of
from nursery.lineage.timeline import Line, states
from nursery.lineage.words import Life
from tests import factories as f
from tests.lineage.programmes import Act, plans, programme_done

pytestmark = pytest.mark.django_db

few = settings(max_examples=15)


def codes_of(ids: RawSQL) -> set[str]:
    return set(Ramet.objects.filter(pk__in=ids).values_list("code", flat=True))


def histories() -> dict[int, list[Line]]:
    """The live steps of every ramet, which are numbered from 1 without a gap."""
    found: dict[int, list[Line]] = {}
    orders: dict[int, count[int]] = {}
    for step in Step.objects.filter(live=True).select_related("event").order_by("order", "pk"):
        assert step.order == next(orders.setdefault(step.ramet_id, count(1)))
        found.setdefault(step.ramet_id, []).append(Line(key_of(step.event), change_of(step)))
    return found


@given(plan=plans)
@few
def test_the_walk_agrees_with_that_of_a_graph_library(
    standing: f.Programme, plan: list[Act]
) -> None:
    # Beside: networkx.descendants. The way back is that of the traces.
    with programme_done(standing, plan) as reckoning:
        for code, known in reckoning.known.items():
            after = nx.descendants(reckoning.graph, code) | {code}
            assert codes_of(walk.descendants(known.pk)) == after


@given(plan=plans)
@few
def test_traces_end_at_the_sources_of_a_reckoning(standing: f.Programme, plan: list[Act]) -> None:
    with programme_done(standing, plan) as reckoning:
        for code in sorted(reckoning.known)[-4:]:
            known = reckoning.known[code]
            found = queries.trace(standing.lead, code)
            assert {node.ramet for node in found.nodes} == (
                nx.ancestors(reckoning.graph, code) | {code}
            )
            assert {donor.colony for donor in found.donors} == known.donors
            assert {row.event.uid for row in found.collections} == known.collections
            assert found.complete == known.whole
            assert {node.ramet: node.distance for node in found.nodes} == (
                nx.single_source_shortest_path_length(reckoning.graph.reverse(), code)
            )


@given(plan=plans)
@few
def test_descendants_by_donor_and_genet_agree_with_a_reckoning(
    standing: f.Programme, plan: list[Act]
) -> None:
    with programme_done(standing, plan) as reckoning:
        for colony in reckoning.colonies:
            found = set(queries.of_donor(colony).values_list("code", flat=True))
            assert found == {
                code for code, known in reckoning.known.items() if colony.code in known.donors
            }
            found = set(queries.of_genet(colony.genet).values_list("code", flat=True))
            assert found == {
                code for code, known in reckoning.known.items() if known.genet == colony.genet_id
            }


@given(plan=plans)
@few
def test_genet_donors_and_generation_are_cached_as_they_descend(
    standing: f.Programme, plan: list[Act]
) -> None:
    with programme_done(standing, plan) as reckoning:
        donors: dict[int, set[str]] = {}
        members = DonorSetMember.objects.values_list("donor_set", "colony__code")
        for donor_set, colony in members:
            donors.setdefault(donor_set, set()).add(colony)
        for ramet in Ramet.objects.filter(code__in=reckoning.known):
            known = reckoning.known[ramet.code]
            assert ramet.genet_id == known.genet
            assert ramet.generation == known.generation
            assert donors.get(ramet.donor_set_id or 0, set()) == known.donors


@given(plan=plans)
@few
def test_the_generation_is_the_longest_way_from_the_wild(
    standing: f.Programme, plan: list[Act]
) -> None:
    # Beside: networkx.dag_longest_path_length over all that a ramet was cut from.
    with programme_done(standing, plan) as reckoning:
        wild = {
            ramet.code: ramet.generation
            for ramet in Ramet.objects.filter(code__in=reckoning.known)
            if ramet.collection_id or ramet.fragmentation_id
        }
        for code, generation in wild.items():
            way = nx.ancestors(reckoning.graph, code) | {code}
            if way <= wild.keys():
                longest = nx.dag_longest_path_length(reckoning.graph.subgraph(way))
                assert generation == longest


@given(plan=plans)
@few
def test_what_a_ramet_is_now_is_the_fold_of_its_steps(
    standing: f.Programme, plan: list[Act]
) -> None:
    with programme_done(standing, plan) as reckoning:
        steps = histories()
        rows = {ramet.pk: ramet for ramet in Ramet.objects.all()}
        assert steps.keys() == rows.keys()
        for pk, history in steps.items():
            assert states(history)[-1] == state_of(rows[pk])
        for known in reckoning.known.values():
            assert (rows[known.pk].life, rows[known.pk].place) == (known.life, known.place)


@given(plan=plans)
@few
def test_no_cell_is_held_twice(standing: f.Programme, plan: list[Act]) -> None:
    with programme_done(standing, plan):
        cells = list(
            Ramet.objects.filter(life=Life.LIVING, row__isnull=False).values_list(
                "structure", "row", "column"
            )
        )
        assert len(cells) == len(set(cells))
        for ramet in Ramet.objects.filter(row__isnull=False).select_related("structure"):
            assert ramet.structure is not None
            grid, cell = ramet.structure.grid, ramet.cell
            assert grid is not None
            assert cell is not None
            assert grid.holds(cell)


def test_the_plans_reach_what_they_are_meant_to_reach(standing: f.Programme) -> None:
    """A plan by hand: pooling, using up, planting, losing, and what must be refused."""
    no, day = (False, False, False), "day"
    plan = [
        Act("collect", (0,), 2, (False, True, False), day),
        Act("collect", (1,), 1, (False, True, False), day),
        Act("cut", (0, 1, 2), 2, (True, False, False), "month"),
        Act("cut", (0, 1, 2, 3, 4), 1, no, day),
        Act("plant", (0,), 1, no, day),
        Act("plant", (0,), 1, no, day),
        Act("visit", (0,), 2, no, "year"),
        Act("stock", (0,), 1, no, day),
    ]
    with programme_done(standing, plan) as reckoning:
        assert reckoning.refusals == 2
        assert {known.life for known in reckoning.known.values()} == {
            Life.LIVING,
            Life.USED_UP,
            Life.DEAD,
        }
        assert any(len(known.donors) > 1 for known in reckoning.known.values())
        assert DonorColony.objects.count() == 3
