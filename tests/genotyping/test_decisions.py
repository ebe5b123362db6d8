"""Decisions about groups: what they lead to, and that voiding it takes all of it back."""

from __future__ import annotations

import uuid
from dataclasses import dataclass

import pytest

from nursery.core.errors import Conflict, NotAllowed, Unknown
from nursery.core.models import Event, EventKind
from nursery.core.registers import edit
from nursery.diversity.queries import diversity
from nursery.donors.models import DonorColony, Genet, GenetMerge
from nursery.genotyping import actions
from nursery.genotyping.inputs import RejectedIn
from nursery.genotyping.models import Confirmation, Decision, MatchGroup, Sample, Verdict
from nursery.genotyping.queries import confirmations_of
from nursery.lineage.models import Ramet, Relabelling
from nursery.outplanting.actions.correct import restore, void
from nursery.outplanting.corrections import RestoreIn, VoidIn
from tests import factories as f
from tests.genotyping.laboratory import (
    DECIDED,
    ONE,
    OTHER,
    accept,
    accepted_in,
    panel,
    proposal,
    reject,
    samples,
    table,
)
from tests.refusals import refused
from tests.verified import nothing_wrong


@dataclass(frozen=True, slots=True)
class Reef:
    """Two colonies, thought to be two genets; outplants of each at one site, in two plots; and one
    ramet whose genet is not known."""

    programme: f.Programme
    twin: DonorColony
    outplants: list[Ramet]
    """Two of the first colony, then one of its twin."""
    stranger: Ramet

    @property
    def genet(self) -> Genet:
        return Genet.objects.get(pk=self.programme.colony.genet_id)

    @property
    def other(self) -> Genet:
        return Genet.objects.get(pk=self.twin.genet_id)

    def report(self) -> object:
        return diversity(self.programme.lead, self.programme.site)


@pytest.fixture
def reef(programme: f.Programme) -> Reef:
    p = programme
    twin = f.colony(p.lead, p.taxon, p.reef)
    of_twin = f.cut(p.lead, f.mothers(p.lead, twin, p.tray), 1, into=p.tray)
    outplants = f.cut(p.lead, p.mothers(), 2, into=p.tray)
    f.planting(p.lead, p.plot, outplants)
    f.planting(p.lead, f.plot(p.lead, p.site), of_twin)
    stranger = f.stock(
        p.lead, p.nursery, [{"taxon": p.taxon.code, "structure": p.tray.code}], origin="found"
    )[0]
    return Reef(p, twin, [*outplants, *of_twin], stranger)


def group_of(reef: Reef, *sources: Ramet | DonorColony) -> MatchGroup:
    """A group of samples that are all alike."""
    lead = reef.programme.lead
    taken = samples(lead, *sources)
    made = proposal(lead, table(lead, panel(lead), dict.fromkeys(taken, ONE)))
    return made.groups.get(number=1)


def now(ramet: Ramet) -> Ramet:
    return Ramet.objects.select_related("genet__canonical").get(pk=ramet.pk)


def take_back(reef: Reef, event: Event) -> None:
    void(reef.programme.lead, VoidIn(event=event.uid, reason="samples were swapped"))


def give_back(reef: Reef, event: Event) -> None:
    restore(reef.programme.lead, RestoreIn(event=event.uid, reason="they were not"))


def test_two_genets_are_merged_by_the_entry_that_anybody_makes(reef: Reef) -> None:
    group = group_of(reef, reef.programme.colony, reef.twin)
    decision = accept(reef.programme.lead, group, reef.genet, merge=[reef.other.code])
    (event,) = decision.events.all()
    assert EventKind(event.kind) is EventKind.GENET_MERGE
    merge = GenetMerge.objects.get(event=event)
    assert (merge.kept, merge.merged) == (reef.genet, reef.other)
    assert reef.other.canonical == reef.genet
    assert (event.note, str(event.when)) == ("one genotype", DECIDED)
    nothing_wrong()


def test_wrong_labels_are_relabelled_by_the_entry_that_anybody_makes(reef: Reef) -> None:
    group = group_of(reef, *reef.outplants, reef.stranger)
    wrong = [reef.outplants[2], reef.stranger]
    decision = accept(
        reef.programme.lead, group, reef.genet, ramets=[ramet.code for ramet in wrong]
    )
    (event,) = decision.events.all()
    assert Relabelling.objects.get(event=event).genet == reef.genet
    assert [now(ramet).genet for ramet in wrong] == [reef.genet, reef.genet]
    nothing_wrong()


