"""Physical tags: taken off, lost, put on, and found by as they were on a day."""

from __future__ import annotations

from datetime import date
from uuid import uuid4

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from nursery.core.actor import Role
from nursery.core.errors import Conflict, NotAllowed, Unknown
from nursery.lineage import resolve
from nursery.lineage.models import Ramet, Step, Tag
from nursery.lineage.tags import tag_clash
from nursery.lineage.words import Life, What
from tests import factories as f
from tests.lineage.identities import LATER, now, retag, statements, tags
from tests.refusals import refused


@pytest.fixture
def pair(programme: f.Programme) -> tuple[Ramet, Ramet]:
    """Two children, the first with tag 7 since 1 March 2021."""
    one, other = f.cut(programme.lead, programme.mothers(), children=[{"tag": "7"}, {}])
    return one, other


def refused_row(
    programme: f.Programme, code: str, row: dict[str, str], when: str, *told: str
) -> None:
    """The row is refused on that day, and the sentence tells all of that."""
    with refused(code, pointer=f"#/ramets/0/{'on' if 'on' in row else 'off'}") as caught:
        retag(programme.lead, row, when=when)
    message = caught.value.problems[0].message
    assert [text for text in told if text not in message] == []


def test_a_tag_comes_off(programme: f.Programme, pair: tuple[Ramet, Ramet]) -> None:
    one, _ = pair
    event = retag(programme.lead, {"ramet": one.code, "off": "7"})
    tag = Tag.objects.get()
    assert (tag.until, tag.ended_by, tag.lost) == (date.fromisoformat(LATER), event, False)
    step = Step.objects.get(event=event)
    assert (step.ramet, step.what, step.life, step.place) == (one, What.TAGGED, None, None)


def test_a_tag_was_lost(programme: f.Programme, pair: tuple[Ramet, Ramet]) -> None:
    retag(programme.lead, {"ramet": pair[0].code, "off": "7", "lost": True})
    assert Tag.objects.get().lost


def test_a_tag_is_put_on(programme: f.Programme, pair: tuple[Ramet, Ramet]) -> None:
    event = retag(programme.lead, {"ramet": pair[1].code, "on": " blue 8 "})
    tag = Tag.objects.get(text="BLUE 8")
    assert (tag.ramet, tag.event, str(tag.since), tag.until) == (pair[1], event, LATER, None)


def test_a_tag_is_replaced_by_another(programme: f.Programme, pair: tuple[Ramet, Ramet]) -> None:
    one, _ = pair
    retag(programme.lead, {"ramet": "7", "off": "7", "lost": True, "on": "8"})
    assert tags("7") == [(one.code, "2021-03-01", LATER)]
    assert tags("8") == [(one.code, LATER, None)]


def test_a_tag_is_used_again_on_another_ramet(
    programme: f.Programme, pair: tuple[Ramet, Ramet]
) -> None:
    one, other = pair
    retag(programme.lead, {"ramet": one.code, "off": "7"}, when="2021-07-01")
    retag(programme.lead, {"ramet": other.code, "on": "7"}, when="2021-07-01")
    assert tags("7") == [(one.code, "2021-03-01", LATER), (other.code, LATER, None)]
    assert tag_clash(list(Tag.objects.filter(text="7"))) is None


def test_ramets_change_tags_in_one_entry(programme: f.Programme, pair: tuple[Ramet, Ramet]) -> None:
    one, other = pair
    retag(programme.lead, {"ramet": other.code, "on": "8"}, when="2021-06-01")
    retag(
        programme.lead,
        {"ramet": one.code, "off": "7", "on": "8"},
        {"ramet": other.code, "off": "8", "on": "7"},
    )
    assert (resolve.one("7"), resolve.one("8")) == (other, one)


def test_a_dead_one_gives_its_tag_back(programme: f.Programme, pair: tuple[Ramet, Ramet]) -> None:
    one, other = pair
    f.cut(programme.lead, [], used_up=[one], when="2021-06-01")
    retag(programme.lead, {"ramet": one.code, "off": "7"}, {"ramet": other.code, "on": "7"})
    assert resolve.one("7") == other
    assert now(one)[0].life == Life.USED_UP


def test_a_tag_may_go_back_on_the_same_ramet(
    programme: f.Programme, pair: tuple[Ramet, Ramet]
) -> None:
    one, _ = pair
    retag(programme.lead, {"ramet": one.code, "off": "7"}, when="2021-07-01")
    retag(programme.lead, {"ramet": one.code, "on": "7"}, when="2021-08-01")
    assert tags("7") == [
        (one.code, "2021-03-01", "2021-07-01"),
        (one.code, "2021-08-01", None),
    ]


