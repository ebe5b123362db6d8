"""Faults in events, their particulars, structures and the reef; each makes one rule untrue."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from datetime import UTC, datetime, time, timedelta

from django.db.models import F, QuerySet

from nursery.core.models import Correction, Event, EventKind, Mend
from nursery.donors.models import GenetMerge
from nursery.husbandry.models import Check, Finding, FindingState
from nursery.lineage.models import (
    Ending,
    Identification,
    Intake,
    Parent,
    Step,
    StructureCount,
    Tag,
)
from nursery.lineage.words import Life, What
from nursery.outplanting.models import (
    Condition,
    Observation,
    Outplant,
    Outplanting,
    PlotCount,
    Visit,
)
from nursery.places.models import Structure, StructureStep
from tests import factories as f
from tests.verify.season import Season

Plant = Callable[[Season], object]


def event_of(pk: int) -> QuerySet[Event]:
    return Event.objects.filter(pk=pk)


def new_event(s: Season, kind: EventKind, day: str = "2021-10-01") -> Event:
    moment = datetime.fromisoformat(day).replace(tzinfo=UTC)
    return Event.objects.create(
        kind=kind, earliest=day, latest=day, moment=moment, recorded_by_id=s.programme.lead.user_id
    )


# Events


def moment_after_its_date(s: Season) -> None:
    event_of(s.ending.pk).update(moment=F("moment") + timedelta(days=40))


def moment_before_its_date(s: Season) -> None:
    event_of(s.ending.pk).update(moment=F("moment") - timedelta(seconds=1))


def time_beside_the_moment(s: Season) -> None:
    event_of(s.ending.pk).update(time=time(10, 30))


def void_without_a_correction(s: Season) -> None:
    event_of(s.merge.pk).update(live=False)


def live_though_voided(s: Season) -> None:
    event_of(s.never[0].born_id).update(live=True)


def restored_only_by_a_correction(s: Season) -> None:
    Correction.objects.create(
        event=s.never[0].born, mend=Mend.RESTORED, reason="", by_id=s.programme.lead.user_id
    )


def steps_of_an_act_gone(s: Season) -> None:
    Step.objects.filter(event=s.tagging).update(live=False)


def standing_of_a_loss_gone(s: Season) -> None:
    StructureStep.objects.filter(event=s.loss).update(live=False)


def particulars_gone(s: Season) -> None:
    Ending.objects.filter(event=s.ending).delete()


def counts_gone(s: Season) -> None:
    StructureCount.objects.filter(event=s.count).delete()


def merge_without_genets(s: Season) -> None:
    GenetMerge.objects.filter(event=s.merge).delete()


def tags_of_a_tagging_gone(s: Season) -> None:
    Tag.objects.filter(event=s.tagging).update(event=None)
    Tag.objects.filter(ended_by=s.tagging).update(ended_by=s.ending)


def ending_of_a_loss(s: Season) -> None:
    Ending.objects.create(event=s.loss)


def intake_of_a_count(s: Season) -> None:
    Intake.objects.create(event=s.count, collection=s.loose, nursery=s.programme.nursery)


def relabelled_by_a_tagging(s: Season) -> None:
    Step.objects.filter(event=s.tagging).update(what=What.RELABELLED)


def structure_moved_by_a_tagging(s: Season) -> None:
    StructureStep.objects.create(event=s.tagging, structure=s.rock, order=3, lost=True)


def standing_by_a_void_event(s: Season) -> None:
    StructureStep.objects.create(event=s.never[0].born, structure=s.rock, order=3, lost=True)


def tag_by_a_void_event(s: Season) -> None:
    Tag.objects.create(text="T77", ramet=s.mother, since="2021-04-03", event=s.never[0].born)


# Structures


def gap_in_the_steps_of_a_structure(s: Season) -> None:
    StructureStep.objects.filter(structure=s.rock, order=2).update(order=5)


def steps_of_a_structure_swapped(s: Season) -> None:
    first, second = StructureStep.objects.filter(structure=s.rock).order_by("order")
    StructureStep.objects.filter(pk=first.pk).update(order=9)
    StructureStep.objects.filter(pk=second.pk).update(order=1)
    StructureStep.objects.filter(pk=first.pk).update(order=2)


def a_step_of_two_places(s: Season) -> None:
    StructureStep.objects.filter(structure=s.rock, order=1).update(bay=s.programme.bay)


def a_step_of_no_place(s: Season) -> None:
    StructureStep.objects.filter(structure=s.programme.tray).update(bay=None)


def structure(pk: int) -> QuerySet[Structure]:
    return Structure.objects.filter(pk=pk)


def bay_gone(s: Season) -> None:
    structure(s.programme.plate.pk).update(bay=None)


def another_bay(s: Season) -> None:
    structure(s.programme.plate.pk).update(bay=f.bay(s.programme.lead, s.programme.nursery))


def another_parent(s: Season) -> None:
    structure(s.rock.pk).update(parent=f.structure(s.programme.lead))


def another_parent_row(s: Season) -> None:
    structure(s.rock.pk).update(parent_row=11)


def another_parent_column(s: Season) -> None:
    structure(s.rock.pk).update(parent_column=11)


def in_a_plot(s: Season) -> None:
    structure(s.rock.pk).update(
        parent=None, parent_row=None, parent_column=None, plot=s.programme.plot
    )


def lost_in_its_row(s: Season) -> None:
    structure(s.programme.plate.pk).update(lost=True)


def found_in_its_row(s: Season) -> None:
    structure(s.lost_tray.pk).update(lost=False)


def another_nursery(s: Season) -> None:
    structure(s.programme.plate.pk).update(nursery=f.nursery(s.programme.lead))


def nursery_not_handed_down(s: Season) -> None:
    structure(s.rock.pk).update(nursery=None)


def ring_now(s: Season) -> None:
    structure(s.programme.plate.pk).update(bay=None, parent=s.rock)


def ring_then(s: Season) -> None:
    step = StructureStep(structure=s.programme.plate, order=2, parent=s.rock)
    step.event = new_event(s, EventKind.STRUCTURE_MOVE, "2021-06-01")
    step.save()
    back = StructureStep(structure=s.programme.plate, order=3, bay=s.programme.bay)
    back.event = new_event(s, EventKind.STRUCTURE_MOVE, "2021-06-02")
    back.save()


# The reef


def outplant_gone(s: Season) -> None:
    Outplant.objects.filter(ramet=s.children[0], outplanting=s.planting).delete()


def outplant_too_many(s: Season) -> None:
    Outplant.objects.create(outplanting=s.planting, ramet=s.mother)


def outplanting_in_another_plot(s: Season) -> None:
    other = f.plot(s.programme.lead, s.programme.site)
    Outplanting.objects.filter(pk=s.planting.pk).update(plot=other)


def planted_structure_in_another_plot(s: Season) -> None:
    other = f.plot(s.programme.lead, s.programme.site)
    StructureStep.objects.filter(plot__isnull=False).update(plot=other)


def planted_with_another_structure(s: Season) -> None:
    Outplant.objects.filter(ramet=s.carried[0]).update(structure=s.rock)


def planted_in_another_cell(s: Season) -> None:
    Outplant.objects.filter(ramet=s.carried[0]).update(column=2)


def seen_alive_by_its_row(s: Season) -> None:
    Observation.objects.filter(ramet=s.children[2]).update(condition=Condition.ALIVE)


def another_cause_by_its_row(s: Season) -> None:
    Observation.objects.filter(ramet=s.children[1]).update(cause=4)


def observation_gone(s: Season) -> None:
    Observation.objects.filter(ramet=s.children[0], visit=s.visit).delete()


def seen_in_another_plot(s: Season) -> None:
    other = f.plot(s.programme.lead, s.programme.site)
    Observation.objects.filter(ramet=s.children[0], visit=s.visit).update(plot=other)


def seen_at_another_site(s: Season) -> None:
    Visit.objects.filter(pk=s.visit.pk).update(site=f.site(s.programme.lead))


def plot_of_another_site_counted(s: Season) -> None:
    plot = f.plot(s.programme.lead, f.site(s.programme.lead))
    PlotCount.objects.create(visit=s.visit, plot=plot, alive=3)


def counted_on_a_visit_to_a_reef(s: Season) -> None:
    PlotCount.objects.create(visit=s.reef_visit, plot=s.programme.plot, alive=3)


def seen_on_another_reef(s: Season) -> None:
    Visit.objects.filter(pk=s.reef_visit.pk).update(reef=f.reef(s.programme.lead))


def piece_of_an_identification_gone(s: Season) -> None:
    Identification.objects.filter(event=s.identification).update(found=None)


def another_was_found(s: Season) -> None:
    Identification.objects.filter(event=s.identification).update(ramet=s.mother)


# Checks


def found_alive_by_its_row(s: Season) -> None:
    dead = Finding.objects.filter(during=s.check.pk, state=FindingState.DEAD)
    dead.update(state=FindingState.LOOSE)


def found_missing_by_its_row(s: Season) -> None:
    dead = Finding.objects.filter(during=s.check.pk, state=FindingState.DEAD)
    dead.update(state=FindingState.MISSING)


def finding_gone(s: Season) -> None:
    Finding.objects.filter(during=s.check.pk, state=FindingState.ATTACHED).delete()


def finding_too_many(s: Season) -> None:
    Finding.objects.create(during_id=s.check.pk, ramet=s.mother, state=FindingState.ATTACHED)


def check_without_particulars(s: Season) -> None:
    Finding.objects.filter(during=s.check.pk).delete()
    Check.objects.filter(pk=s.check.pk).delete()


# Births and counts


def intake_of_another_collection(s: Season) -> None:
    Intake.objects.filter(event=s.intake).update(collection=s.loose)


def more_counted_dead(s: Season) -> None:
    StructureCount.objects.filter(event=s.count, lot__isnull=False).update(dead=2)


def counted_dead_for_missing(s: Season) -> None:
    Step.objects.filter(event=s.count, what=What.COUNTED_MISSING).update(
        what=What.COUNTED_DEAD, life=Life.DEAD
    )


def fused_into_one_that_has_never_been(s: Season) -> None:
    Ending.objects.filter(event=s.ending).update(into=s.never[0])


def fused_into_one_that_was_born_later(s: Season) -> None:
    Ending.objects.filter(event=s.ending).update(into=s.carried[0])


def counted_a_lot_that_was_cut_later(s: Season) -> None:
    later = s.carried[0].fragmentation_id
    StructureCount.objects.filter(event=s.count, lot__isnull=False).update(lot=later)


def parents_of_a_legacy_ramet(s: Season) -> None:
    Parent.objects.create(ramet=s.legacy, genet=s.kept_genet)


FAULTS: Mapping[str, Sequence[Plant]] = {
    "event_moment": [moment_after_its_date, moment_before_its_date, time_beside_the_moment],
    "event_live": [void_without_a_correction, live_though_voided, restored_only_by_a_correction],
    "event_without_steps": [steps_of_an_act_gone, standing_of_a_loss_gone],
    "particulars_missing": [
        particulars_gone,
        counts_gone,
        merge_without_genets,
        tags_of_a_tagging_gone,
        check_without_particulars,
    ],
    "particulars_of_other_kind": [ending_of_a_loss, intake_of_a_count],
    "step_of_other_kind": [relabelled_by_a_tagging, structure_moved_by_a_tagging],
    "live_standing_of_void_event": [standing_by_a_void_event],
    "live_tag_of_void_event": [tag_by_a_void_event],
    "structure_step_numbers": [gap_in_the_steps_of_a_structure],
    "structure_steps_out_of_order": [steps_of_a_structure_swapped],
    "standing_values": [a_step_of_two_places, a_step_of_no_place],
    "structure_bay": [bay_gone, another_bay],
    "structure_parent": [another_parent],
    "structure_parent_row": [another_parent_row],
    "structure_parent_column": [another_parent_column],
    "structure_plot": [in_a_plot],
    "structure_lost": [lost_in_its_row, found_in_its_row],
    "structure_nursery": [another_nursery, nursery_not_handed_down],
    "structure_in_itself": [ring_now],
    "structure_stood_in_itself": [ring_then],
    "outplants": [outplant_gone, outplant_too_many],
    "outplanting_plot": [outplanting_in_another_plot, planted_structure_in_another_plot],
    "outplant_structure": [planted_with_another_structure, planted_in_another_cell],
    "observation": [seen_alive_by_its_row, another_cause_by_its_row, observation_gone],
    "observation_plot": [seen_in_another_plot],
    "observation_other_site": [seen_at_another_site],
    "plot_count_other_site": [plot_of_another_site_counted, counted_on_a_visit_to_a_reef],
    "observation_other_reef": [seen_on_another_reef],
    "finding": [
        found_alive_by_its_row,
        found_missing_by_its_row,
        finding_gone,
        finding_too_many,
    ],
    "identification": [piece_of_an_identification_gone, another_was_found],
    "intake_of_other_pieces": [intake_of_another_collection],
    "lot_count": [more_counted_dead, counted_dead_for_missing],
    "named_before_born": [
        fused_into_one_that_has_never_been,
        fused_into_one_that_was_born_later,
        counted_a_lot_that_was_cut_later,
    ],
    "parents_of_unsettled": [parents_of_a_legacy_ramet],
}