def test_a_genet_is_confirmed_by_panel_date_and_what_was_sampled(reef: Reef) -> None:
    group = group_of(reef, reef.programme.colony, reef.outplants[0])
    accept(reef.programme.lead, group, reef.genet)
    genet = reef.genet
    assert (genet.status, genet.panel, str(genet.confirmed_on)) == (
        "confirmed",
        group.proposal.panel.code,
        DECIDED,
    )
    found = confirmations_of(genet)
    assert {row.source for row in found} == {
        reef.programme.colony.code,
        reef.outplants[0].code,
    }
    assert {row.of_colony for row in found} == {True, False}


def test_a_donors_genotype_confirms_no_label_of_a_ramet(reef: Reef) -> None:
    accept(reef.programme.lead, group_of(reef, reef.programme.colony), reef.genet)
    (row,) = confirmations_of(reef.genet)
    assert (row.source, row.of_colony) == (reef.programme.colony.code, True)
    assert not Confirmation.objects.filter(sample__ramet__isnull=False).exists()


def test_a_preview_says_what_the_decision_then_does(reef: Reef) -> None:
    p = reef.programme
    group = group_of(reef, p.colony, reef.twin, reef.stranger)
    given = accepted_in(group, reef.genet, merge=[reef.other.code], ramets=[reef.stranger.code])
    before = reef.report()
    told = actions.accepting_effect(p.lead, given)
    assert reef.report() == before
    assert not Decision.objects.exists()
    tallies = {(row.where.code, row.genet): (row.before, row.after) for row in told.tallies}
    assert tallies == {
        (p.site.code, reef.genet.code): (2, 3),
        (p.site.code, reef.other.code): (1, 0),
        (p.nursery.code, reef.genet.code): (1, 3),
        (p.nursery.code, reef.other.code): (1, 0),
        (p.nursery.code, ""): (1, 0),
    }
    assert told.ramets == 3
    actions.accept(p.lead, given)
    assert diversity(p.lead, p.site).whole.indices.genets == 1
    nothing_wrong()


@pytest.mark.parametrize("how", ["merge", "relabel", "both"])
def test_voiding_what_a_decision_led_to_restores_the_reports_exactly(reef: Reef, how: str) -> None:
    p = reef.programme
    group = group_of(reef, reef.outplants[0], reef.outplants[2], reef.stranger)
    wrong = [reef.stranger.code, *([reef.outplants[2].code] if how == "relabel" else [])]
    merged = [] if how == "relabel" else [reef.other.code]
    if how == "merge":
        group = group_of(reef, reef.outplants[0], reef.outplants[2])
        wrong = []
    before, genets = reef.report(), list(Genet.objects.order_by("pk").values("status", "panel"))
    decision = accept(p.lead, group, reef.genet, merge=merged, ramets=wrong)
    after = reef.report()
    assert after != before
    events = list(decision.events.order_by("pk"))
    for event in reversed(events):
        take_back(reef, event)
    assert reef.report() == before
    assert list(Genet.objects.order_by("pk").values("status", "panel")) == genets
    nothing_wrong()
    for event in events:
        give_back(reef, event)
    assert reef.report() == after
    nothing_wrong()


def test_a_genet_that_another_decision_confirms_stays_confirmed(reef: Reef) -> None:
    p = reef.programme
    first = accept(p.lead, group_of(reef, p.colony, reef.twin), reef.genet, merge=[reef.other.code])
    other = group_of(reef, reef.outplants[0])
    accept(p.lead, other, reef.genet, when="2021-11-12")
    (event,) = first.events.all()
    take_back(reef, event)
    genet = reef.genet
    assert (genet.status, genet.panel) == ("confirmed", other.proposal.panel.code)
    assert [row.source for row in confirmations_of(genet)] == [reef.outplants[0].code]


def test_a_genet_is_presumed_again_when_the_sampling_is_void(reef: Reef) -> None:
    p = reef.programme
    group = group_of(reef, p.colony)
    accept(p.lead, group, reef.genet)
    event = Sample.objects.get(memberships__group=group).event
    take_back(reef, event)
    assert (reef.genet.status, confirmations_of(reef.genet)) == ("presumed", ())
    give_back(reef, event)
    assert reef.genet.status == "confirmed"


def test_what_a_person_wrote_about_a_genet_stays(reef: Reef) -> None:
    p = reef.programme
    values = {"status": "confirmed", "panel": "an older one", "confirmed_on": "2020-02-02"}
    edit(p.lead, reef.genet, values)
    decision = accept(
        p.lead, group_of(reef, p.colony, reef.twin), reef.genet, merge=[reef.other.code]
    )
    assert reef.genet.panel == "an older one"
    take_back(reef, decision.events.get())
    assert (reef.genet.status, reef.genet.panel) == ("confirmed", "an older one")


