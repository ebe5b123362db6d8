"""Corrections that were once followed by a record at odds with itself: each finds nothing now, or
is refused."""

from __future__ import annotations

from typing import Any

import pytest

from nursery.core import registers
from nursery.core.errors import Refused
from nursery.core.inputs import read
from nursery.core.models import Event
from nursery.donors.actions import enter_colony
from nursery.lineage import actions as lineage
from nursery.lineage import inputs
from nursery.lineage.late import InTheWay
from nursery.outplanting.actions.correct import amend, restore
from nursery.outplanting.corrections import AmendIn, RestoreIn
from nursery.places.models import Structure
from tests import factories as f
from tests.refusals import refused
from tests.verified import nothing_wrong
from tests.verify.season import done, voided

pytestmark = pytest.mark.django_db


def amended(by: Any, event: Event, **values: Any) -> None:
    amend(by, read(AmendIn, {"event": str(event.uid), "reason": "the slate", **values}))


def restored(by: Any, event: Event) -> None:
    restore(by, RestoreIn(event=event.uid, reason="it was after all"))


def tagging(by: Any, when: str, **row: str) -> Event:
    return done(lineage.retag, inputs.TaggingIn, by, when=when, ramets=[row])


def test_a_birth_amended_past_a_void_cutting_of_it(programme: f.Programme) -> None:
    by = programme.lead
    child = f.cut(by, [programme.mother()], into=programme.tray)[0]
    grandchild = f.cut(by, [child], 2, into=programme.tray, when="2021-03-05")[0]
    voided(by, grandchild.born)
    amended(by, child.born, when="2021-04-01")
    nothing_wrong()
    with refused("before_fragmentation", by=InTheWay):
        restored(by, grandchild.born)


def test_a_collection_amended_to_a_colony_of_a_merged_genet(programme: f.Programme) -> None:
    by, p = programme.lead, programme
    first, second = f.colony(by, p.taxon, p.reef), f.colony(by, p.taxon, p.reef)
    mothers = [p.mother(), f.mothers(by, first, p.tray)[0]]
    f.cut(by, mothers, 2, into=p.plate)
    merge = {"kept": first.genet.code, "merged": second.genet.code}
    done(lineage.merge_genets, inputs.GenetMergeIn, by, when="2021-05-01", **merge)
    amended(by, mothers[0].born, colony=second.code)
    nothing_wrong()


def test_a_collection_amended_to_a_colony_of_another_taxon(programme: f.Programme) -> None:
    by = programme.lead
    other = f.colony(by, f.taxon(by), f.reef(by))
    mother = programme.mother()
    f.cut(by, [mother], 2, into=programme.plate)
    amended(by, mother.born, colony=other.code)
    nothing_wrong()


@pytest.mark.parametrize("days", [("2021-03-05", "2021-03-09"), ("2021-03-09", "2021-03-05")])
def test_a_structure_that_is_put_where_it_stands(
    programme: f.Programme, days: tuple[str, str]
) -> None:
    rock = f.structure(programme.lead, None, kind="rock", rows=1, columns=3)
    row = {"structure": rock.code, "parent": programme.plate.code, "cell": "K10"}
    for day in days:
        f.move_structures(programme.lead, [row], when=day)
    nothing_wrong()


def test_a_ramet_does_not_come_back_into_a_cell_that_was_blocked_since(
    programme: f.Programme,
) -> None:
    by, plate = programme.lead, programme.plate
    child = f.cut(by, [programme.mother()], children=[{"cell": "K10"}], into=plate)[0]
    away = f.move(by, [{"ramet": child.code}], structure=programme.tray.code, when="2021-04-01")
    edited = Structure.objects.get(pk=plate.pk)
    lineage.edit_structure(by, edited, {"blocked": "K10"}, edited.version)
    with refused("cell_blocked", by=InTheWay):
        voided(by, away)


def test_no_ring_is_made_in_the_past_by_a_late_move(programme: f.Programme) -> None:
    by, bay = programme.lead, programme.bay
    first, second = f.tray(by, bay), f.tray(by, bay)
    into = {"structure": first.code, "parent": second.code}
    f.move_structures(by, [into], when="2021-01-01")
    f.move_structures(by, [{"structure": first.code, "bay": bay.code}], when="2021-04-01")
    f.move_structures(by, [{"structure": second.code, "bay": bay.code}], when="2021-03-01")
    with refused("structure_in_itself"):
        row = {"structure": second.code, "parent": first.code}
        f.move_structures(by, [row], when="2021-02-01")


