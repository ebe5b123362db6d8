"""What was found last of each ramet, and which plates are to be looked at."""

from __future__ import annotations

from datetime import date
from decimal import Decimal

import pytest
from django.core.exceptions import ImproperlyConfigured
from pytest_django import DjangoAssertNumQueries, Settings

from nursery.husbandry.models import FindingState
from nursery.husbandry.queries import LastCheck, causes_of, findings_of, is_due, last_checks
from nursery.lineage.words import Cause
from nursery.outplanting.actions.correct import void
from nursery.outplanting.corrections import VoidIn
from nursery.places.models import Structure
from restoration.environment import Environment
from tests import factories as f
from tests.husbandry.plates import LATER, cut_into, looked, placed
from tests.lineage.ends import count, end
from tests.outplanting.reef import lift

TENTH = date(2021, 3, 11)
"""The tenth day after the cutting."""


def last_of(plate: Structure) -> LastCheck:
    return last_checks([plate])[plate.pk]


def days_of(plate: Structure) -> tuple[str | None, str | None, str | None]:
    """The days on which it was filled, checked and counted last."""
    last = last_of(plate)
    filled, checked, counted = (
        str(one.when) if one is not None else None
        for one in (last.filled, last.checked, last.counted)
    )
    return filled, checked, counted


def test_an_empty_plate_was_never_filled_and_is_not_due(programme: f.Programme) -> None:
    assert days_of(programme.plate) == (None, None, None)
    assert not is_due(last_of(programme.plate), date(2030, 1, 1))


def test_a_plate_is_due_ten_days_after_cutting(programme: f.Programme) -> None:
    cut_into(programme, programme.plate)
    last = last_of(programme.plate)
    assert days_of(programme.plate) == (f.CUT, None, None)
    assert not is_due(last, date(2021, 3, 10))
    assert is_due(last, TENTH)
    assert is_due(last, date(2021, 6, 1))


def test_after_how_many_days_is_a_setting(programme: f.Programme, settings: Settings) -> None:
    cut_into(programme, programme.plate)
    last = last_of(programme.plate)
    settings.CHECK_DUE_DAYS = 11
    assert not is_due(last, TENTH)
    assert is_due(last, date(2021, 3, 12))
    assert is_due(last, date(2021, 3, 4), days=3)
    assert not is_due(last, date(2021, 3, 3), days=3)


def test_the_setting_is_a_whole_number() -> None:
    with pytest.raises(ImproperlyConfigured, match="CHECK_DUE_DAYS"):
        Environment({"CHECK_DUE_DAYS": "soon"}).whole("CHECK_DUE_DAYS", 10)


def test_a_plate_that_was_checked_is_due_again_only_when_it_is_filled_again(
    programme: f.Programme,
) -> None:
    plugs = cut_into(programme, programme.plate)
    f.check(programme.lead, dict.fromkeys(plugs, "attached"))
    assert days_of(programme.plate) == (f.CUT, f.CHECKED, None)
    assert not is_due(last_of(programme.plate), date(2022, 1, 1))
    placed(programme.lead, programme.mother(), programme.plate, "C7", LATER)
    assert days_of(programme.plate) == (LATER, f.CHECKED, None)
    assert not is_due(last_of(programme.plate), date(2021, 3, 29))
    assert is_due(last_of(programme.plate), date(2021, 3, 30))


def test_a_check_of_the_dead_alone_is_a_look_at_the_plate(programme: f.Programme) -> None:
    plugs = cut_into(programme, programme.plate)
    f.check(programme.lead, {plugs[0]: "dead"}, when="2021-03-05")
    assert days_of(programme.plate) == (f.CUT, "2021-03-05", None)
    assert not is_due(last_of(programme.plate), TENTH)


def test_a_count_is_a_look_too(programme: f.Programme) -> None:
    cut_into(programme, programme.plate)
    count(programme.lead, [{"structure": programme.plate.code, "alive": 3}], when="2021-03-08")
    assert days_of(programme.plate) == (f.CUT, None, "2021-03-08")
    assert not is_due(last_of(programme.plate), TENTH)


def test_what_was_checked_before_it_came_was_not_looked_at_here(programme: f.Programme) -> None:
    plugs = cut_into(programme, programme.tray)
    f.check(programme.lead, dict.fromkeys(plugs, "loose"), when="2021-03-03")
    placed(programme.lead, plugs[0], programme.plate, "A1", "2021-03-04")
    assert days_of(programme.plate) == ("2021-03-04", None, None)
    assert days_of(programme.tray)[1] == "2021-03-03"


