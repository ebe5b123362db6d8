"""Many rows at once: what goes in comes back, on either database."""

from __future__ import annotations

import datetime as dt
import uuid
from decimal import Decimal
from typing import Any

import pytest
from django.db import DataError, IntegrityError, connection, transaction
from django.test.utils import CaptureQueriesContext
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.django import TestCase

from nursery.core import bulk
from nursery.core.models import Change, Event, EventKind, User
from nursery.donors.models import Collection, Taxon
from nursery.lineage.models import Fragmentation, Ramet, Source, Step
from nursery.lineage.words import Life, Origin, Place, What
from nursery.places.models import Reef, Structure

DAY = dt.date(2021, 3, 1)
MOMENT = dt.datetime(2021, 3, 1, 14, 5, 7, 123456, tzinfo=dt.UTC)
AWKWARD = [
    *("", " ", "NULL", "null", "\\N", "\\.", "{}", "{a,b}", '"', "'", "''", '\\"', "\\", "\\\\n"),
    *("tab\tin it", "two\nlines", "carriage\rreturn", "%s %%", "$1", "a,b;c", "ʻOpihi – 珊瑚 🪸"),
]


@pytest.fixture
def user(db: None) -> User:
    return User.objects.create(username="writer")


@pytest.fixture
def taxon(db: None) -> Taxon:
    return Taxon.objects.create(code="ACER", name="Acropora cervicornis", group="stony")


def header(by: User, **values: Any) -> Event:
    given: dict[str, Any] = {
        "kind": EventKind.STOCK_ENTRY,
        "earliest": DAY,
        "latest": DAY,
        "moment": MOMENT,
        "recorded_by": by,
        "digest": "",
    }
    return Event(**{**given, **values})


def ramet(born: Event, of: Taxon, code: str, **values: Any) -> Ramet:
    given: dict[str, Any] = {"origin": Origin.LEGACY, "steps_taken": 1, "not_before": MOMENT}
    return Ramet(code=code, taxon=of, born=born, **{**given, **values})


@pytest.fixture
def born(user: User) -> Event:
    event = header(user)
    event.save()
    return event


def test_rows_get_their_ids_in_the_order_in_which_they_are_given(born: Event, taxon: Taxon) -> None:
    rows = [ramet(born, taxon, f"Q{number}") for number in range(4500, 0, -1)]
    written = bulk.insert(Ramet, rows)
    assert [row.code for row in written] == [f"Q{number}" for number in range(4500, 0, -1)]
    assert [row.pk for row in written] == sorted({row.pk for row in written})
    stored = dict(Ramet.objects.values_list("pk", "code"))
    assert stored == {row.pk: row.code for row in written}


def test_rows_that_were_inserted_are_known_to_be_in_the_database(born: Event, taxon: Taxon) -> None:
    [row] = bulk.insert(Ramet, [ramet(born, taxon, "Q1")])
    assert (row._state.adding, row._state.db) == (False, "default")
    row.note = "seen again"
    row.save()
    assert Ramet.objects.get().note == "seen again"


def test_nothing_is_sent_for_no_rows(db: None) -> None:
    with CaptureQueriesContext(connection) as sent:
        assert bulk.insert(Ramet, []) == []
        bulk.update(Ramet, [], ["note"])
    assert list(sent) == []


def test_a_header_keeps_every_kind_of_value(user: User) -> None:
    uid = uuid.uuid4()
    before = dt.datetime.now(dt.UTC)
    rows = [
        header(user, uid=uid, time=dt.time(14, 5, 7), done_by="A; B", note="x", digest="ab"),
        header(user, earliest=dt.date(1999, 12, 31), moment=MOMENT.replace(microsecond=0)),
    ]
    bulk.insert(Event, rows)
    first, second = Event.objects.order_by("pk")
    assert (first.uid, first.time, first.done_by) == (uid, dt.time(14, 5, 7), "A; B")
    assert (first.earliest, first.latest, first.moment) == (DAY, DAY, MOMENT)
    assert (first.live, first.recorded_by_id) == (True, user.pk)
    assert (second.earliest, second.time, second.note) == (dt.date(1999, 12, 31), None, "")
    assert first.recorded_at >= before
    assert first.recorded_at == rows[0].recorded_at


