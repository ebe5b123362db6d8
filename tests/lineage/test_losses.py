"""Structures are lost with all that lives and stands in them; some are found again."""

from __future__ import annotations

from typing import Any

import pytest

from nursery.core.errors import Conflict, NotAllowed
from nursery.lineage.models import Ramet, Step
from nursery.lineage.words import Life, Place, What
from nursery.places.models import Structure, StructureStep
from tests import factories as f
from tests.lineage.ends import EARLIER, ENDED, end, last_step, lives, lose, now, tag_on
from tests.refusals import everything_stored, refused

UID = "0b5e2a52-6a08-4c7d-9f57-6f2b1d1f9c24"
LATER = "2021-05-20"


@pytest.fixture
def tree(programme: f.Programme) -> Structure:
    """A tree with cells, empty, in the bay."""
    return f.structure(programme.lead, programme.bay, kind="tree", rows=3, columns=3)


@pytest.fixture
def rock(programme: f.Programme, tree: Structure) -> Structure:
    """A rock with sockets that stands in B2 of the tree."""
    row = f.structure(programme.lead, kind="rock", rows=1, columns=3)
    f.move_structures(programme.lead, [{"structure": row.code, "parent": tree.code, "cell": "B2"}])
    return as_is(row)


@pytest.fixture
def hung(programme: f.Programme, tree: Structure) -> list[Ramet]:
    """Three ramets on the tree."""
    return f.cut(programme.lead, [programme.mother()], 3, into=tree)


@pytest.fixture
def glued(programme: f.Programme, rock: Structure) -> list[Ramet]:
    """Two ramets on the rock that stands in the tree."""
    return f.cut(programme.lead, [programme.mother()], 2, into=rock)


def as_is(row: Structure) -> Structure:
    return Structure.objects.get(pk=row.pk)


def found(programme: f.Programme, row: Structure, when: str = LATER) -> None:
    f.move_structures(
        programme.lead, [{"structure": row.code, "bay": programme.bay.code}], when=when
    )


def test_all_that_live_in_a_lost_structure_are_lost(
    programme: f.Programme, tree: Structure, hung: list[Ramet]
) -> None:
    end(programme.lead, hung[:1], when=EARLIER)
    event = lose(programme.lead, tree, note="the storm of May")
    assert lives(hung) == ["dead", "lost", "lost"]
    step = last_step(hung[1])
    assert (step.event, step.what, step.life, step.cause, step.place) == (
        event,
        What.ENDED,
        Life.LOST,
        None,
        Place.STRUCTURE,
    )
    assert (now(hung[1]).place, now(hung[1]).structure) == (Place.STRUCTURE, tree)
    assert event.kind_word == "structure_loss"


def test_a_lost_structure_is_nowhere(programme: f.Programme, tree: Structure) -> None:
    event = lose(programme.lead, tree)
    row = as_is(tree)
    assert (row.lost, row.nursery, row.bay, row.parent, row.plot) == (True, *(None,) * 4)
    step = StructureStep.objects.get(event=event)
    assert (step.structure, step.lost, step.bay, step.order) == (tree, True, None, 2)


def test_what_stands_in_it_is_lost_too(
    programme: f.Programme,
    tree: Structure,
    rock: Structure,
    hung: list[Ramet],
    glued: list[Ramet],
) -> None:
    pebble = f.tray(programme.lead)
    f.move_structures(
        programme.lead, [{"structure": pebble.code, "parent": rock.code, "cell": "C1"}]
    )
    loose = f.cut(programme.lead, [programme.mother()], 2, into=pebble)
    event = lose(programme.lead, tree)
    assert set(lives([*hung, *glued, *loose])) == {"lost"}
    assert {(as_is(row).lost, as_is(row).parent) for row in (tree, rock, pebble)} == {(True, None)}
    assert StructureStep.objects.filter(event=event, live=True, lost=True).count() == 3


def test_a_part_is_lost_without_what_it_stands_in(
    programme: f.Programme,
    tree: Structure,
    rock: Structure,
    hung: list[Ramet],
    glued: list[Ramet],
) -> None:
    lose(programme.lead, rock)
    assert lives([*hung, *glued]) == ["living"] * 3 + ["lost"] * 2
    assert (as_is(tree).lost, as_is(rock).lost) == (False, True)
    place = {"structure": tree.code, "cell": "B2"}
    f.move(programme.lead, [{"ramet": hung[0].code, **place}], when=LATER)
    assert str(now(hung[0]).cell) == "B2"


def test_its_cell_is_free_from_the_day_of_the_loss_on(
    programme: f.Programme, tree: Structure, rock: Structure, hung: list[Ramet]
) -> None:
    lose(programme.lead, rock)
    place = {"structure": tree.code, "cell": "B2"}
    with refused("cell_was_held"):
        f.move(programme.lead, [{"ramet": hung[0].code, **place}], when="2021-04-30")


