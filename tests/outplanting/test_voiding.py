"""Voiding: what did not happen is taken out, with all that follows from it, or what is in the way
is named."""

from __future__ import annotations

import pytest

from nursery.core.errors import NotAllowed, Unknown
from nursery.core.models import Correction, Event, Mend
from nursery.lineage.late import InTheWay
from nursery.lineage.models import Ramet, Step, Tag
from nursery.lineage.words import Life
from nursery.outplanting.actions.correct import Outcome, restore, void
from nursery.outplanting.corrections import RestoreIn, VoidIn
from nursery.places.models import Structure
from tests import factories as f
from tests.lineage.identities import LATER, retag
from tests.refusals import everything_stored, refused
from tests.verified import nothing_wrong

pytestmark = pytest.mark.django_db


def voided(programme: f.Programme, event: Event, together: bool = False) -> Outcome:
    return void(programme.lead, VoidIn(event=event.uid, reason="a slip", together=together))


def restored(programme: f.Programme, event: Event) -> Outcome:
    return restore(programme.lead, RestoreIn(event=event.uid, reason="it was after all"))


def now(ramet: Ramet) -> Ramet:
    return Ramet.everything.get(pk=ramet.pk)


def last_event() -> Event:
    return Event.objects.latest("pk")


def test_a_voided_cutting_makes_no_ramets_and_gives_its_mother_back(
    programme: f.Programme,
) -> None:
    mother = programme.mother()
    children = f.cut(programme.lead, [], 3, used_up=[mother], into=programme.plate)
    outcome = voided(programme, children[0].born)
    assert now(mother).life == Life.LIVING
    assert now(mother).structure == programme.tray
    assert {now(child).life for child in children} == {Life.NEVER}
    assert not Ramet.objects.filter(pk__in=[child.pk for child in children]).exists()
    assert not Step.objects.filter(event=children[0].born, live=True).exists()
    assert outcome.counts["life"] == 4
    assert not Event.objects.get(pk=children[0].born_id).live


def test_the_cells_of_children_that_never_were_are_free_again(programme: f.Programme) -> None:
    mother = programme.mother()
    children = f.cut(programme.lead, [mother], 1, into=programme.plate)
    voided(programme, children[0].born)
    assert Structure.objects.get(pk=programme.plate.pk).busy_until is None
    again = f.cut(programme.lead, [mother], 1, into=programme.plate)
    assert now(again[0]).cell == children[0].cell


def test_what_is_in_the_way_is_named_with_both_dates(programme: f.Programme) -> None:
    children = f.cut(programme.lead, [programme.mother()], 2)
    f.planting(programme.lead, programme.plot, children)
    with refused("behind_later_entry", "behind_later_entry", by=InTheWay) as caught:
        voided(programme, children[0].born)
    message = caught.value.problems[0].message
    assert "1 June 2021" in message
    assert "1 March 2021" in message


def test_what_is_in_the_way_is_voided_together_the_last_first(programme: f.Programme) -> None:
    children = f.cut(programme.lead, [programme.mother()], 2)
    planting = f.planting(programme.lead, programme.plot, children).event
    visit = f.visit(programme.lead, programme.site, {children[0]: "dead"}).event
    outcome = voided(programme, children[0].born, together=True)
    assert [row.event for row in outcome.events] == [
        str(visit.uid),
        str(planting.uid),
        str(children[0].born.uid),
    ]
    corrections = Correction.objects.all()
    assert [row.mend for row in corrections] == [Mend.VOIDED] * 3
    assert len({row.together for row in corrections}) == 1


def test_a_preview_keeps_nothing_and_says_the_same(programme: f.Programme) -> None:
    children = f.cut(programme.lead, [programme.mother()], 2, into=programme.plate)
    f.planting(programme.lead, programme.plot, children)
    given = VoidIn(event=children[0].born.uid, reason="a slip", together=True)
    before = everything_stored()
    told = void(programme.lead, given, preview=True)
    assert everything_stored() == before
    assert void(programme.lead, given) == told


def test_voiding_a_void_restores(programme: f.Programme) -> None:
    mother = programme.mother()
    children = f.cut(programme.lead, [], 2, used_up=[mother], into=programme.plate)
    before = {
        pk: (now(row).life, now(row).place, now(row).cell)
        for pk, row in {row.pk: row for row in [mother, *children]}.items()
    }
    voided(programme, children[0].born)
    restored(programme, children[0].born)
    after = {
        pk: (now(row).life, now(row).place, now(row).cell)
        for pk, row in {row.pk: row for row in [mother, *children]}.items()
    }
    assert after == before
    assert Event.objects.get(pk=children[0].born_id).live


def test_a_birth_is_not_restored_into_a_cell_that_was_given_away(
    programme: f.Programme,
) -> None:
    mother = programme.mother()
    first = f.cut(programme.lead, [mother], 1, into=programme.plate)[0]
    voided(programme, first.born)
    f.cut(programme.lead, [mother], 1, into=programme.plate)
    with refused("cell_was_held", by=InTheWay):
        restored(programme, first.born)


def test_what_hangs_on_a_void_birth_is_not_restored(programme: f.Programme) -> None:
    mother = programme.mother()
    children = f.cut(programme.lead, [mother], 1)
    planting = f.planting(programme.lead, programme.plot, children).event
    voided(programme, children[0].born, together=True)
    with refused("never_born") as caught:
        restored(programme, planting)
    assert "1 March 2021" in caught.value.problems[0].message