def test_no_ring_is_made_in_the_past_by_a_void(programme: f.Programme) -> None:
    by, bay = programme.lead, programme.bay
    first, second = f.tray(by, bay), f.tray(by, bay)
    f.move_structures(by, [{"structure": first.code, "parent": second.code}], when="2021-01-01")
    out = f.move_structures(by, [{"structure": first.code, "bay": bay.code}], when="2021-02-01")
    f.move_structures(by, [{"structure": second.code, "parent": first.code}], when="2021-03-01")
    f.move_structures(by, [{"structure": second.code, "bay": bay.code}], when="2021-04-01")
    with refused("structure_in_itself", by=InTheWay):
        voided(by, out)


def test_a_tag_put_on_and_taken_off_both_voided_and_restored(programme: f.Programme) -> None:
    by = programme.lead
    child = f.cut(by, [programme.mother()], into=programme.tray)[0]
    on = tagging(by, "2021-04-01", ramet=child.code, on="B1")
    off = tagging(by, "2021-05-01", ramet=child.code, off="B1")
    voided(by, on, together=True)
    if Event.objects.get(pk=off.pk).live:
        voided(by, off)
    nothing_wrong()
    restored(by, on)
    nothing_wrong()
    restored(by, off)
    nothing_wrong()


def test_a_tag_does_not_come_off_before_it_was_put_on(programme: f.Programme) -> None:
    by = programme.lead
    child = f.cut(by, [programme.mother()], into=programme.tray)[0]
    tagging(by, "2021-04-01", ramet=child.code, on="B1")
    off = tagging(by, "2021-05-01", ramet=child.code, off="B1")
    with refused("tag_not_on", by=InTheWay):
        amended(by, off, when="2021-03-25")
    amended(by, off, when="2021-04-20")
    nothing_wrong()


def test_a_relabelling_above_a_void_cutting(programme: f.Programme) -> None:
    by, p = programme.lead, programme
    child = f.cut(by, [p.mother()], into=p.plate)[0]
    grandchild = f.cut(by, [child], 2, into=p.plate, when="2021-03-10")[0]
    voided(by, grandchild.born)
    label = {"genet": f.genet(by, p.taxon).code, "ramets": [{"ramet": child.code}]}
    event = done(lineage.relabel, inputs.RelabellingIn, by, when="2021-03-05", **label)
    nothing_wrong()
    restored(by, grandchild.born)
    nothing_wrong()
    voided(by, event)
    nothing_wrong()


def test_merges_voided_and_restored_one_by_one(programme: f.Programme) -> None:
    by = programme.lead
    codes = [f.genet(by, programme.taxon).code for _ in range(4)]
    pairs = ((0, 1), (1, 2), (3, 0))
    events = [
        done(
            lineage.merge_genets,
            inputs.GenetMergeIn,
            by,
            when=f"2021-05-0{number + 1}",
            kept=codes[kept],
            merged=codes[merged],
        )
        for number, (kept, merged) in enumerate(pairs)
    ]
    for event in events:
        voided(by, event)
        nothing_wrong()
        restored(by, event)
        nothing_wrong()
    amended(by, events[2], when="2021-04-01")
    nothing_wrong()


def test_what_others_carry_on_is_not_edited_behind_their_backs(programme: f.Programme) -> None:
    by, p = programme.lead, programme
    legacy = f.colony(by, p.taxon, p.reef)
    f.stock(by, p.nursery, [{"taxon": p.taxon.code, "donors": [legacy.code]}])
    taxon = f.taxon(by)
    values = {"taxon": taxon.code, "genet": f.genet(by, taxon).code}
    system, other = f.bay(by, f.nursery(by)).system, f.site(by)
    programme.outplants()
    for act in (
        lambda: enter_colony(by, values, legacy, legacy.version),
        lambda: registers.write(by, p.bay, {"system": system.code}, p.bay.version),
        lambda: registers.write(by, p.plot, {"site": other.code}, p.plot.version),
        lambda: registers.write(
            by, p.bay.system, {"nursery": system.nursery.code}, p.bay.system.version
        ),
    ):
        with pytest.raises(Refused) as caught:
            act()
        assert {problem.code for problem in caught.value.problems} == {"fixed"}
    nothing_wrong("structures", "registers")