@pytest.mark.parametrize("text", AWKWARD)
def test_any_text_comes_back_as_it_went_in(born: Event, taxon: Taxon, text: str) -> None:
    bulk.insert(Ramet, [ramet(born, taxon, "Q1", note=text), ramet(born, taxon, "Q2")])
    assert Ramet.objects.get(code="Q1").note == text
    other = Ramet.objects.get(code="Q2")
    other.note, other.rebased = text, text[:40]
    bulk.update(Ramet, [other], ["note", "rebased"])
    other.refresh_from_db()
    assert (other.note, other.rebased) == (text, text[:40])


class AnyText(TestCase):
    @given(
        st.lists(
            st.text(st.characters(exclude_characters="\0", exclude_categories=["Cs"]), max_size=50),
            min_size=1,
            max_size=8,
        )
    )
    def test_is_kept(self, texts: list[str]) -> None:
        rows = bulk.insert(
            Taxon,
            [
                Taxon(code=f"T{number}", name="T", group="stony", note=text)
                for number, text in enumerate(texts)
            ],
        )
        kept = Taxon.objects.order_by("pk").values_list("note", flat=True)
        assert list(kept) == texts
        for row, text in zip(rows, reversed(texts), strict=True):
            row.note = text
        bulk.update(Taxon, rows, ["note"])
        assert list(kept.all()) == texts[::-1]


@pytest.mark.parametrize(
    "value", [{"a": [1, None, "é\\\n\"'"]}, [], "text", "null", 0, 1, False, True, 1.5, {}]
)
def test_json_is_kept_as_it_is(user: User, value: Any) -> None:
    both = [True, 1, value]
    rows = bulk.insert(
        Change,
        [
            Change(register="taxon", row_id=1, code="T", by=user, before=None, after=each)
            for each in both
        ],
    )
    kept = Change.objects.order_by("pk")
    assert [repr(row.after) for row in kept] == [repr(each) for each in both]
    assert {row.before for row in kept} == {None}
    assert kept.filter(before__isnull=True).count() == 3
    for row in rows:
        row.before, row.after = row.after, [row.after]
    bulk.update(Change, rows, ["before", "after"])
    assert [repr(row.before) for row in kept.all()] == [repr(each) for each in both]
    assert [repr(row.after) for row in kept.all()] == [repr([each]) for each in both]


def test_a_row_whose_key_is_that_of_its_event_is_inserted_and_updated(
    user: User, taxon: Taxon
) -> None:
    reef = Reef.objects.create(code="R", name="R")
    events = bulk.insert(Event, [header(user, kind=EventKind.COLLECTION) for _ in range(3)])
    depths = [Decimal("1.5"), None, Decimal("12345.6")]
    rows = [
        Collection(event=event, reef=reef, taxon=taxon, pieces=1, depth_m=depth)
        for event, depth in zip(events, depths, strict=True)
    ]
    written = bulk.insert(Collection, rows)
    assert [row.pk for row in written] == [event.pk for event in events]
    kept = Collection.objects.order_by("pk").values_list("pk", "depth_m")
    assert list(kept) == list(zip([event.pk for event in events], depths, strict=True))
    for row, depth in zip(written, reversed(depths), strict=True):
        row.depth_m = depth
    bulk.update(Collection, written, ["depth_m"])
    assert [depth for _, depth in kept.all()] == depths[::-1]


def test_rows_with_keys_of_their_own_stand_beside_those_without(db: None) -> None:
    written = bulk.insert(
        Taxon,
        [
            Taxon(pk=9_000_000, code="T1", name="T", group="stony"),
            Taxon(code="T2", name="T", group="stony"),
        ],
    )
    assert written[0].pk == 9_000_000
    assert written[1].pk is not None
    assert dict(Taxon.objects.values_list("code", "pk")) == {row.code: row.pk for row in written}


