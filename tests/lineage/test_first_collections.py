"""A colony is registered with what was taken of it: all of it, once, or nothing."""

import uuid
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from django.test import override_settings

from nursery.core.actor import Actor
from nursery.core.errors import Conflict, NotAllowed
from nursery.core.inputs import read
from nursery.core.models import Event
from nursery.donors import clones
from nursery.donors.flagged import flags_of_collection
from nursery.donors.models import Collection, DonorColony, Photo
from nursery.donors.positions import of_collections, of_colonies
from nursery.lineage.actions.aboard import next_code, register_and_collect
from nursery.lineage.inputs.aboard import FirstCollectionIn
from tests import factories as make
from tests.donors import photographed
from tests.refusals import refused
from tests.verified import nothing_wrong

pytestmark = pytest.mark.django_db

HERE = {"latitude": "-17.50000", "longitude": "-149.83000"}
FIVE_METRES_NORTH = {**HERE, "latitude": "-17.499955"}
A_HUNDRED_METRES_NORTH = {**HERE, "latitude": "-17.4991"}


@pytest.fixture(autouse=True)
def folder(tmp_path: Path) -> Iterator[Path]:
    with override_settings(MEDIA_ROOT=tmp_path):
        yield tmp_path


def given(programme: make.Programme, **values: Any) -> FirstCollectionIn:
    usual = {
        "when": make.COLLECTED,
        "taxon": programme.taxon.code,
        "reef": programme.reef.code,
        "count": 3,
        **HERE,
    }
    return read(FirstCollectionIn, {**usual, **values})


def entered(programme: make.Programme, by: Actor | None = None, **values: Any) -> Collection:
    recorded = register_and_collect(by or make.field(), given(programme, **values))
    return Collection.objects.get(event=recorded.event)


def colony_of(collection: Collection) -> DonorColony:
    assert collection.colony is not None
    return collection.colony


def test_colony_pieces_position_and_photos_are_entered_together(
    programme: make.Programme,
) -> None:
    field = make.field()
    said = given(
        programme,
        depth="12 ft",
        size="14 in",
        uncertainty_m=6,
        name="Old Stair",
        done_by=["Ana Reyes"],
        share_taken="10 %",
    )
    recorded = register_and_collect(field, said, [photographed.picture()] * 2, "its edge")
    collection = Collection.objects.get(event=recorded.event)
    colony = colony_of(collection)
    assert (str(colony.depth_m), str(colony.size_cm), colony.name) == ("3.7", "35.6", "Old Stair")
    assert str(colony.found_on) == make.COLLECTED
    assert colony.genet.code == f"G-{colony.code}"
    assert len(make.ramets_of(collection)) == 3
    for seen in (
        of_colonies(field, [colony])[colony.pk],
        of_collections(field, [collection])[collection.pk],
    ):
        assert (float(seen.latitude), seen.uncertainty_m, seen.exact) == (-17.5, 6, True)
    photos = Photo.objects.filter(colony=colony, collection=collection)
    assert [photo.note for photo in photos] == ["its edge"] * 2
    assert str(photos[0].taken_on) == make.COLLECTED
    nothing_wrong()


def test_a_colony_without_a_code_gets_the_next_of_its_reef(programme: make.Programme) -> None:
    reef = programme.reef.code
    assert next_code(reef) == f"{reef}-1"
    make.colony(programme.lead, programme.taxon, programme.reef, code=f"{reef}-7")
    make.colony(programme.lead, programme.taxon, programme.reef, code=f"{reef}-7B")
    assert colony_of(entered(programme)).code == f"{reef}-8"
    assert colony_of(entered(programme, code="OLD-STAIR")).code == "OLD-STAIR"


@pytest.mark.parametrize(
    ("values", "code"),
    [
        ({"permits": ["NOSUCH"]}, "unknown_permit"),
        ({"pieces": [{"code": "nonsense"}], "count": None}, "code_malformed"),
        ({"latitude": ""}, "required"),
        ({"taxon": "NOSUCH"}, "unknown_taxon"),
        ({"genet": "NOSUCH"}, "unknown_genet"),
    ],
)
def test_the_colony_does_not_stay_where_something_is_refused(
    programme: make.Programme, values: dict[str, Any], code: str
) -> None:
    field = make.field()
    with refused(code):
        register_and_collect(field, given(programme, **values))


def test_photos_that_are_refused_leave_nothing(programme: make.Programme, folder: Path) -> None:
    field = make.field()
    with refused("too_long"):
        register_and_collect(field, given(programme), [photographed.picture()], "x" * 201)
    assert not [path for path in folder.rglob("*") if path.is_file()]


