"""Samplings: what is taken of what, who may, and what voiding and amending do to them."""

from __future__ import annotations

import uuid

import pytest
from django.db import IntegrityError, connection, transaction
from django.test.utils import CaptureQueriesContext

from nursery.core import registers
from nursery.core.actor import Role
from nursery.core.errors import Conflict, NotAllowed
from nursery.core.inputs import read
from nursery.core.models import Change, Event, EventKind
from nursery.genotyping.actions import take_samples
from nursery.genotyping.inputs import SamplingIn
from nursery.genotyping.models import Sample
from nursery.genotyping.queries import typed_of_table
from nursery.lineage.late import InTheWay
from nursery.lineage.models import Ramet, Step
from nursery.lineage.words import Life, What
from nursery.outplanting.actions.correct import amend, restore, void
from nursery.outplanting.corrections import AmendIn, RestoreIn, VoidIn
from tests import factories as f
from tests.genotyping.laboratory import ONE, OTHER, SAMPLED, panel, samples, sampling, table
from tests.lineage.ends import end
from tests.outplanting.reef import now
from tests.refusals import refused
from tests.standing import live_rows
from tests.verified import nothing_wrong


@pytest.fixture
def plugs(programme: f.Programme) -> list[Ramet]:
    return f.cut(programme.lead, programme.mothers(), 3, into=programme.tray)


def test_ramets_and_colonies_are_sampled(programme: f.Programme, plugs: list[Ramet]) -> None:
    event = sampling(
        programme.lead, plugs[0], programme.colony, laboratory="Invented Lab", done_by=["Ana"]
    )
    of_ramet, of_colony = Sample.objects.filter(event=event).order_by("pk")
    assert (of_ramet.code, of_ramet.ramet, of_ramet.colony) == (
        f"{plugs[0].code}.1",
        plugs[0],
        None,
    )
    assert (of_colony.code, of_colony.ramet, of_colony.colony) == (
        f"{programme.colony.code}.1",
        None,
        programme.colony,
    )
    assert of_ramet.laboratory == "Invented Lab"
    assert event.people == ["Ana"]
    assert Step.objects.get(event=event).what == What.SAMPLED
    nothing_wrong()


def test_a_ramet_lives_on_unless_all_of_it_was_taken(
    programme: f.Programme, plugs: list[Ramet]
) -> None:
    rows = [{"ramet": plugs[0].code}, {"ramet": plugs[1].code, "ended": True}]
    sampling(programme.lead, samples=rows)
    assert [Life(now(plug).life) for plug in plugs[:2]] == [Life.LIVING, Life.SAMPLED]
    nothing_wrong()


def test_samples_have_codes_of_their_own_or_are_numbered_within_their_source(
    programme: f.Programme, plugs: list[Ramet]
) -> None:
    given = [{"ramet": plugs[0].code, "code": "t-17", "label": "x9"}]
    (own,) = samples(programme.lead, samples=given)
    (first,) = samples(programme.lead, plugs[0])
    (second,) = samples(programme.lead, plugs[0])
    assert [row.code for row in (own, first, second)] == [
        "T-17",
        f"{plugs[0].code}.1",
        f"{plugs[0].code}.2",
    ]
    assert own.label == "x9"


def test_a_code_is_given_once(programme: f.Programme, plugs: list[Ramet]) -> None:
    samples(programme.lead, samples=[{"ramet": plugs[0].code, "code": "T-1"}])
    rows = [
        {"ramet": plugs[0].code, "code": "T-1"},
        {"ramet": plugs[1].code, "code": "T-2"},
        {"ramet": plugs[2].code, "code": "T-2"},
    ]
    with refused("code_taken", "named_twice", pointer="#/samples/0/code"):
        sampling(programme.lead, samples=rows)