# Found as of a day


def test_a_tag_names_who_had_it_on_the_day_and_in_the_end_on_the_day_of_a_change(
    programme: f.Programme, pair: tuple[Ramet, Ramet]
) -> None:
    one, other = pair
    retag(
        programme.lead,
        {"ramet": one.code, "off": "7"},
        {"ramet": other.code, "on": "7"},
    )
    for day, meant in (
        (date(2021, 3, 1), one),
        (date(2021, 6, 30), one),
        (date(2021, 7, 1), other),
        (date(2021, 9, 1), other),
    ):
        assert resolve.ramet_ids(["7"], on=day) == {"7": meant.pk}
        assert resolve.one("7", on=day) == meant
    assert resolve.ramet_ids(["7"], on=date(2021, 2, 28)) == {}
    with refused("unknown_ramet", by=Unknown):
        resolve.one("7", on=date(2021, 2, 28))


def test_a_tag_that_came_off_still_names_its_ramet_on_that_day(
    programme: f.Programme, pair: tuple[Ramet, Ramet]
) -> None:
    retag(programme.lead, {"ramet": "7", "off": "7"})
    assert resolve.ramet_ids(["7"], on=date.fromisoformat(LATER)) == {"7": pair[0].pk}
    assert resolve.ramet_ids(["7"]) == {}
    assert resolve.one("7") == pair[0]


def test_a_search_finds_who_carried_a_tag_last_not_who_got_it_last(
    programme: f.Programme, pair: tuple[Ramet, Ramet]
) -> None:
    one, other = pair
    retag(programme.lead, {"ramet": one.code, "off": "7"}, when="2021-08-01")
    retag(programme.lead, {"ramet": other.code, "on": "7"}, when="2021-08-02")
    retag(programme.lead, {"ramet": other.code, "off": "7"}, when="2021-08-03")
    assert resolve.one("7") == other
    assert resolve.one("7", on=date(2021, 8, 1)) == one


def test_a_tag_of_a_voided_entry_was_never_on(
    programme: f.Programme, pair: tuple[Ramet, Ramet]
) -> None:
    Tag.objects.update(live=False)
    assert resolve.ramet_ids(["7"], on=date(2021, 4, 1)) == {}
    with refused("unknown_ramet", by=Unknown):
        resolve.one("7")
    retag(programme.lead, {"ramet": pair[1].code, "on": "7"}, when="2021-03-01")
    assert resolve.one("7") == pair[1]


def test_a_cell_names_who_was_in_it_on_the_day(programme: f.Programme) -> None:
    plate = programme.plate.code
    one, other = f.cut(
        programme.lead, programme.mothers(), children=[{"structure": plate, "cell": "A2"}, {}]
    )
    rows = [
        {"ramet": one.code, "structure": plate, "cell": "C2"},
        {"ramet": other.code, "structure": plate, "cell": "A2"},
    ]
    f.move(programme.lead, rows, when="2021-05-01")
    cell = f"{plate} A2"
    for day, meant in (
        (date(2021, 3, 1), one),
        (date(2021, 4, 30), one),
        (date(2021, 5, 1), other),
        (date(2021, 6, 1), other),
    ):
        assert resolve.ramet_ids([cell], on=day) == {cell: meant.pk}
    assert resolve.ramet_ids([cell], on=date(2021, 2, 28)) == {}
    assert resolve.ramet_ids([cell]) == {cell: other.pk}


def test_a_late_entry_by_place_means_who_was_there_then(programme: f.Programme) -> None:
    plate = programme.plate.code
    rows = [{"structure": plate, "cell": "A2"}]
    one = f.cut(programme.lead, programme.mothers(), children=rows)[0]
    row = {"ramet": one.code, "structure": programme.tray.code}
    f.move(programme.lead, [row], when="2021-05-01")
    f.cut(programme.lead, programme.mothers(), children=rows, when="2021-06-01")
    child = f.cut(
        programme.lead, [], sources=[{"ramet": f"{plate.lower()} a2"}], when="2021-04-01"
    )[0]
    assert child.fragmentation is not None
    assert [source.ramet for source in child.fragmentation.sources.all()] == [one]


def test_a_cell_of_an_ended_ramet_names_it_on_a_day_before(programme: f.Programme) -> None:
    plate = programme.plate.code
    rows = [{"structure": plate, "cell": "A2"}]
    one = f.cut(programme.lead, programme.mothers(), children=rows)[0]
    f.cut(programme.lead, [], used_up=[one], when="2021-05-01")
    cell = f"{plate} A2"
    assert resolve.ramet_ids([cell], on=date(2021, 4, 1)) == {cell: one.pk}
    assert resolve.ramet_ids([cell], on=date(2021, 5, 1)) == {}