def test_an_object_that_was_saved_after_it_was_given_is_taken_over(
    born: Event, taxon: Taxon
) -> None:
    row = ramet(born, taxon, "Q1")
    step = Step(event=born, ramet=row, order=1, what=What.BORN, life=Life.LIVING)
    bulk.insert(Ramet, [row])
    bulk.insert(Step, [step])
    assert Step.objects.get().ramet_id == row.pk


def test_an_object_that_is_not_saved_is_refused(born: Event, taxon: Taxon) -> None:
    step = Step(event=born, ramet=ramet(born, taxon, "Q1"), order=1, what=What.BORN)
    with pytest.raises(ValueError, match="unsaved related object 'ramet'"):
        bulk.insert(Step, [step])


def test_a_row_that_is_refused_takes_the_others_with_it(born: Event, taxon: Taxon) -> None:
    rows = [ramet(born, taxon, code) for code in ("Q1", "Q2", "Q1")]
    with pytest.raises(IntegrityError), transaction.atomic():
        bulk.insert(Ramet, rows)
    assert not Ramet.objects.exists()
    assert {row.pk for row in rows} == {None}
    assert all(row._state.adding for row in rows)
    assert bulk.insert(Ramet, rows[:2])[1].pk is not None


def test_an_update_saves_the_named_fields_alone(born: Event, taxon: Taxon) -> None:
    rows = bulk.insert(Ramet, [ramet(born, taxon, f"Q{number}") for number in range(50)])
    tray = Structure.objects.create(code="T", kind="tray")
    for number, row in enumerate(rows):
        row.place, row.structure, row.note = Place.STRUCTURE, tray, "not asked for"
        row.steps_taken = number
        row.not_before = MOMENT + dt.timedelta(microseconds=number)
    bulk.update(Ramet, rows[:40], ["place", "structure", "steps_taken", "not_before"])
    kept = list(Ramet.objects.order_by("pk"))
    assert {row.note for row in kept} == {""}
    assert [row.structure_id for row in kept] == [tray.pk] * 40 + [None] * 10
    assert [row.steps_taken for row in kept] == [*range(40), *([1] * 10)]
    assert [row.not_before for row in kept[:40]] == [row.not_before for row in rows[:40]]


def test_an_update_reaches_those_that_have_never_been(born: Event, taxon: Taxon) -> None:
    rows = bulk.insert(Ramet, [ramet(born, taxon, "Q1", life=Life.NEVER), ramet(born, taxon, "Q2")])
    for row in rows:
        row.life, row.steps_taken = Life.LIVING, 2
    bulk.update(Ramet, rows, ["life", "steps_taken"])
    kept = Ramet.everything.values_list("life", "steps_taken")
    assert list(kept) == [(Life.LIVING, 2), (Life.LIVING, 2)]


def test_one_statement_updates_any_number_of_rows_to_any_values(born: Event, taxon: Taxon) -> None:
    rows = bulk.insert(Ramet, [ramet(born, taxon, f"Q{number}") for number in range(30)])
    with CaptureQueriesContext(connection) as sent:
        for turn, most in enumerate([1, 2, 30, 7, 30, 3, 30, 11, 30, 30]):
            for number, row in enumerate(rows[:most]):
                row.cause = None
                row.number = None if turn % 2 else number * turn
                row.steps_taken = number * turn * 10_000
                row.rebased = None if turn % 3 else f"base {turn}"
            bulk.update(Ramet, rows[:most], ["cause", "number", "steps_taken", "rebased"])
            kept = Ramet.objects.order_by("pk").values_list("number", "steps_taken", "rebased")
            assert list(kept) == [(row.number, row.steps_taken, row.rebased) for row in rows]
    assert len(sent) == 20


def test_too_long_a_text_is_never_cut_short(born: Event, taxon: Taxon) -> None:
    [row] = bulk.insert(Ramet, [ramet(born, taxon, "Q1")])
    row.note = "x" * 201
    try:
        with transaction.atomic():
            bulk.update(Ramet, [row], ["note"])
    except DataError:
        assert Ramet.objects.get().note == ""
    else:
        assert Ramet.objects.get().note == "x" * 201


