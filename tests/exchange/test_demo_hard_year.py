"""The hard year of the demo: each of its cases is on record as it was meant, and told truly."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from django.core.management import call_command
from django.db import transaction
from pytest_django.plugin import DjangoDbBlocker

from fixtures.invented.hard_acts import FAR_OFF, NEXT_DOOR, genet_of
from fixtures.make_demo import DEMO
from nursery.access.models import Membership
from nursery.core.actor import Actor, Role
from nursery.core.models import Correction, Event, EventKind, Mend, User
from nursery.donors.models import Genet
from nursery.lineage.models import (
    Identification,
    Parent,
    Ramet,
    Source,
    Step,
    StockEntry,
    StructureCount,
    Tag,
)
from nursery.lineage.words import Life, Origin, Place, What
from nursery.outplanting.models import Outplant, PlotCount
from nursery.outplanting.queries import trace
from nursery.outplanting.unsettled import unsettled
from nursery.places.models import Structure
from tests.verified import nothing_wrong

CONSOLE = Actor(user_id=0, name="the tests", roles=frozenset({Role.LEAD}))


@pytest.fixture(scope="module")
def loaded(django_db_setup: None, django_db_blocker: DjangoDbBlocker) -> Iterator[None]:
    """The demo's files on record, for all tests of this module."""
    with django_db_blocker.unblock(), transaction.atomic():
        user = User.objects.create(username="loader")
        Membership.objects.create(user=user, role=Role.LEAD)
        call_command("load_records", str(DEMO), "--as", "loader", verbosity=0)
        yield
        transaction.set_rollback(True)


@pytest.fixture(autouse=True)
def _on_record(loaded: None, db: None) -> None:
    """Each test reads it."""


def genets(*colonies: str) -> set[str]:
    return {genet_of(colony) for colony in colonies}


def test_nothing_is_wrong_in_it() -> None:
    nothing_wrong()


def test_every_kind_of_entry_happens() -> None:
    assert set(Event.objects.values_list("kind", flat=True)) == set(EventKind.numbers())


def test_a_collection_came_from_the_next_colony_and_all_that_was_cut_from_it() -> None:
    change = Correction.objects.get(changes__colony__isnull=False).changes["colony"]
    assert change == list(NEXT_DOOR)
    assert not Ramet.objects.filter(genet__code=genet_of(NEXT_DOOR[0])).exists()
    planted = Ramet.objects.filter(genet__code=genet_of(NEXT_DOOR[1]), place=Place.PLOT)
    found = trace(CONSOLE, planted.order_by("pk")[0].code)
    assert [donor.colony for donor in found.donors] == [NEXT_DOOR[1]]
    assert found.complete


def test_a_cutting_was_given_another_mother_and_an_entry_another_day_and_people() -> None:
    changes = [row.changes for row in Correction.objects.filter(mend=Mend.AMENDED)]
    assert any("sources" in change for change in changes)
    assert any({"when", "done_by"} <= change.keys() for change in changes)


def test_an_entry_made_twice_is_void_with_what_hung_on_it() -> None:
    voids = Correction.objects.filter(mend=Mend.VOIDED)
    assert [row.event.kind for row in voids] == [EventKind.MOVE, EventKind.FRAGMENTATION]
    assert len({row.together for row in voids}) == 1
    assert Ramet.everything.filter(life=Life.NEVER).count() == 2


def test_a_vague_sheet_stands_within_its_month() -> None:
    step = Step.objects.filter(what=What.REBASED, live=True)[0]
    assert str(step.event.when) == "2026-03"
    assert step.ramet.base_now == "cement disc"


def test_a_relabelled_ramet_took_its_cuttings_with_it() -> None:
    step = Step.objects.get(
        event__relabelling__genet__code=genet_of(FAR_OFF[1]), what=What.RELABELLED
    )
    children = Ramet.objects.filter(fragmentation__sources__ramet=step.ramet)
    assert {child.genet_id for child in children} == {step.event.relabelling.genet_id}


