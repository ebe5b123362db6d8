"""What the database itself refuses of donors, whoever writes past the actions."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import date
from typing import Any

import pytest
from django.apps import apps
from django.db import IntegrityError, transaction

from nursery.donors.models import (
    Collection,
    DonorColony,
    DonorSet,
    DonorSetMember,
    EventPermit,
    Genet,
    Permit,
    Taxon,
)
from tests import factories as f

# Found by its name, for only one module may import it.
Position = apps.get_model("donors", "Position")


@contextmanager
def breaks(constraint: str) -> Iterator[None]:
    with pytest.raises(IntegrityError) as caught, transaction.atomic():
        yield
    text = str(caught.value)
    assert constraint in text or "UNIQUE constraint failed" in text, text


@pytest.fixture
def found(programme: f.Programme) -> Collection:
    return f.collection(programme.lead, programme.colony)


def test_no_two_rows_of_a_register_have_one_code(programme: f.Programme) -> None:
    f.permit(programme.lead)
    for model, constraint in (
        (Taxon, "donors_taxon_code"),
        (Permit, "donors_permit_code"),
        (Genet, "donors_genet_code"),
        (DonorColony, "donors_colony_code"),
    ):
        row = model._default_manager.all()[0]
        row.pk = None
        row._state.adding = True
        with breaks(constraint):
            row.save(force_insert=True)


@pytest.mark.parametrize(
    "values",
    [
        {"status": "confirmed"},
        {"status": "confirmed", "panel": "P"},
        {"status": "confirmed", "confirmed_on": date(2021, 1, 1)},
        {"status": "guessed"},
    ],
    ids=str,
)
def test_a_genet_is_confirmed_by_a_panel_on_a_day(
    programme: f.Programme, values: dict[str, Any]
) -> None:
    with breaks("donors_genet_confirmed_by_a_panel"):
        Genet.objects.filter(pk=programme.colony.genet_id).update(**values)


def test_a_confirmed_genet_with_its_panel_and_day_is_kept(programme: f.Programme) -> None:
    values = {"status": "confirmed", "panel": "P", "confirmed_on": date(2021, 1, 1)}
    assert Genet.objects.filter(pk=programme.colony.genet_id).update(**values) == 1


def test_a_permit_does_not_lapse_before_it_is_valid(programme: f.Programme) -> None:
    permit = f.permit(programme.lead, valid_from="2021-01-02")
    with breaks("donors_permit_range_in_order"):
        Permit.objects.filter(pk=permit.pk).update(valid_until=date(2021, 1, 1))


def test_an_event_has_a_permit_once(programme: f.Programme) -> None:
    permit = f.permit(programme.lead)
    found = f.collection(programme.lead, programme.colony, permits=[permit.code])
    with breaks("donors_eventpermit_once"):
        EventPermit.objects.create(event=found.event, permit=permit)


def test_a_collection_takes_something(found: Collection) -> None:
    with breaks("donors_collection_takes_something"):
        Collection.objects.filter(pk=found.pk).update(pieces=0)


@pytest.mark.parametrize("share", [-1, 101])
def test_a_share_is_a_percentage(found: Collection, share: int) -> None:
    with breaks("donors_collection_share"):
        Collection.objects.filter(pk=found.pk).update(share_taken=share)


def test_equal_donor_sets_are_one_row(found: Collection) -> None:
    with breaks("donors_donorset_key"):
        DonorSet.objects.create(key=DonorSet.objects.get().key)


def test_a_colony_is_in_a_donor_set_once(found: Collection) -> None:
    member = DonorSetMember.objects.get()
    with breaks("donors_donorsetmember_once"):
        DonorSetMember.objects.create(donor_set=member.donor_set, colony=member.colony)


def position(programme: f.Programme, **values: Any) -> None:
    given: dict[str, Any] = {
        "colony": programme.colony,
        "latitude": 1,
        "longitude": 1,
        "recorded_by_id": programme.lead.user_id,
    }
    Position.objects.create(**{**given, **values})


def test_a_position_is_of_a_colony_or_of_a_collection(
    programme: f.Programme, found: Collection
) -> None:
    for values in ({"event": found.event}, {"colony": None}):
        with breaks("donors_position_of_colony_or_event"):
            position(programme, **values)


@pytest.mark.parametrize(
    "values",
    [{"latitude": 91}, {"latitude": -91}, {"longitude": 181}, {"longitude": -181}],
    ids=str,
)
def test_a_position_is_on_earth(programme: f.Programme, values: dict[str, int]) -> None:
    with breaks("donors_position_on_earth"):
        position(programme, **values)
