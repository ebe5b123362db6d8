"""Bags on their way: what is in them, what was cut aboard, and how they are taken in."""

import datetime
import uuid
from typing import Any

import pytest

from nursery.core.errors import Conflict, NotAllowed
from nursery.core.inputs import read
from nursery.core.models import Event, EventKind
from nursery.donors.models import Collection
from nursery.lineage.actions.arrive import arrive
from nursery.lineage.bags import Bag, bag_of, bags_of, days, free_cells
from nursery.lineage.inputs.aboard import ArrivalsIn
from nursery.lineage.models import Life, Ramet
from nursery.lineage.words import Cause, Place
from tests import factories as make
from tests.outplanting.reef import now
from tests.refusals import refused
from tests.verified import nothing_wrong

pytestmark = pytest.mark.django_db
TRIP = datetime.date(2021, 1, 10)


def collected(programme: make.Programme, count: int = 3) -> tuple[Collection, list[Ramet]]:
    collection = make.collection(programme.lead, programme.colony, count=count)
    return collection, make.ramets_of(collection)


def aboard(programme: make.Programme, source: Ramet, count: int = 2) -> list[Ramet]:
    return make.cut(programme.lead, [], count, used_up=[source], when=make.COLLECTED)


def given(programme: make.Programme, collection: Collection, **values: Any) -> ArrivalsIn:
    usual = {
        "when": make.RECEIVED,
        "collection": str(collection.event.uid),
        "nursery": programme.nursery.code,
        "structure": programme.plate.code,
    }
    return read(ArrivalsIn, {**usual, **values})


def rows(*ramets: Ramet, **values: Any) -> list[dict[str, Any]]:
    return [{"ramet": ramet.code, **values} for ramet in ramets]


def codes(bag: Bag) -> set[str]:
    return {row.code for row in bag.inside}


# Bags


def test_a_trip_has_a_bag_for_each_collection(programme: make.Programme) -> None:
    first, one = collected(programme, 2)
    second, other = collected(programme, 1)
    bags = bags_of(TRIP)
    assert [(bag.number, bag.collection) for bag in bags] == [(1, first), (2, second)]
    assert [codes(bag) for bag in bags] == [{row.code for row in one}, {row.code for row in other}]
    assert days() == [TRIP]
    assert bag_of(second.event).number == 2


def test_what_was_cut_aboard_is_in_the_bag_of_its_source(programme: make.Programme) -> None:
    collection, (one, other, third) = collected(programme)
    children = aboard(programme, one)
    again = aboard(programme, children[0], 3)
    bag = bag_of(collection.event)
    assert bag.cut_aboard == [*children, *again]
    assert codes(bag) == {row.code for row in (other, third, children[1], *again)}


def test_what_has_arrived_is_under_way_no_more_not_even_packed_again(
    programme: make.Programme,
) -> None:
    collection, pieces = collected(programme, 2)
    (child,) = aboard(programme, pieces[0], 1)
    said = given(programme, collection, pieces=rows(pieces[1]), cut_aboard=rows(child))
    arrive(programme.lead, said)
    make.move(programme.lead, rows(pieces[1], child), packed=True, when="2021-02-01")
    assert codes(bag_of(collection.event)) == set()
    assert days() == []


def test_what_is_cut_in_the_nursery_is_in_no_bag(programme: make.Programme) -> None:
    collection, (piece,) = collected(programme, 1)
    arrive(programme.lead, given(programme, collection, pieces=rows(piece)))
    children = make.cut(programme.lead, [now(piece)], 2)
    make.move(programme.lead, rows(*children), packed=True, when="2021-04-01")
    assert codes(bag_of(collection.event)) == set()


def test_bags_cost_no_more_for_more_in_them(
    programme: make.Programme, django_assert_num_queries: Any
) -> None:
    for n in (1, 12):
        for piece in collected(programme, n)[1]:
            aboard(programme, piece, 2)
        with django_assert_num_queries(7):
            assert sum(len(bag.inside) for bag in bags_of(TRIP)) in (2, 26)