def test_an_update_that_a_constraint_forbids_is_refused(born: Event, taxon: Taxon) -> None:
    rows = bulk.insert(Ramet, [ramet(born, taxon, "Q1"), ramet(born, taxon, "Q2")])
    rows[1].code = "Q1"
    with pytest.raises(IntegrityError), transaction.atomic():
        bulk.update(Ramet, rows, ["code"])
    assert set(Ramet.objects.values_list("code", flat=True)) == {"Q1", "Q2"}


def test_a_cutting_is_inserted_in_a_few_statements(user: User, born: Event, taxon: Taxon) -> None:
    mother = bulk.insert(Ramet, [ramet(born, taxon, "Q0")])[0]
    event = header(user, kind=EventKind.FRAGMENTATION)
    event.save()
    with CaptureQueriesContext(connection) as sent:
        [cutting] = bulk.insert(
            Fragmentation,
            [Fragmentation(event=event, taxon=taxon, generation=1, children_count=20)],
        )
        bulk.insert(Source, [Source(fragmentation=cutting, ramet=mother, used_up=False)])
        children = [
            ramet(event, taxon, f"Q{n}", origin=Origin.CUT, fragmentation=cutting, number=n)
            for n in range(1, 21)
        ]
        bulk.insert(Ramet, children)
    assert list(cutting.children.order_by("number")) == children
    assert len(sent) <= 6


def test_plain_rows_get_the_defaults_of_their_other_fields(born: Event, taxon: Taxon) -> None:
    rows = bulk.insert(Ramet, [ramet(born, taxon, f"Q{number}") for number in range(120)])
    bulk.insert_values(
        Step,
        ["event_id", "ramet_id", "order", "what", "life", "base"],
        [
            (born.pk, row.pk, 1, What.BORN, Life.LIVING, None if number % 2 else "a\tbase")
            for number, row in enumerate(rows)
        ],
    )
    kept = list(Step.objects.order_by("ramet"))
    assert [step.ramet_id for step in kept] == [row.pk for row in rows]
    assert [step.base for step in kept] == ["a\tbase", None] * 60
    assert {(step.event_id, step.order, step.what, step.life) for step in kept} == {
        (born.pk, 1, What.BORN, Life.LIVING)
    }
    assert {(step.live, step.cause, step.place, step.plot_id) for step in kept} == {
        (True, None, None, None)
    }


def test_plain_rows_know_when_they_were_recorded(user: User) -> None:
    before = dt.datetime.now(dt.UTC)
    bulk.insert_values(
        Change, ["register", "row_id", "by_id", "after"], [("taxon", 1, user.pk, [1])]
    )
    row = Change.objects.get()
    assert (row.after, row.before, row.code) == ([1], None, "")
    assert row.at >= before


def test_plain_rows_are_all_refused_with_one(born: Event, taxon: Taxon) -> None:
    [row] = bulk.insert(Ramet, [ramet(born, taxon, "Q1")])
    with pytest.raises(IntegrityError), transaction.atomic():
        bulk.insert_values(
            Step,
            ["event_id", "ramet_id", "order", "what"],
            [(born.pk, row.pk, order, What.BORN) for order in (1, 2, 1)],
        )
    assert not Step.objects.exists()


def test_no_plain_rows_send_nothing(db: None) -> None:
    with CaptureQueriesContext(connection) as sent:
        bulk.insert_values(Step, ["event_id"], [])
    assert list(sent) == []


def test_copies_of_a_row_are_rows_of_their_own(born: Event, taxon: Taxon) -> None:
    first = ramet(born, taxon, "Q0", note="like the others")
    rows = bulk.copies(first, 3)
    for number, row in enumerate(rows, start=1):
        row.code = f"Q{number}"
    rows[0].taxon = Taxon.objects.create(code="APAL", name="Acropora palmata", group="stony")
    bulk.insert(Ramet, rows)
    assert first.pk is None
    assert first._state.adding
    assert first.taxon == taxon
    kept = list(Ramet.objects.order_by("pk"))
    assert [(row.code, row.note) for row in kept] == [
        (f"Q{number}", "like the others") for number in (1, 2, 3)
    ]
    assert [row.taxon.code for row in kept] == ["APAL", "ACER", "ACER"]