def test_a_used_up_mother_does_not_come_back_into_a_cell_that_is_taken(
    programme: f.Programme,
) -> None:
    mother = programme.mother()
    place = {"structure": programme.plate.code, "cell": "A1"}
    f.move(programme.lead, [{"ramet": mother.code, **place}], when="2021-02-01")
    children = f.cut(programme.lead, [], 1, used_up=[mother])
    other = programme.mother()
    taken = f.move(programme.lead, [{"ramet": other.code, **place}], when="2021-04-01")
    with refused("cell_was_held", by=InTheWay) as caught:
        voided(programme, children[0].born)
    assert other.code in caught.value.problems[0].message
    blocked = caught.value
    assert isinstance(blocked, InTheWay)
    assert blocked.event == taken


def test_tags_of_a_void_entry_are_nobodys(programme: f.Programme) -> None:
    child = f.cut(programme.lead, [programme.mother()], children=[{"tag": "T 7"}])[0]
    voided(programme, child.born)
    assert not Tag.objects.get(text="T 7").live
    again = f.cut(programme.lead, [programme.mother()], children=[{"tag": "T 7"}])[0]
    assert Tag.objects.get(text="T 7", live=True).ramet == again


def test_a_tag_that_came_off_by_a_void_entry_is_on_again(programme: f.Programme) -> None:
    child = f.cut(programme.lead, [programme.mother()], children=[{"tag": "T 7"}])[0]
    off = retag(programme.lead, {"ramet": child.code, "off": "T 7", "lost": True})
    voided(programme, off)
    tag = Tag.objects.get(text="T 7")
    assert (tag.until, tag.ended_by, tag.lost) == (None, None, False)
    restored(programme, off)
    tag.refresh_from_db()
    assert (str(tag.until), tag.ended_by, tag.lost) == (LATER, off, True)


def test_a_tag_is_not_on_again_while_another_ramet_has_it(programme: f.Programme) -> None:
    pair = f.cut(programme.lead, [programme.mother()], children=[{"tag": "T 7"}, {}])
    off = retag(programme.lead, {"ramet": pair[0].code, "off": "T 7"})
    on = retag(programme.lead, {"ramet": pair[1].code, "on": "T 7"}, when="2021-08-01")
    with refused("tag_taken", by=InTheWay) as caught:
        voided(programme, off)
    blocked = caught.value
    assert isinstance(blocked, InTheWay)
    assert blocked.event == on
    assert pair[0].code in blocked.problems[0].message
    assert pair[1].code in blocked.problems[0].message
    voided(programme, off, together=True)
    assert Tag.objects.get(text="T 7", live=True).ramet == pair[0]
    nothing_wrong()


def test_a_tag_is_not_restored_while_another_ramet_has_it(programme: f.Programme) -> None:
    pair = f.cut(programme.lead, [programme.mother()], 2)
    first = retag(programme.lead, {"ramet": pair[0].code, "on": "T 7"})
    voided(programme, first)
    second = retag(programme.lead, {"ramet": pair[1].code, "on": "T 7"})
    with refused("tag_taken", by=InTheWay) as caught:
        restored(programme, first)
    blocked = caught.value
    assert isinstance(blocked, InTheWay)
    assert blocked.event == second


def test_ramets_that_changed_tags_have_their_own_again(programme: f.Programme) -> None:
    pair = f.cut(programme.lead, [programme.mother()], children=[{"tag": "A"}, {"tag": "B"}])
    changed = retag(
        programme.lead,
        {"ramet": pair[0].code, "off": "A", "on": "B"},
        {"ramet": pair[1].code, "off": "B", "on": "A"},
    )

    def on() -> dict[str, str]:
        tags = Tag.objects.filter(live=True, until=None)
        return dict(tags.values_list("text", "ramet__code"))

    voided(programme, changed)
    assert on() == {"A": pair[0].code, "B": pair[1].code}
    restored(programme, changed)
    assert on() == {"A": pair[1].code, "B": pair[0].code}
    nothing_wrong()


def test_a_void_structure_move_leaves_it_where_it_stood_before(programme: f.Programme) -> None:
    tray = f.tray(programme.lead, programme.bay)
    other = f.bay(programme.lead, programme.nursery)
    event = f.move_structures(
        programme.lead, [{"structure": tray.code, "bay": other.code}], when="2021-05-01"
    )
    voided(programme, event)
    assert Structure.objects.get(pk=tray.pk).bay == programme.bay
    restored(programme, event)
    assert Structure.objects.get(pk=tray.pk).bay == other


def test_what_was_voided_is_not_voided_again(programme: f.Programme) -> None:
    child = f.cut(programme.lead, [programme.mother()])[0]
    voided(programme, child.born)
    with refused("voided_already"):
        voided(programme, child.born)


def test_what_is_not_void_is_not_restored(programme: f.Programme) -> None:
    child = f.cut(programme.lead, [programme.mother()])[0]
    with refused("not_voided"):
        restored(programme, child.born)


def test_field_staff_void_what_they_entered_themselves(programme: f.Programme) -> None:
    person = f.field()
    event = f.collection(person, programme.colony).event
    void(person, VoidIn(event=event.uid, reason="the wrong page"))
    assert not Event.objects.get(pk=event.pk).live


def test_nobody_but_a_lead_voids_for_others(programme: f.Programme) -> None:
    event, person = f.collection(programme.lead, programme.colony).event, f.field()
    with refused("not_yours", by=NotAllowed):
        void(person, VoidIn(event=event.uid, reason="the wrong page"))


def test_viewers_void_nothing(programme: f.Programme) -> None:
    event, person = f.collection(programme.lead, programme.colony).event, f.viewer()
    with refused("not_allowed", by=NotAllowed):
        void(person, VoidIn(event=event.uid, reason="the wrong page"))


def test_an_entry_that_is_not_there_is_not_voided(programme: f.Programme) -> None:
    event = Event(uid="0b5e0a52-6a6e-4a52-9f0c-3f2f6f4f9d11")
    with refused("unknown_event", by=Unknown):
        voided(programme, event)