def test_what_is_not_there_is_refused(programme: f.Programme, plugs: list[Ramet]) -> None:
    with refused("unknown_donorcolony", pointer="#/samples/1/colony"):
        sampling(programme.lead, samples=[{"ramet": plugs[0].code}, {"colony": "NONE"}])
    with refused("unknown_ramet", pointer="#/samples/0/ramet"):
        sampling(programme.lead, samples=[{"ramet": "NONE"}])
    with refused("named_twice", pointer="#/samples/1/colony"):
        sampling(programme.lead, programme.colony, programme.colony)
    with refused("named_twice", pointer="#/samples/1/ramet"):
        sampling(programme.lead, plugs[0], plugs[0])
    with refused("unknown_permit"):
        sampling(programme.lead, plugs[0], permits=["NONE"])


@pytest.mark.parametrize(
    ("row", "code"),
    [
        ({}, "ramet_or_colony"),
        ({"ramet": "A", "colony": "B"}, "ramet_or_colony"),
        ({"colony": "B", "ended": True}, "ended_colony"),
        ({"ramet": "A", "code": "?"}, "code_malformed"),
    ],
)
def test_a_row_names_one_thing(db: None, row: dict[str, object], code: str) -> None:
    with refused(code):
        read(SamplingIn, {"when": SAMPLED, "samples": [row]})


def test_only_what_lives_is_sampled_and_only_since_its_birth(
    programme: f.Programme, plugs: list[Ramet]
) -> None:
    end(programme.lead, plugs[:1], when="2021-03-05")
    with refused("not_living"):
        sampling(programme.lead, plugs[0])
    with refused("before_fragmentation"):
        sampling(programme.lead, plugs[1], when="2021-02-01")
    # It lived when that happened, though it is entered later.
    sampling(programme.lead, plugs[0], when="2021-03-02")
    nothing_wrong()


def test_a_colony_is_sampled_only_while_it_is_known(programme: f.Programme) -> None:
    p = programme
    late = f.colony(p.lead, p.taxon, p.reef, found_on="2021-12-01")
    gone = f.colony(p.lead, p.taxon, p.reef, closed_on="2021-01-01")
    with refused("before_colony_found", pointer="#/samples/0/colony"):
        sampling(p.lead, late)
    with refused("colony_closed"):
        sampling(p.lead, gone)


def test_nursery_staff_sample_their_own_stock_and_field_staff_colonies(
    programme: f.Programme, plugs: list[Ramet]
) -> None:
    sampling(f.staff(programme.nursery), plugs[0])
    sampling(f.field(), programme.colony)
    strange = f.staff(f.nursery(programme.lead))
    own, viewer = f.staff(programme.nursery), f.viewer()
    token = f.actor(Role.LEAD, read_only=True)
    with refused("not_your_nursery", by=NotAllowed):
        sampling(strange, plugs[0])
    with refused("not_allowed", by=NotAllowed):
        sampling(own, programme.colony)
    with refused("not_allowed", by=NotAllowed):
        sampling(viewer, plugs[0])
    with refused("read_only", by=NotAllowed):
        sampling(token, plugs[0])


def test_field_staff_sample_outplants(programme: f.Programme) -> None:
    (outplant,) = programme.outplants()
    sampling(f.field(), outplant)
    staff = f.staff(programme.nursery)
    with refused("not_allowed", by=NotAllowed):
        sampling(staff, outplant)


def test_the_same_sampling_twice_is_one(programme: f.Programme, plugs: list[Ramet]) -> None:
    given = {"uid": str(uuid.uuid4()), "when": SAMPLED, "samples": [{"ramet": plugs[0].code}]}
    first = take_samples(programme.lead, read(SamplingIn, given))
    again = take_samples(programme.lead, read(SamplingIn, given))
    assert (first.fresh, again.fresh) == (True, False)
    assert Sample.objects.count() == 1
    given["samples"] = [{"ramet": plugs[1].code}]
    with refused("uid_taken", by=Conflict):
        take_samples(programme.lead, read(SamplingIn, given))


def test_the_number_of_queries_does_not_grow_with_the_samples(programme: f.Programme) -> None:
    ramets = f.cut(programme.lead, programme.mothers(), 42, into=programme.tray)
    counts = []
    for part in (ramets[:2], ramets[2:42]):
        with CaptureQueriesContext(
            connection,
        ) as asked:
            sampling(programme.lead, *part)
        counts.append(len(asked))
    assert counts[0] == counts[1]