def test_both_a_structure_and_what_stands_in_it_may_be_named(
    programme: f.Programme, tree: Structure, rock: Structure, glued: list[Ramet]
) -> None:
    lose(programme.lead, rock, tree)
    assert lives(glued) == ["lost", "lost"]


def test_what_left_in_time_is_not_lost(
    programme: f.Programme, tree: Structure, rock: Structure, glued: list[Ramet]
) -> None:
    f.move(programme.lead, [{"ramet": glued[0].code}], structure=tree.code, when=ENDED)
    found(programme, rock, when=ENDED)
    lose(programme.lead, rock)
    assert lives(glued) == ["living", "lost"]
    assert not as_is(tree).lost


def test_outplants_do_not_end_with_the_rock_they_were_planted_on(
    programme: f.Programme, rock: Structure, glued: list[Ramet]
) -> None:
    f.planting(programme.lead, programme.plot, glued[:1], when=EARLIER)
    f.move_structures(
        programme.lead, [{"structure": rock.code, "plot": programme.plot.code}], when=EARLIER
    )
    lose(f.field(), rock)
    assert lives(glued) == ["living", "lost"]


def test_nothing_goes_into_a_lost_structure(
    programme: f.Programme, tree: Structure, hung: list[Ramet]
) -> None:
    mother = programme.mother()
    lose(programme.lead, tree)
    with refused("structure_lost") as caught:
        f.move(programme.lead, [{"ramet": mother.code}], structure=tree.code, when=LATER)
    assert "1 May 2021" in str(caught.value)


def test_a_lost_structure_is_found_again_by_a_move(
    programme: f.Programme, tree: Structure, hung: list[Ramet]
) -> None:
    lose(programme.lead, tree)
    found(programme, tree)
    row = as_is(tree)
    assert (row.lost, row.bay, row.nursery) == (False, programme.bay, programme.nursery)
    again = f.cut(programme.lead, [programme.mother()], into=tree, when=LATER)[0]
    assert str(again.cell) == "A1"
    assert set(lives(hung)) == {"lost"}


def test_what_stood_in_it_is_found_for_itself(
    programme: f.Programme, tree: Structure, rock: Structure
) -> None:
    lose(programme.lead, tree)
    found(programme, tree)
    assert (as_is(rock).lost, as_is(rock).nursery) == (True, None)
    found(programme, rock)
    assert not as_is(rock).lost


def test_a_structure_is_lost_once(programme: f.Programme, tree: Structure) -> None:
    lose(programme.lead, tree, when=EARLIER)
    with refused("already_lost", pointer="#/structures/0/structure") as caught:
        lose(programme.lead, tree)
    assert "1 April 2021" in str(caught.value)
    assert "1 May 2021" in str(caught.value)
    with refused("already_lost"):
        lose(programme.lead, tree, when="2021-03-05")


def test_a_structure_may_be_lost_again_after_it_was_found(
    programme: f.Programme, tree: Structure
) -> None:
    lose(programme.lead, tree, when=EARLIER)
    found(programme, tree, when=ENDED)
    lose(programme.lead, tree, when=LATER)
    assert as_is(tree).lost


def test_a_structure_is_not_lost_before_it_was_set_up(
    programme: f.Programme, tree: Structure
) -> None:
    with refused("before_structure_move", pointer="#/structures/0/structure") as caught:
        lose(programme.lead, tree, when="2019")
    assert "1 January 2020" in str(caught.value)
    assert "in 2019" in str(caught.value)


def test_a_loss_on_the_day_of_the_last_entries_stands_after_them(
    programme: f.Programme, tree: Structure, rock: Structure, hung: list[Ramet]
) -> None:
    mother = programme.mother()
    for _ in range(2):
        f.move(
            programme.lead,
            [{"ramet": mother.code}],
            structure=rock.code,
            when=ENDED,
        )
        f.move(programme.lead, [{"ramet": mother.code}], structure=programme.tray.code, when=ENDED)
    found(programme, rock, when=ENDED)
    event = lose(programme.lead, tree, rock)
    assert as_is(rock).lost
    assert set(lives(hung)) == {"lost"}
    others = Step.objects.filter(structure=rock).exclude(event=event)
    assert all(step.event.moment < event.moment for step in others.select_related("event"))
    assert now(hung[0]).not_before == event.moment


def test_an_empty_structure_is_lost_after_the_entries_of_that_day(
    programme: f.Programme, rock: Structure
) -> None:
    mother = programme.mother()
    for to in (rock, programme.tray, rock, programme.tray):
        f.move(programme.lead, [{"ramet": mother.code}], structure=to.code, when=ENDED)
    lose(programme.lead, rock)
    assert as_is(rock).lost
    assert lives([mother]) == ["living"]


