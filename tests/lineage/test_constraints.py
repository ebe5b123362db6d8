"""What the database itself refuses, whoever writes past the actions."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import date
from typing import Any

import pytest
from django.db import IntegrityError, transaction
from django.db.models import ProtectedError

from nursery.core.models import Event, EventKind
from nursery.donors.models import Collection
from nursery.lineage.models import Fragmentation, Ramet, Source, Step, Tag
from nursery.lineage.words import Cause, Life, Origin, Place, What
from tests import factories as f


@contextmanager
def breaks(constraint: str) -> Iterator[None]:
    """The block breaks this constraint and no other."""
    with pytest.raises(IntegrityError) as caught, transaction.atomic():
        yield
    # SQLite names the columns of a unique constraint without a condition, not its name.
    text = str(caught.value)
    assert constraint in text or "UNIQUE constraint failed" in text, text


def changed(ramet: Ramet, **values: Any) -> None:
    """Write values to the row past every action."""
    Ramet.objects.filter(pk=ramet.pk).update(**values)


def copy_of(ramet: Ramet, **values: Any) -> Ramet:
    """A second row like this one, with another code."""
    row = Ramet.objects.get(pk=ramet.pk)
    row.pk = None
    row._state.adding = True
    row.code = f"{ramet.code}2"
    for name, value in values.items():
        setattr(row, name, value)
    row.save(force_insert=True)
    return row


@pytest.fixture
def wild(programme: f.Programme) -> Ramet:
    return programme.mother()


@pytest.fixture
def child(programme: f.Programme, wild: Ramet) -> Ramet:
    return f.cut(programme.lead, [wild], into=programme.plate)[0]


# Events


def event_like(wild: Ramet, **values: Any) -> Event:
    row = Event(
        kind=EventKind.MOVE,
        earliest=date(2021, 1, 1),
        latest=date(2021, 1, 1),
        recorded_by_id=wild.born.recorded_by_id,
        moment=wild.born.moment,
    )
    for name, value in values.items():
        setattr(row, name, value)
    row.save(force_insert=True)
    return row


def test_no_two_events_have_one_uid(wild: Ramet) -> None:
    with breaks("core_event_uid"):
        event_like(wild, uid=wild.born.uid)


def test_a_range_of_days_does_not_end_before_it_begins(wild: Ramet) -> None:
    with breaks("core_event_range_in_order"):
        event_like(wild, earliest=date(2021, 1, 2))


def test_a_time_needs_a_day(wild: Ramet) -> None:
    with breaks("core_event_time_needs_a_day"):
        event_like(wild, latest=date(2021, 1, 2), time="10:30")


def test_an_event_is_of_a_known_kind(wild: Ramet) -> None:
    with breaks("core_event_kind_known"):
        event_like(wild, kind=99)


# Origin


def test_a_collected_ramet_has_its_collection(wild: Ramet) -> None:
    with breaks("lineage_ramet_origin_and_links"):
        changed(wild, collection=None)


def test_a_collected_ramet_has_no_cutting(wild: Ramet, child: Ramet) -> None:
    with breaks("lineage_ramet_origin_and_links"):
        changed(wild, fragmentation=child.fragmentation_id)


def test_a_cut_ramet_has_its_cutting(child: Ramet) -> None:
    with breaks("lineage_ramet_origin_and_links"):
        changed(child, fragmentation=None)


def test_a_cut_ramet_has_no_collection(wild: Ramet, child: Ramet) -> None:
    with breaks("lineage_ramet_origin_and_links"):
        changed(child, collection=wild.collection_id)


@pytest.mark.parametrize("origin", [Origin.SETTLED, Origin.RECEIVED, Origin.FOUND, Origin.LEGACY])
def test_other_origins_have_neither_collection_nor_cutting(
    wild: Ramet, child: Ramet, origin: Origin
) -> None:
    for ramet in (wild, child):
        with breaks("lineage_ramet_origin_and_links"):
            changed(ramet, origin=origin)


def test_an_origin_is_a_known_one(wild: Ramet) -> None:
    with breaks("lineage_ramet_origin_and_links"):
        changed(wild, origin=99, collection=None)


def test_a_wild_fragment_is_of_generation_0(wild: Ramet) -> None:
    for generation in (1, None):
        with breaks("lineage_ramet_wild_is_generation_0"):
            changed(wild, generation=generation)


def test_a_wild_fragment_is_born_by_its_own_collection(wild: Ramet, child: Ramet) -> None:
    with breaks("lineage_ramet_wild_is_generation_0"):
        changed(wild, born=child.born_id)


def test_a_cut_ramet_is_born_by_its_own_cutting(wild: Ramet, child: Ramet) -> None:
    with breaks("lineage_ramet_born_by_its_cutting"):
        changed(child, born=wild.born_id)


def test_a_ramet_is_a_source_of_a_cutting_once(wild: Ramet, child: Ramet) -> None:
    with breaks("lineage_source_once_a_cutting"):
        Source.objects.create(fragmentation_id=child.fragmentation_id, ramet=wild, used_up=False)


# Codes


def test_no_two_ramets_have_one_code(child: Ramet) -> None:
    with breaks("lineage_ramet_code"):
        copy_of(child, code=child.code, row=9, column=9)


def test_no_two_series_have_one_prefix(programme: f.Programme) -> None:
    series = programme.nursery.series
    assert series is not None
    with breaks("core_codeseries_prefix"):
        type(series).objects.create(prefix=series.prefix)


# Places


def test_a_cell_holds_one_living_ramet(child: Ramet) -> None:
    with breaks("lineage_ramet_one_living_a_cell"):
        copy_of(child)


def test_a_dead_ramet_leaves_its_cell_to_a_living_one(child: Ramet) -> None:
    changed(child, life=Life.DEAD)
    second = copy_of(child, life=Life.LIVING)
    assert (second.structure_id, second.cell) == (child.structure_id, child.cell)


@pytest.mark.parametrize(
    "values",
    [
        {"structure": None},
        {"row": None},
        {"column": None},
        {"place": Place.NOWHERE},
        {"place": Place.PACKED},
        {"place": Place.PLOT},
        {"place": 99},
    ],
    ids=str,
)
def test_place_values_belong_together(child: Ramet, values: dict[str, Any]) -> None:
    with breaks("lineage_ramet_place"):
        changed(child, **values)


def test_a_ramet_in_a_structure_is_in_no_plot(programme: f.Programme, child: Ramet) -> None:
    with breaks("lineage_ramet_place"):
        changed(child, plot=programme.plot)


def test_a_ramet_in_a_plot_has_no_cell(programme: f.Programme) -> None:
    outplant = programme.outplants()[0]
    with breaks("lineage_ramet_place"):
        changed(outplant, row=1, column=1)


def test_a_step_keeps_the_same_rule_of_places(child: Ramet) -> None:
    step = Step.objects.get(ramet=child)
    for values in ({"place": None}, {"structure": None}, {"row": None}, {"place": Place.PLOT}):
        with breaks("lineage_step_place"):
            Step.objects.filter(pk=step.pk).update(**values)


# Life


def test_a_life_is_a_known_one(child: Ramet) -> None:
    with breaks("lineage_ramet_life"):
        changed(child, life=99)


def test_only_the_dead_have_a_cause_of_death(child: Ramet) -> None:
    for life in (Life.LIVING, Life.LOST, Life.USED_UP):
        with breaks("lineage_ramet_cause_of_death"):
            changed(child, life=life, cause=Cause.COLD)


def test_a_ramet_has_at_least_one_piece(child: Ramet) -> None:
    with breaks("lineage_ramet_pieces"):
        changed(child, pieces=0)


# Steps and tags


def test_live_steps_of_a_ramet_have_each_an_order_of_its_own(child: Ramet) -> None:
    with breaks("lineage_step_sequence"):
        Step.objects.create(event_id=child.born_id, ramet=child, order=1, what=What.CUT_FROM)


def test_a_step_that_no_longer_counts_may_share_its_order(child: Ramet) -> None:
    Step.objects.create(
        event_id=child.born_id, ramet=child, order=1, what=What.CUT_FROM, live=False
    )
    assert Step.objects.filter(ramet=child, order=1).count() == 2


def test_a_step_is_of_a_known_kind(child: Ramet) -> None:
    with breaks("lineage_step_what"):
        Step.objects.filter(ramet=child).update(what=99)


def test_a_tag_in_force_is_on_one_ramet(wild: Ramet, child: Ramet) -> None:
    Tag.objects.create(text="T 1", ramet=wild, since=date(2021, 1, 1))
    with breaks("lineage_tag_one_in_force"):
        Tag.objects.create(text="T 1", ramet=child, since=date(2021, 2, 1))


def test_a_tag_that_came_off_may_be_put_on_another(wild: Ramet, child: Ramet) -> None:
    Tag.objects.create(text="T 1", ramet=wild, since=date(2021, 1, 1), until=date(2021, 1, 5))
    Tag.objects.create(text="T 1", ramet=child, since=date(2021, 1, 5))
    assert Tag.objects.filter(text="T 1").count() == 2


def test_a_tag_does_not_come_off_before_it_was_put_on(wild: Ramet) -> None:
    with breaks("lineage_tag_range_in_order"):
        Tag.objects.create(text="T 1", ramet=wild, since=date(2021, 1, 5), until=date(2021, 1, 1))


# Nothing is deleted


def test_what_happened_cannot_be_deleted_from_under_its_ramets(wild: Ramet, child: Ramet) -> None:
    for row in (
        Event.objects.get(pk=child.born_id),
        Fragmentation.objects.get(pk=child.fragmentation_id),
        Collection.objects.get(pk=wild.collection_id),
        wild,
    ):
        with pytest.raises(ProtectedError):
            row.delete()