def test_a_void_sampling_leaves_nothing_and_is_restored_whole(
    programme: f.Programme, plugs: list[Ramet]
) -> None:
    rows = [{"ramet": plugs[0].code}, {"ramet": plugs[1].code, "ended": True}]
    before = live_rows()
    event = sampling(programme.lead, samples=rows)
    after = live_rows()
    void(programme.lead, VoidIn(event=event.uid, reason="never was"))
    assert live_rows() == before
    nothing_wrong()
    restore(programme.lead, RestoreIn(event=event.uid, reason="it was after all"))
    assert live_rows() == after
    assert Life(now(plugs[1]).life) is Life.SAMPLED
    nothing_wrong()


def test_what_was_born_by_a_void_event_cannot_have_been_sampled(
    programme: f.Programme, plugs: list[Ramet]
) -> None:
    sampling(programme.lead, plugs[0])
    with refused("behind_later_entry", by=InTheWay):
        void(programme.lead, VoidIn(event=plugs[0].born.uid, reason="a slip"))


def test_samples_of_a_void_sampling_are_compared_no_more(
    programme: f.Programme, plugs: list[Ramet]
) -> None:
    (gone,) = samples(programme.lead, programme.colony)
    (left,) = samples(programme.lead, plugs[0])
    made = table(programme.lead, panel(programme.lead), {gone: ONE, left: OTHER})
    void(programme.lead, VoidIn(event=gone.event.uid, reason="a slip"))
    assert [sample.pk for sample in typed_of_table(made).samples] == [left.pk]
    nothing_wrong()


def test_another_date_is_amended_if_the_samples_allow_it(
    programme: f.Programme, plugs: list[Ramet]
) -> None:
    p = programme
    colony = f.colony(p.lead, p.taxon, p.reef, found_on="2021-10-01")
    (sample, _) = samples(p.lead, plugs[0], colony)
    registers.edit(p.lead, sample, {"sent_on": "2021-10-12"})
    amend(p.lead, read(AmendIn, amended(sample.event, "2021-10-11")))
    with refused("before_sampling", by=InTheWay):
        amend(p.lead, read(AmendIn, amended(sample.event, "2021-10-13")))
    with refused("before_colony_found"):
        amend(p.lead, read(AmendIn, amended(sample.event, "2021-09-13")))
    nothing_wrong()


def amended(event: Event, when: str) -> dict[str, str]:
    return {"event": str(event.uid), "reason": "another day", "when": when}


def test_sending_and_receiving_are_edited_with_their_history(programme: f.Programme) -> None:
    (sample,) = samples(programme.lead, programme.colony)
    registers.edit(f.field(), sample, {"sent_on": "2021-10-12", "laboratory": "Invented Lab"})
    registers.edit(f.staff(programme.nursery), sample, {"received_on": "2021-10-20"})
    sample.refresh_from_db()
    assert (str(sample.sent_on), str(sample.received_on)) == ("2021-10-12", "2021-10-20")
    kept = Change.objects.filter(register="genotyping.sample").order_by("pk")
    assert [change.after for change in kept] == [
        {"laboratory": "Invented Lab", "sent_on": "2021-10-12"},
        {"received_on": "2021-10-20"},
    ]
    with refused("before_sampling", pointer="#/sent_on"):
        registers.edit(programme.lead, sample, {"sent_on": "2021-10-09"})
    with refused("malformed"):
        registers.edit(programme.lead, sample, {"received_on": "2021-10-11"})
    with refused("unknown_field"):
        registers.edit(programme.lead, sample, {"colony": programme.colony.code})


def test_the_database_holds_that_a_sample_is_of_one_thing(programme: f.Programme) -> None:
    (sample,) = samples(programme.lead, programme.colony)
    with (
        pytest.raises(IntegrityError, match="genotyping_sample_of_one_thing"),
        transaction.atomic(),
    ):
        Sample.objects.filter(pk=sample.pk).update(colony=None)


def test_a_sampling_is_an_event_of_its_kind(programme: f.Programme) -> None:
    event = sampling(programme.lead, programme.colony)
    assert EventKind(event.kind).word == "sampling"