def test_a_late_loss_takes_what_was_there_then(
    programme: f.Programme, tree: Structure, hung: list[Ramet], glued: list[Ramet], rock: Structure
) -> None:
    later = tag_on(programme.lead, hung[0], "T1", LATER)
    found(programme, rock, when=LATER)
    event = lose(programme.lead, tree)
    assert set(lives([*hung, *glued])) == {"lost"}
    steps = Step.objects.filter(ramet=hung[0], live=True).order_by("order")
    assert [step.event for step in steps] == [hung[0].born, event, later]
    assert (as_is(tree).lost, as_is(rock).lost, as_is(rock).bay) == (True, False, programme.bay)
    assert [step.lost for step in rock.steps.filter(live=True).order_by("order")] == [
        False,
        True,
        False,
    ]


def test_a_late_loss_leaves_what_had_not_come_yet_or_had_gone(
    programme: f.Programme, rock: Structure, glued: list[Ramet]
) -> None:
    mother = programme.mother()
    f.move(programme.lead, [{"ramet": glued[0].code}], structure=programme.tray.code, when=EARLIER)
    found(programme, rock, when=LATER)
    f.move(programme.lead, [{"ramet": mother.code}], structure=rock.code, when="2021-05-21")
    lose(programme.lead, rock)
    assert lives([mother, *glued]) == ["living", "living", "lost"]


def test_a_late_loss_of_what_was_moved_out_later_is_refused_with_both_dates(
    programme: f.Programme, tree: Structure, hung: list[Ramet]
) -> None:
    f.move(programme.lead, [{"ramet": hung[0].code}], structure=programme.tray.code, when=LATER)
    with refused("behind_later_entry", pointer="#/structures/0/structure") as caught:
        lose(programme.lead, tree)
    assert "20 May 2021" in str(caught.value)
    assert "1 May 2021" in str(caught.value)


@pytest.mark.parametrize("what", ["ramet", "structure"])
def test_a_late_loss_of_what_was_used_later_is_refused_with_both_dates(
    programme: f.Programme, tree: Structure, what: str
) -> None:
    if what == "ramet":
        mother = programme.mother()
        f.move(programme.lead, [{"ramet": mother.code}], structure=tree.code, when=LATER)
    else:
        inner = f.tray(programme.lead)
        row = {"structure": inner.code, "parent": tree.code, "cell": "A1"}
        f.move_structures(programme.lead, [row], when=LATER)
    with refused("used_after_loss", pointer="#/structures/0/structure") as caught:
        lose(programme.lead, tree)
    assert "20 May 2021" in str(caught.value)
    assert "1 May 2021" in str(caught.value)


@pytest.mark.parametrize(
    ("rows", "code"),
    [
        ([{"structure": "NONE"}], "unknown_structure"),
        ([{"structure": "{tree}"}, {"structure": "{tree}"}], "named_twice"),
        ([], "too_few"),
        ([{"structure": "NONE"}] * 201, "too_many"),
        ([{"structure": "=A1"}], "code_malformed"),
    ],
    ids=lambda value: str(value)[:40],
)
def test_a_loss_that_makes_no_sense_is_refused(
    programme: f.Programme, tree: Structure, rows: list[dict[str, str]], code: str
) -> None:
    given = [{"structure": row["structure"].format(tree=tree.code)} for row in rows]
    with refused(code):
        lose(programme.lead, structures=given)


def test_staff_record_losses_of_their_own_nursery(
    programme: f.Programme, tree: Structure, rock: Structure, glued: list[Ramet]
) -> None:
    stranger, field, viewer = f.staff(f.nursery(programme.lead)), f.field(), f.viewer()
    for by in (stranger, field):
        with refused("not_your_nursery", by=NotAllowed):
            lose(by, tree)
    with refused("not_allowed", by=NotAllowed):
        lose(viewer, tree)
    lose(f.staff(programme.nursery), tree)
    assert lives(glued) == ["lost", "lost"]


def test_the_same_loss_again_is_answered_and_not_written(
    programme: f.Programme, tree: Structure, hung: list[Ramet]
) -> None:
    first = lose(programme.lead, tree, uid=UID)
    stored = everything_stored()
    assert lose(programme.lead, tree, uid=UID) == first
    assert everything_stored() == stored
    with refused("uid_taken", by=Conflict, pointer="#/uid"):
        lose(programme.lead, tree, uid=UID, note="another")


def test_the_number_of_queries_does_not_grow_with_what_is_lost(
    programme: f.Programme, django_assert_max_num_queries: Any
) -> None:
    ramets = f.cut(programme.lead, [programme.mother()], 121, into=programme.plate)
    with django_assert_max_num_queries(50):
        lose(programme.lead, programme.plate)
    assert set(lives(ramets)) == {"lost"}