def test_free_cells_come_in_the_order_in_which_they_are_filled(
    programme: make.Programme,
) -> None:
    make.cut(
        programme.lead,
        programme.mothers(),
        children=[{"cell": "B1"}, {"cell": "C1"}],
        structure=programme.plate.code,
    )
    assert [cell.name for cell in free_cells(programme.plate)[:3]] == ["A1", "D1", "E1"]
    assert free_cells(programme.tray) == []


# Arrivals


def test_pieces_and_what_was_cut_aboard_arrive_together(programme: make.Programme) -> None:
    collection, (one, two, three) = collected(programme)
    first, second, third = aboard(programme, three, 3)
    done = arrive(
        programme.lead,
        given(
            programme,
            collection,
            pieces=[
                {"ramet": one.code, "tag": "T-1"},
                {"ramet": two.code, "outcome": "dead", "cause": "handling"},
            ],
            cut_aboard=[
                {"ramet": first.code},
                {"ramet": second.code, "outcome": "dead", "cause": "handling"},
                {"ramet": third.code, "outcome": "lost"},
            ],
        ),
    )
    kinds = [EventKind.INTAKE, EventKind.MOVE, EventKind.ENDING]
    assert [recorded.event.kind for recorded in done] == kinds
    assert [str(now(row).cell) for row in (one, first)] == ["A1", "B1"]
    assert [now(row).life for row in (two, second, third)] == [Life.DEAD, Life.DEAD, Life.LOST]
    assert now(second).cause == Cause.HANDLING
    assert now(one).tags.get().text == "T-1"
    nothing_wrong()


def test_what_has_no_structure_yet_stays_packed(programme: make.Programme) -> None:
    collection, (piece,) = collected(programme, 1)
    arrive(programme.lead, given(programme, collection, structure=None, pieces=rows(piece)))
    assert now(piece).place == Place.PACKED
    other, (source,) = collected(programme, 1)
    (child,) = aboard(programme, source, 1)
    with refused("where_to"):
        arrive(programme.lead, given(programme, other, structure=None, cut_aboard=rows(child)))


def test_only_what_came_of_the_collection_arrives_with_it(programme: make.Programme) -> None:
    collection, _pieces = collected(programme)
    _other, (source,) = collected(programme, 1)
    strangers = [*aboard(programme, source, 1), programme.mother()]
    with refused("not_of_collection", "not_of_collection", pointer="#/cut_aboard/0/ramet"):
        arrive(programme.lead, given(programme, collection, cut_aboard=rows(*strangers)))


def test_a_part_that_is_refused_refuses_all_of_it_and_says_where(
    programme: make.Programme,
) -> None:
    collection, (one, source) = collected(programme, 2)
    first, second = aboard(programme, source, 2)
    cut = [
        {"ramet": first.code, "outcome": "lost"},
        {"ramet": second.code, "structure": programme.plate.code, "cell": "Z99"},
    ]
    with refused("cell_outside", pointer="#/cut_aboard/1/cell"):
        arrive(programme.lead, given(programme, collection, pieces=rows(one), cut_aboard=cut))
    with refused("too_few"):
        given(programme, collection)


def test_the_same_bag_twice_is_taken_in_once(programme: make.Programme) -> None:
    collection, (one, source) = collected(programme, 2)
    children = aboard(programme, source)
    parts = {"pieces": rows(one), "cut_aboard": rows(*children)}
    said = given(programme, collection, uid=str(uuid.uuid4()), **parts)
    first = arrive(programme.lead, said)
    before = Event.objects.count()
    again = arrive(programme.lead, said)
    assert [recorded.fresh for recorded in (*first, *again)] == [True, True, False, False]
    assert Event.objects.count() == before
    fewer = given(programme, collection, uid=str(said.uid), pieces=rows(one))
    with refused("uid_taken", by=Conflict):
        arrive(programme.lead, fewer)


def test_only_those_who_work_there_take_in(programme: make.Programme) -> None:
    collection, (piece,) = collected(programme, 1)
    said = given(programme, collection, pieces=rows(piece))
    elsewhere = make.staff(make.nursery(programme.lead))
    with refused("not_your_nursery", by=NotAllowed):
        arrive(elsewhere, said)
    viewer = make.viewer()
    with refused("not_allowed", by=NotAllowed):
        arrive(viewer, said)
    assert len(arrive(make.staff(programme.nursery), said)) == 1