# Late and vague


def test_a_late_tag_is_refused_where_another_ramet_had_it_since(
    programme: f.Programme, pair: tuple[Ramet, Ramet]
) -> None:
    one, other = pair
    retag(programme.lead, {"ramet": one.code, "off": "7"}, when="2021-07-01")
    with refused("tag_taken", pointer="#/ramets/0/on") as caught:
        retag(programme.lead, {"ramet": other.code, "on": "7"}, when="2021-06-30")
    message = caught.value.problems[0].message
    for said in (one.code, "1 March 2021", "1 July 2021", "30 June 2021"):
        assert said in message


def test_a_birth_with_a_tag_obeys_the_dates_too(
    programme: f.Programme, pair: tuple[Ramet, Ramet]
) -> None:
    one, _ = pair
    retag(programme.lead, {"ramet": one.code, "off": "7"}, when="2021-07-01")
    mother = programme.mother()
    with refused("tag_taken", pointer="#/children/0/tag") as caught:
        f.cut(programme.lead, [mother], children=[{"tag": "7"}], when="2021-06-01")
    assert "1 March 2021" in caught.value.problems[0].message
    child = f.cut(programme.lead, [mother], children=[{"tag": "7"}], when="2021-07-01")[0]
    assert tags("7")[-1] == (child.code, "2021-07-01", None)


def test_a_tag_before_one_that_was_put_on_later_is_refused(
    programme: f.Programme, pair: tuple[Ramet, Ramet]
) -> None:
    one, other = pair
    retag(programme.lead, {"ramet": one.code, "on": "8"}, when="2021-08-01")
    late = {"ramet": other.code, "on": "8"}
    refused_row(programme, "tag_taken", late, "2021-06-01", "1 August 2021", "1 June 2021")


def test_a_vague_tag_is_on_from_the_first_day_on_which_it_was_free(
    programme: f.Programme, pair: tuple[Ramet, Ramet]
) -> None:
    one, other = pair
    retag(programme.lead, {"ramet": one.code, "off": "7"}, when="2021-07-10")
    retag(programme.lead, {"ramet": other.code, "on": "7"}, when="2021-07")
    assert tags("7") == [(one.code, "2021-03-01", "2021-07-10"), (other.code, "2021-07-10", None)]


def test_a_tag_that_came_off_in_a_vague_month_was_on_until_it_can_have_been(
    programme: f.Programme, pair: tuple[Ramet, Ramet]
) -> None:
    one, other = pair
    retag(programme.lead, {"ramet": one.code, "on": "8"}, when="2021-07-10")
    retag(
        programme.lead,
        {"ramet": one.code, "off": "8"},
        {"ramet": other.code, "on": "8"},
        when="2021-07",
    )
    assert tags("8") == [(one.code, "2021-07-10", "2021-07-10"), (other.code, "2021-07-10", None)]


def test_a_late_tag_stands_behind_later_entries_of_its_ramet(
    programme: f.Programme, pair: tuple[Ramet, Ramet]
) -> None:
    _, other = pair
    row = {"ramet": other.code, "structure": programme.tray.code}
    f.move(programme.lead, [row], when="2021-09-01")
    retag(programme.lead, {"ramet": other.code, "on": "8"})
    steps = Step.objects.filter(ramet=other, live=True).order_by("order")
    assert list(steps.values_list("what", flat=True)) == [What.BORN, What.TAGGED, What.PLACED]


def test_a_tag_before_its_ramet_was_born_is_refused(
    programme: f.Programme, pair: tuple[Ramet, Ramet]
) -> None:
    with refused("before_fragmentation", pointer="#/ramets/0/ramet"):
        retag(programme.lead, {"ramet": pair[1].code, "on": "8"}, when="2021-02-28")


# Refused


def test_a_tag_in_force_elsewhere_is_refused(
    programme: f.Programme, pair: tuple[Ramet, Ramet]
) -> None:
    row = {"ramet": pair[1].code, "on": "7"}
    refused_row(programme, "tag_taken", row, LATER, pair[0].code, "1 March 2021")


def test_one_tag_goes_on_one_ramet(programme: f.Programme, pair: tuple[Ramet, Ramet]) -> None:
    with refused("tag_twice", pointer="#/ramets/1/on"):
        retag(programme.lead, *({"ramet": ramet.code, "on": "9"} for ramet in pair))