def test_the_same_entry_twice_is_written_once(programme: make.Programme) -> None:
    field, said = make.field(), given(programme, uid=str(uuid.uuid4()))
    first = register_and_collect(field, said, [photographed.picture()])
    events, colonies = Event.objects.count(), DonorColony.objects.count()
    again = register_and_collect(field, said, [photographed.picture()])
    assert (first.fresh, again.fresh) == (True, False)
    assert again.event == first.event
    assert (Event.objects.count(), DonorColony.objects.count()) == (events, colonies)
    assert Photo.objects.count() == 1


@pytest.mark.parametrize(
    "changed",
    [
        {"count": 4},
        {"name": "New Stair"},
        {"size": "20"},
        {"latitude": "-17.6"},
        {"code": "OTHER"},
    ],
)
def test_another_entry_under_its_uid_is_refused(
    programme: make.Programme, changed: dict[str, Any]
) -> None:
    field, uid = make.field(), str(uuid.uuid4())
    register_and_collect(field, given(programme, uid=uid))
    with refused("uid_taken", by=Conflict):
        register_and_collect(field, given(programme, uid=uid, **changed))


def test_the_uid_of_something_else_is_refused(programme: make.Programme) -> None:
    field = make.field()
    other = make.collection(field, programme.colony)
    for event in (other.event, programme.mother().born):
        with refused("uid_taken", by=Conflict):
            register_and_collect(field, given(programme, uid=str(event.uid)))


def test_nursery_staff_and_viewers_register_nothing(programme: make.Programme) -> None:
    for actor in (make.viewer(), make.staff(programme.nursery)):
        with refused("not_allowed", by=NotAllowed):
            register_and_collect(actor, given(programme))


# Clones


def test_a_colony_of_the_same_taxon_close_by_is_kept_as_a_flag(programme: make.Programme) -> None:
    first = entered(programme)
    second = entered(programme, **FIVE_METRES_NORTH)
    assert flags_codes(first) == ["no_permit"]
    assert flags_codes(second) == ["no_permit", "possible_clone"]
    assert second.perhaps_same == colony_of(first).code
    said = flags_of_collection(second)[-1].message
    assert colony_of(first).code in said
    assert "17" not in said.replace(colony_of(first).code, "")


def flags_codes(collection: Collection) -> list[str]:
    return [flag.code for flag in flags_of_collection(collection)]


def test_what_stands_far_off_or_is_of_another_taxon_is_no_clone(
    programme: make.Programme,
) -> None:
    entered(programme)
    other = make.taxon(programme.lead)
    assert entered(programme, **A_HUNDRED_METRES_NORTH).perhaps_same == ""
    assert entered(programme, taxon=other.code, **FIVE_METRES_NORTH).perhaps_same == ""
    with override_settings(CLONE_WARNING_M=4):
        assert entered(programme, **FIVE_METRES_NORTH).perhaps_same == ""
    with override_settings(CLONE_WARNING_M=120):
        found = entered(programme, **HERE).perhaps_same
    assert len(found.split(", ")) == 3


@pytest.mark.parametrize(
    ("one", "other"),
    [
        # On both sides of a line of the grid, of the equator and zero meridian, and of 180 degrees.
        (("-17.505000", "-149.835000"), ("-17.504960", "-149.834960")),
        (("0.00002", "0.00002"), ("-0.00002", "-0.00002")),
        (("-17.5", "179.99998"), ("-17.5", "-179.99998")),
        (("60.0", "20.00500"), ("60.0", "20.00485")),
    ],
)
def test_neighbours_are_found_across_every_line(
    programme: make.Programme, one: tuple[str, str], other: tuple[str, str]
) -> None:
    first = entered(programme, latitude=one[0], longitude=one[1])
    second = entered(programme, latitude=other[0], longitude=other[1])
    assert second.perhaps_same == colony_of(first).code


def test_those_who_see_no_exact_positions_are_told_no_distances(
    programme: make.Programme,
) -> None:
    colony = colony_of(entered(programme))
    point = of_colonies(programme.lead, [colony])[colony.pk].point
    for actor in (make.viewer(), make.staff(programme.nursery)):
        assert clones.near(actor, programme.taxon, point) == []
    (found,) = clones.near(make.field(), programme.taxon, point)
    assert (found.colony, round(found.distance_m)) == (colony, 0)


def test_the_nearest_comes_first_in_few_queries(
    programme: make.Programme, django_assert_num_queries: Any
) -> None:
    far = colony_of(entered(programme, **FIVE_METRES_NORTH))
    near = colony_of(entered(programme))
    field = make.field()
    point = of_colonies(field, [near])[near.pk].point
    with django_assert_num_queries(2):
        found = clones.near(field, programme.taxon, point)
    assert [each.colony for each in found] == [near, far]
    assert round(found[1].distance_m) == 5


def test_as_many_codes_are_kept_as_there_is_room_for() -> None:
    rows = [clones.Near(DonorColony(code=code), 1.0) for code in ("A1", "B2", "C3")]
    assert clones.kept_as(rows, 6) == "A1, B2"
    assert clones.kept_as(rows, 5) == "A1"
    assert clones.kept_as([], 5) == ""