def test_a_rejection_changes_nothing_but_is_kept_with_its_reason(reef: Reef) -> None:
    group = group_of(reef, reef.programme.colony, reef.twin)
    before = reef.report()
    decision = reject(reef.programme.lead, group, reason="null alleles at Inv2")
    assert (decision.verdict, decision.reason, decision.genet) == (
        Verdict.REJECTED,
        "null alleles at Inv2",
        None,
    )
    assert not decision.events.exists()
    assert reef.report() == before
    assert not Confirmation.objects.exists()


def test_a_rejection_after_a_confirmation_takes_that_back(reef: Reef) -> None:
    p = reef.programme
    group = group_of(reef, p.colony)
    accept(p.lead, group, reef.genet)
    reject(p.lead, group)
    assert reef.genet.status == "presumed"
    assert confirmations_of(reef.genet) == ()


def test_what_led_to_entries_is_decided_again_only_after_they_are_void(reef: Reef) -> None:
    p = reef.programme
    group = group_of(reef, p.colony, reef.twin)
    decision = accept(p.lead, group, reef.genet, merge=[reef.other.code])
    with refused("decided_already", pointer="#/group"):
        reject(p.lead, group)
    take_back(reef, decision.events.get())
    reject(p.lead, group)
    assert group.decisions.count() == 2


def test_all_of_a_group_is_one_genet_afterwards_or_nothing_happens(reef: Reef) -> None:
    p = reef.programme
    group = group_of(reef, p.colony, reef.twin, reef.stranger)
    with refused("left_over", "left_over", pointer="#/group"):
        accept(p.lead, group, reef.genet)
    with refused("left_over"):
        accept(p.lead, group, reef.genet, merge=[reef.other.code])


def test_what_cannot_be_accepted_is_refused_at_its_field(reef: Reef) -> None:
    p = reef.programme
    group = group_of(reef, p.colony, reef.twin)
    merged = accepted_in(group, reef.genet, merge=[reef.other.code])
    foreign = f.genet(p.lead, f.taxon(p.lead))
    with refused("genet_other_taxon", pointer="#/merge/0"):
        accept(p.lead, group, reef.genet, merge=[foreign.code])
    with refused("unknown_genet", pointer="#/merge/0"):
        accept(p.lead, group, reef.genet, merge=["NONE"])
    with refused("unknown_genet", pointer="#/genet"):
        actions.accept(p.lead, merged.model_copy(update={"genet": "NONE"}))
    with refused("not_in_group", pointer="#/ramets/0"):
        accept(p.lead, group, reef.genet, ramets=[reef.stranger.code])
    with refused("unknown_group", by=Unknown):
        actions.reject(p.lead, RejectedIn(proposal=group.proposal.uid, group=99, reason="none"))
    accept(p.lead, group, reef.genet, merge=[reef.other.code])
    again = group_of(reef, reef.outplants[0])
    with refused("not_itself", pointer="#/genet"):
        accept(p.lead, again, reef.other)


def test_an_impossible_relabelling_takes_the_whole_decision_back(reef: Reef) -> None:
    group = group_of(reef, reef.outplants[0], reef.stranger)
    with refused("before_stock_entry"):
        accept(
            reef.programme.lead,
            group,
            reef.genet,
            ramets=[reef.stranger.code],
            when="2020-05-05",
        )


def test_the_same_decision_twice_is_one(reef: Reef) -> None:
    p = reef.programme
    group = group_of(reef, p.colony, reef.twin)
    given = accepted_in(group, reef.genet, merge=[reef.other.code], uid=str(uuid.uuid4()))
    first, again = actions.accept(p.lead, given), actions.accept(p.lead, given)
    assert (first.fresh, again.fresh, again.decision) == (True, False, first.decision)
    assert GenetMerge.objects.count() == 1
    with refused("uid_taken", by=Conflict):
        actions.accept(p.lead, given.model_copy(update={"reason": "another"}))


def test_only_leads_decide(reef: Reef) -> None:
    group = group_of(reef, reef.programme.colony)
    for actor in (f.field(), f.staff(reef.programme.nursery)):
        with refused("not_allowed", by=NotAllowed):
            accept(actor, group, reef.genet)
        with refused("not_allowed", by=NotAllowed):
            reject(actor, group)


def test_samples_that_match_nobody_confirm_their_genet_alone(reef: Reef) -> None:
    p = reef.programme
    taken: list[Sample] = samples(p.lead, p.colony, reef.twin)
    made = proposal(p.lead, table(p.lead, panel(p.lead), {taken[0]: ONE, taken[1]: OTHER}))
    accept(p.lead, made.groups.get(number=2), reef.other)
    assert (reef.genet.status, reef.other.status) == ("presumed", "confirmed")