def test_a_plate_of_which_everything_went_is_not_due(programme: f.Programme) -> None:
    dead, planted, moved = cut_into(programme, programme.plate)
    end(programme.lead, [dead], when="2021-03-05")
    f.planting(programme.lead, programme.plot, [planted])
    placed(programme.lead, moved, programme.tray, None, "2021-03-06")
    assert last_of(programme.plate).filled is None
    assert not is_due(last_of(programme.plate), date(2021, 7, 1))


def test_what_is_lifted_into_a_structure_fills_it(programme: f.Programme) -> None:
    lift(programme.lead, programme.outplants(1), programme.plate)
    assert days_of(programme.plate)[0] == "2021-07-01"


def test_a_void_check_was_no_look(programme: f.Programme) -> None:
    plugs = cut_into(programme, programme.plate)
    event = f.check(programme.lead, dict.fromkeys(plugs, "loose")).event
    void(programme.lead, VoidIn(event=event.uid, reason="another plate"))
    assert is_due(last_of(programme.plate), TENTH)
    assert findings_of(programme.plate) == {}


def test_all_structures_are_asked_in_three_queries(
    programme: f.Programme, django_assert_num_queries: DjangoAssertNumQueries
) -> None:
    plates = [f.structure(programme.lead, programme.bay) for _ in range(4)]
    for plate in plates:
        f.check(programme.lead, dict.fromkeys(cut_into(programme, plate), "loose"))
    for some in (plates[:1], plates):
        with django_assert_num_queries(3):
            found = last_checks(some)
        assert found.keys() == {plate.pk for plate in some}
        assert all(last.checked is not None for last in found.values())


def test_the_last_finding_of_each_ramet_of_a_plate(
    programme: f.Programme, django_assert_num_queries: DjangoAssertNumQueries
) -> None:
    first, second, third, unseen = cut_into(programme, programme.plate, 4)
    f.check(programme.lead, {first: "loose", second: "attached", third: "dead"})
    event = looked(
        programme.lead,
        {"ramet": first.code, "state": "attached", "size_cm": 2, "note": "holds now"},
        when=LATER,
    ).event
    with django_assert_num_queries(1):
        found = findings_of(programme.plate)
    assert {pk: row.state for pk, row in found.items()} == {
        first.pk: FindingState.ATTACHED,
        second.pk: FindingState.ATTACHED,
        third.pk: FindingState.DEAD,
    }
    last = found[first.pk]
    assert (last.uid, str(last.when), last.size_cm, last.note) == (
        event.uid,
        LATER,
        Decimal("2.0"),
        "holds now",
    )
    assert findings_of(programme.plate.pk, [second.pk, unseen.pk]).keys() == {second.pk}


def test_a_late_check_does_not_hide_a_later_one(programme: f.Programme) -> None:
    (plug,) = cut_into(programme, programme.plate, 1)
    f.check(programme.lead, {plug: "attached"}, when=LATER)
    f.check(programme.lead, {plug: "loose"}, when="2021-03-05")
    assert findings_of(programme.plate)[plug.pk].state is FindingState.ATTACHED


def test_how_it_was_found_elsewhere_is_not_told_of_a_plate(programme: f.Programme) -> None:
    (plug,) = cut_into(programme, programme.tray, 1)
    f.check(programme.lead, {plug: "loose"}, when="2021-03-03")
    assert findings_of(programme.tray).keys() == {plug.pk}
    placed(programme.lead, plug, programme.plate, "A1", "2021-03-04")
    assert findings_of(programme.plate) == findings_of(programme.tray) == {}


def test_causes_are_told_of_the_dead_alone(programme: f.Programme) -> None:
    dead, alive, other = cut_into(programme, programme.plate)
    made = looked(
        programme.lead,
        {"ramet": dead.code, "state": "dead", "cause": "cold"},
        {"ramet": alive.code, "state": "loose"},
    )
    later = looked(programme.lead, {"ramet": other.code, "state": "dead"}, when=LATER)
    assert causes_of([made.pk, later.pk]) == {
        (made.pk, dead.pk): Cause.COLD,
        (later.pk, other.pk): Cause.UNKNOWN,
    }
    assert causes_of([made.pk], [alive.pk]) == {}