def test_a_tag_that_was_never_on_does_not_come_off(
    programme: f.Programme, pair: tuple[Ramet, Ramet]
) -> None:
    with refused("tag_not_on", "tag_not_on", pointer="#/ramets/0/off"):
        retag(
            programme.lead,
            {"ramet": pair[0].code, "off": "8"},
            {"ramet": pair[1].code, "off": "7"},
        )


def test_a_tag_comes_off_once_and_not_before_it_was_put_on(
    programme: f.Programme, pair: tuple[Ramet, Ramet]
) -> None:
    one, _ = pair
    retag(programme.lead, {"ramet": one.code, "on": "8"}, when="2021-06-01")
    off = {"ramet": one.code, "off": "8"}
    refused_row(programme, "tag_not_on", off, "2021-05-31", "1 June 2021", "31 May 2021")
    retag(programme.lead, off)
    refused_row(programme, "tag_not_on", off, "2021-08-01", "1 July 2021", "1 August 2021")


@pytest.mark.parametrize("row", [{}, {"lost": True}, {"lost": True, "on": "8"}], ids=str)
def test_a_row_that_says_nothing_is_refused(
    programme: f.Programme, pair: tuple[Ramet, Ramet], row: dict[str, object]
) -> None:
    with refused("off_or_on"):
        retag(programme.lead, {"ramet": pair[0].code, **row})


def test_a_tagging_that_is_sent_twice_is_one(
    programme: f.Programme, pair: tuple[Ramet, Ramet]
) -> None:
    uid = str(uuid4())
    row = {"ramet": pair[0].code, "off": "7", "on": "8"}
    event = retag(programme.lead, row, uid=uid)
    assert retag(programme.lead, row, uid=uid) == event
    assert Tag.objects.count() == 2
    with refused("uid_taken", by=Conflict):
        retag(programme.lead, {**row, "lost": True}, uid=uid)


def test_who_works_elsewhere_may_not_change_tags(programme: f.Programme) -> None:
    ramet = f.cut(programme.lead, programme.mothers(), into=programme.tray)[0]
    row = {"ramet": ramet.code, "on": "8"}
    stranger, viewer = f.staff(f.nursery(programme.lead)), f.actor(Role.VIEWER)
    with refused("not_your_nursery", by=NotAllowed):
        retag(stranger, row)
    with refused("not_allowed", by=NotAllowed):
        retag(viewer, row)
    retag(f.staff(programme.nursery), row)
    assert resolve.one("8") == ramet


# Two of one text at once


@pytest.mark.parametrize(
    ("first", "second", "clash"),
    [
        (("2021-03-01", "2021-05-01"), ("2021-05-01", None), False),
        (("2021-03-01", "2021-05-01"), ("2021-04-30", None), True),
        (("2021-03-01", None), ("2021-06-01", "2021-06-02"), True),
        (("2021-03-01", "2021-05-01"), ("2021-03-01", "2021-03-01"), False),
        (("2021-03-01", "2021-05-01"), ("2021-04-01", "2021-04-01"), True),
        (("2021-03-01", "2021-05-01"), ("2021-01-01", "2021-03-01"), False),
    ],
    ids=str,
)
def test_tags_that_are_on_at_once_clash(
    programme: f.Programme,
    first: tuple[str, str | None],
    second: tuple[str, str | None],
    clash: bool,
) -> None:
    one, other = f.cut(programme.lead, programme.mothers(), 2)
    made = [
        Tag.objects.create(text="9", ramet=ramet, since=since, until=until)
        for ramet, (since, until) in ((one, first), (other, second))
    ]
    found = tag_clash(list(Tag.objects.all()))
    assert (found is not None) == clash
    if found is not None:
        assert set(found) == set(made)
        assert found[0].since <= found[1].since
    Tag.objects.filter(pk=made[0].pk).update(live=False)
    assert tag_clash(list(Tag.objects.all())) is None


def test_many_take_as_many_queries_as_few(programme: f.Programme) -> None:
    counts = []
    for series, number in (("A", 5), ("B", 50)):
        rows = [{"tag": f"{series} {n}"} for n in range(number)]
        ramets = f.cut(programme.lead, programme.mothers(), children=rows)
        changed = [
            {"ramet": ramet.code, "off": row["tag"], "on": f"NEW {row['tag']}"}
            for ramet, row in zip(ramets, rows, strict=True)
        ]
        with CaptureQueriesContext(connection) as queries:
            retag(programme.lead, *changed)
        counts.append(statements(queries))
    assert counts[0] == counts[1]
