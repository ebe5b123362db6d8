"""Faults in ramets: their steps, what their rows say of them, their cells, codes and tags."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from datetime import timedelta
from typing import Any

from django.db.models import F, QuerySet

from nursery.core.codes import make_code
from nursery.core.models import CodeSeries, Event
from nursery.lineage.models import Ramet, Step, Tag
from nursery.lineage.words import Cause, Life, Place, What
from nursery.places.cells import Cell
from nursery.places.models import Structure
from tests import factories as f
from tests.verify.season import Season, now

Plant = Callable[[Season], object]


def row(ramet: Ramet) -> QuerySet[Ramet]:
    return Ramet.everything.filter(pk=ramet.pk)


def steps(ramet: Ramet, **which: Any) -> QuerySet[Step]:
    return Step.objects.filter(ramet=ramet, **which)


# Steps


def gap_in_the_steps(s: Season) -> None:
    last = now(s.mother).steps_taken
    steps(s.mother, order=last).update(order=last + 5)


def a_step_is_gone(s: Season) -> None:
    steps(s.mother, order=2).delete()


def steps_swapped(s: Season) -> None:
    first, second = steps(s.mother, order__in=[3, 4]).order_by("order")
    Step.objects.filter(pk=first.pk).update(order=99)
    Step.objects.filter(pk=second.pk).update(order=3)
    Step.objects.filter(pk=first.pk).update(order=4)


def event_put_before_what_it_needs(s: Season) -> None:
    event = Event.objects.filter(pk=s.planting.pk)
    event.update(earliest="2020-06-01", latest="2020-06-01", moment=F("moment") - timedelta(365))


def cut_twice_by_one_event(s: Season) -> None:
    Step.objects.create(
        event=s.cutting.event,
        ramet=s.mother,
        order=now(s.mother).steps_taken + 1,
        what=What.CUT_FROM,
    )


def steps_of_a_void_event(s: Season) -> None:
    Step.objects.filter(event=s.never[0].born).exclude(what=What.CUT_FROM).update(live=True)


def unknown_cause(s: Season) -> None:
    steps(s.children[1], what=What.SEEN_DEAD).update(cause=99)


def unknown_life(s: Season) -> None:
    steps(s.children[1], what=What.SEEN_DEAD).update(life=99)


def dead_by_a_planting(s: Season) -> None:
    steps(s.children[0], what=What.PLANTED, order=2).update(life=Life.DEAD)


def planted_in_a_structure(s: Season) -> None:
    steps(s.children[0], what=What.PLANTED, order=2).update(
        place=Place.STRUCTURE, structure=s.programme.tray, plot=None
    )


def cause_without_a_death(s: Season) -> None:
    steps(s.children[2], what=What.SEEN_MISSING).update(cause=Cause.STORM)


def rebased_without_a_base(s: Season) -> None:
    steps(s.rebased, base__isnull=False).update(what=What.REBASED, base=None)


def lifted_from_a_tray(s: Season) -> None:
    steps(s.mother, order=2).update(what=What.LIFTED)


def acts_after_an_end(s: Season) -> None:
    steps(s.mother, order=2).update(what=What.ENDED, life=Life.DISCARDED)


def born_by_another_event(s: Season) -> None:
    row(s.legacy).update(born=s.settled.born)


def born_by_an_event_that_is_void(s: Season) -> None:
    Event.objects.filter(pk=s.legacy.born_id).update(live=False)


# What the row says


def ended_by_its_row(s: Season) -> None:
    row(s.mother).update(life=Life.LOST)


def never_been_by_its_row(s: Season) -> None:
    row(s.legacy).update(life=Life.NEVER)


def living_though_never_born(s: Season) -> None:
    row(s.never[0]).update(life=Life.LIVING)


def another_cause(s: Season) -> None:
    row(s.children[1]).update(cause=Cause.COLD)


def packed_by_its_row(s: Season) -> None:
    row(s.mother).update(place=Place.PACKED, structure=None)


def another_structure(s: Season) -> None:
    row(s.mother).update(structure=s.lost_tray)


def another_row(s: Season) -> None:
    row(s.children[3]).update(row=11)


def another_column(s: Season) -> None:
    row(s.children[3]).update(column=11)


def another_plot(s: Season) -> None:
    row(s.carried[0]).update(plot=f.plot(s.programme.lead, s.programme.site))


def another_base(s: Season) -> None:
    row(s.rebased).update(rebased="tile")


def first_base(s: Season) -> None:
    row(s.rebased).update(rebased=None)


def more_steps(s: Season) -> None:
    row(s.mother).update(steps_taken=F("steps_taken") + 1)


def another_last_moment(s: Season) -> None:
    row(s.mother).update(not_before=F("not_before") + timedelta(milliseconds=1))


# Cells


def into_a_cell_that_was_held(s: Season) -> None:
    """Of the past: both have left the cell since."""
    cell = steps(s.children[0], order=1).values_list("row", "column").get()
    steps(s.children[1], order=1).update(row=cell[0], column=cell[1])


def into_the_cell_of_a_structure(s: Season) -> None:
    rock = Structure.objects.get(pk=s.rock.pk)
    steps(s.children[3], order=1).update(row=rock.parent_row, column=rock.parent_column)


def cell_blocked(s: Season) -> None:
    cell = now(s.children[3]).cell
    Structure.objects.filter(pk=s.programme.plate.pk).update(blocked=[str(cell)])


def cell_of_a_structure_blocked(s: Season) -> None:
    rock = Structure.objects.get(pk=s.rock.pk)
    cell = Cell(rock.parent_row or 0, rock.parent_column or 0)
    Structure.objects.filter(pk=s.programme.plate.pk).update(blocked=[str(cell)])


def grid_cut_off(s: Season) -> None:
    Structure.objects.filter(pk=s.programme.plate.pk).update(rows=1)


def grid_gone(s: Season) -> None:
    Structure.objects.filter(pk=s.programme.plate.pk).update(rows=None, columns=None)


def never_used_by_its_row(s: Season) -> None:
    Structure.objects.filter(pk=s.programme.plate.pk).update(busy_until=None)


def used_later_by_its_row(s: Season) -> None:
    later = F("busy_until") + timedelta(days=1)
    Structure.objects.filter(pk=s.programme.plate.pk).update(busy_until=later)


# Codes and tags


def wrong_check_character(s: Season) -> None:
    code = s.mother.code
    row(s.mother).update(code=code[:-1] + ("A" if code[-1] != "A" else "B"))


def code_in_small_letters(s: Season) -> None:
    row(s.mother).update(code=s.mother.code.lower())


def code_that_is_none(s: Season) -> None:
    row(s.mother).update(code="MOTHER")


def code_of_no_series(s: Season) -> None:
    row(s.mother).update(code=make_code("ZZZZ", 1))


def series_before_its_codes(s: Season) -> None:
    CodeSeries.objects.filter(pk=s.programme.nursery.series_id).update(next_number=1)


def tag(text: str) -> QuerySet[Tag]:
    return Tag.objects.filter(text=text)


def tag_before_its_event(s: Season) -> None:
    tag("T2").update(since="2020-01-01")


def tag_off_without_an_event(s: Season) -> None:
    tag("T2").update(until="2021-08-01")


def tag_on_after_its_end(s: Season) -> None:
    tag("T7").filter(ended_by__isnull=False).update(ended_by=None)


def tag_lost_and_on(s: Season) -> None:
    tag("T2").update(lost=True)


def tag_off_on_another_day(s: Season) -> None:
    tag("T1").filter(until__isnull=False).update(until="2021-08-01")


def tag_off_by_a_void_event(s: Season) -> None:
    tag("T2").update(until="2021-04-03", ended_by=s.never[0].born)


def tag_not_live(s: Season) -> None:
    tag("T2").update(live=False)


def tag_on_two_ramets(s: Season) -> None:
    tag("T1").filter(until__isnull=False).update(until="2021-09-20")


def tag_given_again(s: Season) -> None:
    Tag.objects.create(
        text="T2", ramet=s.mother, since="2021-05-01", until="2021-06-01", ended_by=s.planting.event
    )


FAULTS: Mapping[str, Sequence[Plant]] = {
    "step_numbers": [gap_in_the_steps, a_step_is_gone],
    "steps_out_of_order": [steps_swapped, event_put_before_what_it_needs],
    "two_steps_of_one_event": [cut_twice_by_one_event],
    "live_step_of_void_event": [steps_of_a_void_event],
    "step_words": [unknown_cause, unknown_life],
    "step_values": [
        dead_by_a_planting,
        planted_in_a_structure,
        cause_without_a_death,
        rebased_without_a_base,
    ],
    "impossible_history": [lifted_from_a_tray, acts_after_an_end],
    "born_by": [born_by_another_event],
    "born_by_void_event": [born_by_an_event_that_is_void],
    "ramet_life": [ended_by_its_row, never_been_by_its_row, living_though_never_born],
    "ramet_cause": [another_cause],
    "ramet_place": [packed_by_its_row],
    "ramet_structure": [another_structure],
    "ramet_row": [another_row],
    "ramet_column": [another_column],
    "ramet_plot": [another_plot],
    "ramet_rebased": [another_base, first_base],
    "ramet_steps_taken": [more_steps],
    "ramet_not_before": [another_last_moment],
    "cell_held_twice": [into_a_cell_that_was_held, into_the_cell_of_a_structure],
    "cell_holds_nothing": [cell_blocked, cell_of_a_structure_blocked, grid_cut_off, grid_gone],
    "structure_busy_until": [never_used_by_its_row, used_later_by_its_row],
    "code": [wrong_check_character, code_in_small_letters, code_that_is_none],
    "code_series": [code_of_no_series],
    "next_number": [series_before_its_codes],
    "tag_since": [tag_before_its_event],
    "tag_end": [tag_off_without_an_event, tag_on_after_its_end, tag_lost_and_on],
    "tag_until": [tag_off_on_another_day],
    "tag_ended_by_void_event": [tag_off_by_a_void_event],
    "tag_of_live_event": [tag_not_live],
    "tag_on_two": [tag_on_two_ramets, tag_given_again],
}