def test_two_genets_turned_out_to_be_one() -> None:
    merged = Genet.objects.get(code=genet_of(FAR_OFF[1]))
    assert merged.canonical == Genet.objects.get(code=genet_of(FAR_OFF[0]))


def test_a_mixed_pool_is_resolved_in_part() -> None:
    pooled = [
        row.fragmentation
        for row in Source.objects.filter(ramet__genet__code=genet_of(NEXT_DOOR[1]))
        if len({s.ramet.genet_id for s in row.fragmentation.sources.all()}) == 2
    ]
    children = Ramet.objects.filter(fragmentation=pooled[0])
    assert children.filter(genet__code=genet_of(FAR_OFF[0])).count() == 5
    left = children.filter(genet__isnull=True)
    assert left.count() == 7
    found = trace(CONSOLE, left[0].code)
    assert set(found.candidate_genets) == genets(NEXT_DOOR[1], FAR_OFF[0])


def test_nine_of_sixty_on_a_rope_died_by_count() -> None:
    row = StructureCount.objects.get(lot__isnull=False)
    assert (row.dead, row.alive) == (9, 51)
    assert Step.objects.filter(event=row.event, what=What.COUNTED_DEAD, live=True).count() == 9


def test_counts_that_change_no_ramet_are_kept() -> None:
    assert StructureCount.objects.filter(lot__isnull=True, structure__rows=11).exists()
    assert PlotCount.objects.filter(genet__isnull=False).exists()
    assert PlotCount.objects.filter(taxon__isnull=False).exists()


def test_loose_pieces_are_identified_as_a_ramet_and_as_a_genet() -> None:
    row = Identification.objects.get()
    assert row.found is not None
    assert (row.found.life, row.ramet.life) == (Life.IDENTIFIED, Life.LIVING)
    found = Ramet.objects.filter(origin=Origin.FOUND, life=Life.LIVING)
    assert sorted(piece.genet is None for piece in found) == [False, True]


def test_settled_and_received_ramets_are_on_record() -> None:
    assert Parent.objects.filter(ramet__origin=Origin.SETTLED).count() == 4
    assert StockEntry.objects.exclude(programme="").count() == 1
    assert not trace(CONSOLE, Ramet.objects.filter(origin=Origin.RECEIVED)[0].code).complete


def test_a_lost_tag_is_used_again_on_another_ramet() -> None:
    first, second = Tag.objects.filter(text="HY 2").order_by("since")
    assert first.lost
    assert first.ramet != second.ramet
    assert trace(CONSOLE, "HY 2").ramet == second.ramet.code


def test_a_tree_was_lost_with_all_it_held() -> None:
    tree = Structure.objects.get(lost=True)
    held = Ramet.objects.filter(structure=tree)
    assert {row.life for row in held} == {Life.LOST}
    assert held.count() == 6


def test_a_rock_was_planted_as_one_and_is_traced_one_by_one() -> None:
    rows = Outplant.objects.filter(structure__kind="rock")
    assert len(rows) == 3
    assert len({row.ramet.genet_id for row in rows}) == 3
    assert all(trace(CONSOLE, row.ramet.code).outplants for row in rows)


def test_forty_were_lifted_before_the_heat_and_planted_elsewhere() -> None:
    lifted = Ramet.objects.filter(steps__what=What.LIFTED, steps__live=True)
    assert lifted.count() == 40
    assert {row.plot.code for row in lifted if row.plot} == {"FO-2"}
    assert [row.plot for row in trace(CONSOLE, lifted[1].code).outplants] == ["MF-1", "FO-2"]


def test_a_living_outplant_was_cut_and_a_dead_spot_replanted() -> None:
    cut = Step.objects.filter(what=What.CUT_FROM, ramet__outplants__isnull=False, live=True)
    assert cut.exists()
    planted = Outplant.objects.filter(outplanting__plot__code="MF-1", position="HY-1")
    assert planted.count() == 2


def test_what_disagrees_is_told_to_a_lead() -> None:
    told = {row.code for row in unsettled(CONSOLE)}
    assert told >= {
        "sightings_disagree",
        "count_differs",
        "irregular_collection",
        "irregular_outplanting",
        "pooled",
        "unidentified",
    }
